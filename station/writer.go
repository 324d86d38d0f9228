package station

import (
	"context"
	"time"

	"twocup/station/batch"
	"twocup/station/ledger"
)

const (
	retry    = time.Second // between two tries of a write that failed
	lastWait = time.Second // the longest that the end of the program waits for the ledger
)

// job is facts of one batch on their way to the ledger, or points of its trace, or what hands have shown.
type job struct {
	batch   string
	facts   []batch.Fact
	points  []ledger.TracePoint
	lessons []ledger.Hand
	probe   bool        // or none of these, only to see whether it can be written
	hand    ledger.Hand // with the start of a batch: whose it is
	since   time.Time
	answer  chan<- error // nil, or whoever waits for it
}

// outcome is what has become of the job at hand. Without done it has failed and is tried again.
type outcome struct {
	done bool
	err  error
	took time.Duration // of the write
}

// record queues facts of the batch on the scale for the ledger.
func (s *Station) record(facts []batch.Fact, answer chan<- error) {
	s.enqueue(job{batch: s.state.Start.ID, facts: facts, answer: answer})
}

func (s *Station) enqueue(j job) {
	j.since = time.Now()
	s.queue = append(s.queue, j)
	if len(s.queue) == 1 {
		s.writer.jobs <- s.queue[0]
	}
}

// written takes what has become of the job that the ledger had at hand.
func (s *Station) written(o outcome) {
	if o.err != nil && s.unwritable == nil {
		s.log.Error("the ledger can't be written: nothing new is shown as accepted until it can (free the disk, or make the data folder writable)", "err", o.err)
	} else if o.err == nil && s.unwritable != nil {
		s.log.Info("the ledger can be written again")
	}
	s.unwritable = o.err
	switch {
	case !o.done:
	case s.tracing != nil:
		s.traced(o)
	default:
		s.settled(o)
	}
	s.show(time.Now())
}

// settled takes a job of facts that is done with: now they may be shown. A start that could not be written is given up.
func (s *Station) settled(o outcome) {
	j := s.queue[0]
	s.queue = s.queue[1:]
	if len(s.queue) > 0 {
		s.writer.jobs <- s.queue[0]
	}
	if o.err == nil {
		if s.cfg.Wrote != nil {
			s.cfg.Wrote(o.took)
		}
		for _, f := range j.facts {
			s.durable(j, f)
		}
	}
	if j.answer != nil {
		j.answer <- o.err
	}
}

// durable applies a recorded fact.
func (s *Station) durable(j job, f batch.Fact) {
	if _, ok := f.(batch.Started); ok {
		s.state, s.pouring = s.state.WithoutBatch(), j.hand
	} else if s.state.Start == nil || s.state.Start.ID != j.batch {
		return // of a batch that has left the scale since
	}
	if accepted, ok := f.(batch.Accepted); ok {
		s.learn(accepted)
	}
	_ = s.step(batch.Recorded{Fact: f}, nil) // what is recorded can't be refused
	if s.cfg.Recorded != nil {
		s.cfg.Recorded(s.state, f)
	}
	if !s.state.Running() {
		s.state = s.state.WithoutBatch()
	}
	s.log.Info("recorded", "batch", j.batch, "kind", f.Kind())
}

// saving says whether the ledger holds something up.
func (s *Station) saving(now time.Time) bool {
	return len(s.queue) > 0 && now.Sub(s.queue[0].since) >= slow
}

// writer is the ledger's own goroutine: one job at a time, facts tried again until they are durable.
type writer struct {
	persist func(ctx context.Context, id string, facts ...batch.Fact) error
	trace   func(ctx context.Context, id string, points []ledger.TracePoint) error
	learn   func(ctx context.Context, hands ...ledger.Hand) error
	probe   func(ctx context.Context) error
	jobs    chan job // room for one of facts behind one of points
	written chan outcome
	stop    context.CancelFunc
	ended   chan struct{}
}

func startWriter(cfg Config) writer {
	ctx, stop := context.WithCancel(context.Background())
	w := writer{
		persist: cfg.persist, trace: cfg.trace, learn: cfg.learn, probe: cfg.probe, stop: stop,
		jobs: make(chan job, 2), written: make(chan outcome, 2), ended: make(chan struct{}),
	}
	go w.run(ctx)
	return w
}

func (w writer) run(ctx context.Context) {
	defer close(w.ended)
	for {
		select {
		case j := <-w.jobs:
			w.write(ctx, j)
		case <-ctx.Done():
			return
		}
	}
}

// write insists on facts. All else is tried once, since it must never hold facts up; so is a start, which nobody has acted
// upon yet: a batch that begins when the disk has room again is not what anybody asked for.
func (w writer) write(ctx context.Context, j job) {
	begun := time.Now()
	once := len(j.facts) == 0
	if !once {
		_, once = j.facts[0].(batch.Started)
	}
	for said := false; ; {
		var err error
		switch {
		case j.probe:
			err = w.probe(ctx)
		case len(j.points) > 0:
			err = w.trace(ctx, j.batch, j.points)
		case len(j.lessons) > 0:
			err = w.learn(ctx, j.lessons...)
		default:
			err = w.persist(ctx, j.batch, j.facts...)
		}
		if err == nil || once {
			w.written <- outcome{done: true, err: err, took: time.Since(begun)}
			return
		}
		if !said { // once and not at each try
			w.written <- outcome{err: err}
			said = true
		}
		select {
		case <-time.After(retry):
		case <-ctx.Done():
			return
		}
	}
}

// flush ends the goroutine once the queue is durable, or after a short while without. Points that wait for the job before
// them are lost with their last quarter of a second.
func (s *Station) flush() {
	late := time.After(lastWait)
	for s.tracing != nil || len(s.queue) > 0 || s.keepLessons() {
		select {
		case o := <-s.writer.written:
			s.written(o)
		case <-late:
			s.log.Error("ended before the ledger could be written", "jobs_lost", len(s.queue))
			s.writer.stop()
			return
		}
	}
	s.writer.stop()
	<-s.writer.ended
}
