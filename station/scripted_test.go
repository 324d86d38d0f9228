package station

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// pipe is a link whose bytes a test writes.
type pipe struct {
	mu   sync.Mutex
	fail error    // of the next openings
	far  net.Conn // the scale's end of the newest port
}

func (*pipe) Name() string { return "scripted" }

func (p *pipe) Open(context.Context) (scaledrv.Port, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fail != nil {
		return nil, p.fail
	}
	var near net.Conn
	near, p.far = net.Pipe()
	return near, nil
}

// unplug loses the port; further openings fail until plug.
func (p *pipe) unplug(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.fail = err
	_ = p.far.Close()
}

func (p *pipe) plug() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.fail = nil
}

func (p *pipe) scale() io.Writer {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.far
}

type persist = func(context.Context, string, ...batch.Fact) error

// scripted is a station on a scale whose lines a test writes: 0.1 g, a line each tenth of a second.
type scripted struct {
	*testing.T
	*Station
	link     *pipe
	ledger   *ledger.Ledger
	holding  atomic.Pointer[persist] // before each write
	log      *bytes.Buffer
	grams    float64
	cancel   func()       // ends the station
	watched  []Snapshot   // by watch
	accepted atomic.Int32 // acceptances that the ledger has
}

// onBench runs a test on a scripted station, in a bubble. hold comes before each write to the ledger; change makes another
// station of it.
func onBench(t *testing.T, hold persist, test func(s *scripted), change ...func(*Config)) {
	t.Helper()
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		l, err := ledger.Open(dir)
		require.NoError(t, err)
		for _, card := range material.Demo() {
			_, err := l.AddMaterial(t.Context(), card, time.Now())
			require.NoError(t, err)
		}
		s := &scripted{T: t, link: &pipe{}, ledger: l, log: &bytes.Buffer{}}
		s.hold(hold)
		shape, err := scaledrv.ShapeByName("status-comma", scaledrv.ShapeOptions{})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(context.Background())
		s.cancel = cancel
		cfg := Config{
			ID: "bench-1", Name: "Test bench", Link: s.link, Shape: shape, Ledger: l, Log: slog.New(slog.NewTextHandler(s.log, nil)),
			Auto:  batch.Auto{Tare: true, Accept: true, Settle: 1500 * time.Millisecond, HandOver: 4 * time.Second},
			Scale: plan.Scale{ID: "small", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram},
			persist: func(ctx context.Context, id string, facts ...batch.Fact) error {
				if err := (*s.holding.Load())(ctx, id, facts...); err != nil {
					return err
				}
				if err := l.Append(ctx, id, facts...); err != nil {
					return err
				}
				for _, f := range facts {
					if f.Kind() == "accepted" {
						s.accepted.Add(1)
					}
				}
				return nil
			},
		}
		for _, c := range change {
			c(&cfg)
		}
		s.Station = Start(ctx, cfg)
		defer func() {
			s.cancel() // of the newest, where the test has restarted it
			s.Wait()
			require.NoError(t, l.Close())
		}()
		synctest.Wait()
		test(s)
	})
}

// hold comes before each write from now on.
func (s *scripted) hold(p persist) { s.holding.Store(&p) }

// takes is a ledger that takes so long for each write.
func takes(d time.Duration) persist {
	return func(context.Context, string, ...batch.Fact) error { time.Sleep(d); return nil }
}

// send gives bytes to the driver and waits until the station has taken them in.
func (s *scripted) send(text string) {
	s.Helper()
	_, err := io.WriteString(s.link.scale(), text)
	require.NoError(s, err)
	synctest.Wait()
}

// pass lets time go by without a line.
func (s *scripted) pass(d time.Duration) {
	time.Sleep(d) // the bubble's time
	synctest.Wait()
}

// line is one line of the scale, a tenth of a second after the last.
func (s *scripted) line(status string, grams float64) {
	s.Helper()
	s.pass(100 * time.Millisecond)
	s.grams = grams
	s.send(fmt.Sprintf("%s,GS,%+08.1f  g\r\n", status, grams))
}

// rest shows one value, moving for the first 0.4 s where it is a new one.
func (s *scripted) rest(grams float64, d time.Duration) {
	s.Helper()
	fresh := grams != s.grams
	for i := range int(d / (100 * time.Millisecond)) {
		status := "ST"
		if fresh && i < 4 {
			status = "US"
		}
		s.line(status, grams)
	}
}

