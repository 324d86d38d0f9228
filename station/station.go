package station

import (
	"cmp"
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/plan"
	"twocup/station/pour"
)

const (
	beat     = time.Second            // a snapshot is made at least this often
	tick     = 100 * time.Millisecond // how often the beat and a slow ledger are looked at
	slow     = 250 * time.Millisecond // a write that takes longer is shown as saving
	maxQueue = 64                     // facts that wait for the ledger before actions are refused
)

// Config is what a station needs. Without a field's default, it is required.
type Config struct {
	ID, Name string
	Pedal    string // the keyboard key that works the display, by its name in W3C UI Events; empty means Enter
	Scale    plan.Scale
	Link     scaledrv.Link
	LinkText string // as it stands in the scale's entry; only for people to see
	Shape    scaledrv.Shape
	Driver   scaledrv.Options // its log and its listener are the station's
	Auto     batch.Auto
	Ledger   *ledger.Ledger
	Log      *slog.Logger                  // nil means silent
	Recorded func(batch.State, batch.Fact) // called with each durable fact and the state after it; may be nil
	Wrote    func(time.Duration)           // called with the time each write took; may be nil

	persist func(context.Context, string, ...batch.Fact) error       // nil means the ledger's Append; a test holds it up
	trace   func(context.Context, string, []ledger.TracePoint) error // nil means the ledger's AppendTrace
	learn   func(context.Context, ...ledger.Hand) error              // nil means the ledger's Learn
	probe   func(context.Context) error                              // nil means the ledger's Probe
	clock   func() clock                                             // nil means the system's
}

// Station is a running bench.
type Station struct {
	cfg    Config
	log    *slog.Logger
	driver *scaledrv.Driver
	lines  *scaledrv.LineLog
	since  time.Time // its start
	asks   chan func()
	done   chan struct{} // closed when the loop and the writer have ended
	writer writer
	off    sync.Mutex                         // held by an action on a batch that is on no scale
	found  atomic.Pointer[scaledrv.Candidate] // how the scale speaks, where its entry leaves that open and it is found out; else nil

	// What follows belongs to the loop.
	state      batch.State
	pouring    ledger.Hand         // whose batch stands on the scale
	lessons    []ledger.Hand       // what pours have shown, waiting for the ledger
	queue      []job               // of facts, waiting for the ledger, the first one being written
	points     trace               // waiting for the ledger
	earlier    []ledger.TracePoint // before a batch
	tracing    *trace              // being written
	traceAfter time.Time           // the next try of a trace, after one that failed
	unwritable error               // why the ledger takes nothing just now
	scale      scale
	lent       bool // to an identification: no batch starts
	seq        uint64
	shownAt    time.Time
	identity   identity
	changed    uint64 // seq of the first snapshot with the present identity
	watchers   map[chan Snapshot]struct{}
}

// scale is what is known of the scale now.
type scale struct {
	link   scaledrv.LinkState
	advice string          // the driver's
	last   reading.Reading // newest line with a weight
	any    bool
	now    reading.State // of the newest line
}

// Start begins to run a bench, until ctx ends.
func Start(ctx context.Context, cfg Config) *Station {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	log := cfg.Log.With("station", cfg.ID)
	cfg.Driver.Log = log.With("scale", cfg.Scale.ID)
	lines := &scaledrv.LineLog{}
	cfg.Driver.Heard = lines.Add
	s := &Station{
		cfg:      cfg,
		log:      log,
		driver:   scaledrv.Start(ctx, cfg.Link, cfg.Shape, cfg.Driver),
		lines:    lines,
		since:    time.Now(),
		asks:     make(chan func()),
		done:     make(chan struct{}),
		state:    batch.State{Pan: pour.NewPan(cfg.Scale.Division)},
		watchers: map[chan Snapshot]struct{}{},
		earlier:  make([]ledger.TracePoint, 0, 2*traceGroup),
	}
	if cfg.persist == nil {
		cfg.persist = cfg.Ledger.Append
	}
	if cfg.trace == nil {
		cfg.trace = cfg.Ledger.AppendTrace
	}
	if cfg.learn == nil {
		cfg.learn = cfg.Ledger.Learn
	}
	if cfg.probe == nil {
		cfg.probe = cfg.Ledger.Probe
	}
	if cfg.clock == nil {
		cfg.clock = systemClock
	}
	s.cfg = cfg
	s.writer = startWriter(cfg)
	s.resume(ctx)
	go s.run(ctx)
	return s
}

