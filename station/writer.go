package station

import (
	"context"
	"log/slog"
	"time"

	"twocup/station/batch"
)

const (
	retry    = time.Second // between two tries of a write that failed
	lastWait = time.Second // the longest that the end of the program waits for the ledger
)

// job is facts of one batch on their way to the ledger.
type job struct {
	batch  string
	facts  []batch.Fact
	since  time.Time
	answer chan<- error // nil, or whoever waits for it
}

// record queues facts for the ledger.
func (s *Station) record(facts []batch.Fact, answer chan<- error) {
	id := ""
	if s.state.Start != nil {
		id = s.state.Start.ID
	}
	if started, ok := facts[0].(batch.Started); ok {
		id = started.ID
	}
	s.queue = append(s.queue, job{batch: id, facts: facts, since: time.Now(), answer: answer})
	if len(s.queue) == 1 {
		s.writer.jobs <- s.queue[0]
	}
}

// written takes what the ledger has made durable: now it may be shown.
func (s *Station) written(took time.Duration) {
	j := s.queue[0]
	s.queue = s.queue[1:]
	if len(s.queue) > 0 {
		s.writer.jobs <- s.queue[0]
	}
	if s.cfg.Wrote != nil {
		s.cfg.Wrote(took)
	}
	for _, f := range j.facts {
		s.durable(j.batch, f)
	}
	if j.answer != nil {
		j.answer <- nil
	}
	s.show(time.Now())
}

// durable applies a recorded fact.
func (s *Station) durable(id string, f batch.Fact) {
	if started, ok := f.(batch.Started); ok {
		s.state = s.state.WithoutBatch()
		id = started.ID
	} else if s.state.Start == nil || s.state.Start.ID != id {
		return // of a batch that has left the scale since
	}
	_ = s.step(batch.Recorded{Fact: f}, nil) // what is recorded can't be refused
	if s.cfg.Recorded != nil {
		s.cfg.Recorded(s.state, f)
	}
	if !s.state.Running() {
		s.state = s.state.WithoutBatch()
	}
	s.log.Info("recorded", "batch", id, "kind", f.Kind())
}

// saving says whether the ledger holds something up.
func (s *Station) saving(now time.Time) bool {
	return len(s.queue) > 0 && now.Sub(s.queue[0].since) >= slow
}

// writer is the ledger's own goroutine: one job at a time, tried again until it is durable.
type writer struct {
	persist func(ctx context.Context, id string, facts ...batch.Fact) error
	log     *slog.Logger
	jobs    chan job
	written chan time.Duration
	stop    context.CancelFunc
	ended   chan struct{}
}

func startWriter(persist func(context.Context, string, ...batch.Fact) error, log *slog.Logger) writer {
	ctx, stop := context.WithCancel(context.Background())
	w := writer{
		persist: persist, log: log, stop: stop,
		jobs: make(chan job, 1), written: make(chan time.Duration, 1), ended: make(chan struct{}),
	}
	go w.run(ctx)
	return w
}

func (w writer) run(ctx context.Context) {
	defer close(w.ended)
	for {
		select {
		case j := <-w.jobs:
			if took, ok := w.insist(ctx, j); ok {
				w.written <- took
			}
		case <-ctx.Done():
			return
		}
	}
}

// insist writes until it succeeds. It logs a failure once and not at each try.
func (w writer) insist(ctx context.Context, j job) (time.Duration, bool) {
	begun, said := time.Now(), false
	for {
		err := w.persist(ctx, j.batch, j.facts...)
		if err == nil {
			return time.Since(begun), true
		}
		if !said {
			w.log.Error("the ledger can't be written: nothing new is shown as accepted until it can (free the disk, or make the data folder writable)", "err", err)
			said = true
		}
		select {
		case <-time.After(retry):
		case <-ctx.Done():
			return 0, false
		}
	}
}

// flush ends the goroutine once the queue is durable, or after a short while without.
func (w writer) flush(queue []job) {
	late := time.After(lastWait)
	for n := range queue {
		if n > 0 {
			w.jobs <- queue[n]
		}
		select {
		case <-w.written:
		case <-late:
			w.log.Error("ended before the ledger could be written", "jobs_lost", len(queue)-n)
			w.stop()
			return
		}
	}
	w.stop()
	<-w.ended
}