// pour moves the value evenly.
func (s *scripted) pour(to float64, d time.Duration) {
	s.Helper()
	from, steps := s.grams, int(d/(100*time.Millisecond))
	for i := range steps {
		s.line("US", from+(to-from)*float64(i+1)/float64(steps))
	}
}

func (s *scripted) now() Snapshot {
	s.Helper()
	snap, err := s.Snapshot(s.Context())
	require.NoError(s, err)
	return snap
}

// batchNow is the batch in the snapshot of now.
func (s *scripted) batchNow() batch.View {
	s.Helper()
	snap := s.now()
	require.NotNil(s, snap.Batch)
	return *snap.Batch
}

func order(total reading.Mass) Order {
	return Order{Material: "harbour-clear", Amount: plan.Amount{TotalG: &total}}
}

// start has a batch of 300 g, 200 g of A and 100 g of B, waiting for its cup on an empty pan.
func (s *scripted) start() (id string) {
	s.Helper()
	s.rest(0, time.Second)
	record, err := s.StartBatch(s.Context(), order(300*reading.Gram))
	require.NoError(s, err)
	synctest.Wait()
	return record.ID
}

// cup has a cup of 50 g taken as the reference.
func (s *scripted) cup() {
	s.Helper()
	s.rest(50, 2*time.Second)
	require.Equal(s, "pour", string(s.batchNow().Cue))
}

// partA has A poured and accepted.
func (s *scripted) partA() {
	s.Helper()
	s.pour(250, 15*time.Second)
	s.rest(250, 3*time.Second)
	require.True(s, s.batchNow().Parts[0].Accepted)
}

// partB has B poured, which ends the weighing.
func (s *scripted) partB() {
	s.Helper()
	s.rest(250, 5*time.Second)
	s.pour(350, 15*time.Second)
	s.rest(350, 3*time.Second)
	require.NotNil(s, s.batchNow().Verdict)
}

// act is an action whose error is wanted.
func (s *scripted) act(id string, a batch.Act) error {
	_, err := s.Act(context.Background(), id, Action{Act: a})
	return err
}

// asked is something that is asked of the station in a goroutine of its own.
type asked struct{ answer chan error }

// ask does not wait for the answer.
func (s *scripted) ask(do func() error) asked {
	a := asked{make(chan error, 1)}
	go func() { a.answer <- do() }()
	synctest.Wait()
	return a
}

func (a asked) answered() bool { return len(a.answer) == 1 }

// err is the answer, which must have come.
func (a asked) err(t testing.TB) error {
	t.Helper()
	require.True(t, a.answered(), "no answer yet")
	return <-a.answer
}

func (s *scripted) note(id, text string) func() error {
	return func() error {
		_, err := s.Act(context.Background(), id, Action{Act: batch.Act{Action: "note", Text: text}})
		return err
	}
}

// watch keeps every snapshot that a quick watcher is given in watched, until the returned function is called.
func (s *scripted) watch() (stop func()) {
	s.Helper()
	snapshots, leave, err := s.Watch(s.Context())
	require.NoError(s, err)
	over, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		for {
			select {
			case snap, open := <-snapshots:
				if !open {
					return
				}
				s.watched = append(s.watched, snap)
			case <-over:
				return
			}
		}
	}()
	synctest.Wait()
	return func() { close(over); <-ended; leave() }
}

// recorded are the kinds of fact in the ledger for a batch.
func (s *scripted) recorded(id string) (kinds []string) {
	s.Helper()
	entries, err := s.ledger.Entries(s.Context(), id)
	if errors.Is(err, ledger.ErrNotFound) {
		return nil
	}
	require.NoError(s, err)
	for _, e := range entries {
		kinds = append(kinds, e.Kind)
	}
	return kinds
}

func count[T comparable](list []T, what T) (n int) {
	for _, item := range list {
		if item == what {
			n++
		}
	}
	return n
}

func requireMisfit(t *testing.T, err error, detail string) {
	t.Helper()
	var refusal *batch.Refusal
	require.ErrorAs(t, err, &refusal)
	require.True(t, refusal.Misfit)
	require.Contains(t, refusal.Detail, detail)
}