// Wait returns when the station has ended: the port closed, everything in the queue written if the ledger lets it.
func (s *Station) Wait() { <-s.done }

// ID of the station.
func (s *Station) ID() string { return s.cfg.ID }

// Name of the station, as a person calls it.
func (s *Station) Name() string { return s.cfg.Name }

// Pedal is the name of the keyboard key that works the station's display.
func (s *Station) Pedal() string { return cmp.Or(s.cfg.Pedal, "Enter") }

// Scale is what a plan must know of the station's scale, as far as it is known by now.
func (s *Station) Scale() plan.Scale {
	scale := s.cfg.Scale
	if scale.Division == 0 {
		scale.Division = foundDivision(s.found.Load())
	}
	return scale
}

// foundDivision is the division that a scale's digits have shown; 0: they have not yet.
func foundDivision(c *scaledrv.Candidate) reading.Mass {
	if c == nil || !c.DivisionSure {
		return 0
	}
	division, _ := c.Division.Mass()
	return division
}

// finds takes over how the scale speaks, with its division where its entry states none. A batch keeps the one it began with.
func (s *Station) finds(c *scaledrv.Candidate) {
	s.found.Store(c)
	if d := foundDivision(c); d > 0 && s.cfg.Scale.Division == 0 && !s.state.OnScale() {
		s.state.Pan.Divide(d)
	}
}

// Stats of the scale's driver.
func (s *Station) Stats() scaledrv.Stats { return s.driver.Stats() }

// run alone touches the state.
func (s *Station) run(ctx context.Context) {
	defer close(s.done)
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	for {
		select {
		case e, open := <-s.driver.Events():
			if !open {
				s.end()
				return
			}
			s.scaled(e)
		case ask := <-s.asks:
			ask()
		case o := <-s.writer.written:
			s.written(o)
		case <-ticker.C:
			now := time.Now()
			s.keepTrace(now)
			if saving := s.saving(now); saving || now.Sub(s.shownAt) > beat-tick { // the next tick would be late
				s.show(now)
			}
		}
	}
}

// end hands what is queued to the ledger one last time.
func (s *Station) end() {
	s.keepTrace(time.Now().Add(traceWithin))
	s.flush()
	for ch := range s.watchers {
		close(ch)
	}
}

// scaled takes a reading or a change of the link.
func (s *Station) scaled(e scaledrv.Event) {
	s.scale.link, s.scale.advice = e.Link, e.Advice
	if e.Found != nil {
		s.finds(e.Found)
	}
	if !e.HasReading {
		s.state.Pan.Interrupt()
		s.show(time.Now())
		return
	}
	r := e.Reading
	r.At = r.At.UTC()
	s.scale.now = r.State
	if r.State == reading.Normal {
		s.scale.last, s.scale.any = r, true
	}
	next, facts := batch.Follow(s.state, r)
	s.state = next
	s.takeTrace(r)
	if len(facts) > 0 {
		s.record(facts, nil)
	}
	if s.state.Left() {
		s.state = s.state.WithoutBatch()
	}
	s.show(time.Now())
}

// step takes one event. The error is for the asker: nothing has changed then.
func (s *Station) step(e batch.Event, answer chan<- error) error {
	next, facts, err := batch.Step(s.state, e)
	if err != nil {
		return err
	}
	s.state = next
	if len(facts) > 0 {
		s.record(facts, answer)
	}
	return nil
}

// show makes a snapshot and offers it to every watcher: the newest wins.
func (s *Station) show(now time.Time) {
	s.shownAt = now
	snapshot := s.snapshot(now)
	for ch := range s.watchers {
		select {
		case <-ch:
		default:
		}
		ch <- snapshot
	}
}
