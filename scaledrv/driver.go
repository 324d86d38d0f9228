package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"twocup/scaledrv/reading"
)

// LinkState is what is known of the link to a scale.
type LinkState uint8

const (
	LinkDown   LinkState = iota // not open, or open and nothing valid has come yet
	LinkSilent                  // open, and nothing valid has come for Options.StaleAfter
	LinkUp                      // the newest reading is younger than Options.StaleAfter
)

func (s LinkState) String() string { return [...]string{"down", "silent", "up"}[s] }

// Event is a reading or a change of the link.
type Event struct {
	Link       LinkState
	Reading    reading.Reading
	HasReading bool       // with LinkUp, always
	Err        error      // why the link is down, a *LinkError
	Advice     string     // what is wrong with the scale or its line and what to do, in one sentence; empty where nothing is known to be
	Found      *Candidate // with shape: auto, once it is found out how the scale speaks, and again once its division is
}

// Options of a Driver. The zero Options work.
type Options struct {
	StaleAfter time.Duration // silence after which the link counts as silent; 0 means 2 s
	Request    []byte        // asks for one reading; empty for a scale that sends by itself
	Every      time.Duration // between two requests; 0 means 200 ms
	Tare, Zero []byte        // what presses these keys of the scale; empty: nothing is ever sent for them
	AutoOff    time.Duration // the scale switches itself off after so long at rest; 0 means that it does not
	Heard      func(Line)    // called by the driver's goroutine with each line, whose bytes hold until it returns; may be nil
	Log        *slog.Logger  // one line per change of the link or of the advice; nil means silent
}

// Stats are counts since the start.
type Stats struct {
	Readings      uint64 // readings given out
	Bytes         uint64 // that came
	RejectedBytes uint64 // bytes of damaged lines, without their ends
	Reconnects    uint64 // openings after a port was lost
}

// A lost port is tried again after firstWait, then after twice as long each time, up to lastWait.
const (
	firstWait = 100 * time.Millisecond
	lastWait  = time.Second
)

// Driver reads one scale. Its fields below the line belong to its own goroutine.
type Driver struct {
	events                         chan Event
	readings, rejected, reconnects atomic.Uint64
	bytes                          atomic.Uint64 // that came
	keys                           chan []byte   // pressed, to be sent
	calls                          chan call     // for identification
	ended                          chan struct{}
	mu                             sync.Mutex
	port                           Port // being read, if any; guarded by mu
	opt                            Options
	// ---
	link    Link   // as configured
	shape   Shape  // as configured
	auto    auto   // what was found out of the two
	doubt   string // why it is not known yet how the scale speaks, and what to do
	opened  bool   // a port has been, and no identification since
	log     *slog.Logger
	state   LinkState
	reason  string        // text of the error last given out
	wait    time.Duration // before the next opening
	fresh   time.Time     // of the last reading, or of the opening
	asker   asker
	health  health
	hearing *hearing
	advice  string // last given out
	buffer  [4096]byte
}

// Start begins to read a scale, until ctx ends. The link counts as down until the first reading or StaleAfter.
func Start(ctx context.Context, link Link, shape Shape, opt Options) *Driver {
	if opt.StaleAfter == 0 {
		opt.StaleAfter = 2 * time.Second
	}
	if opt.Every == 0 {
		opt.Every = 200 * time.Millisecond
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	d := &Driver{
		events:  make(chan Event, 64),
		keys:    make(chan []byte, 1),
		calls:   make(chan call, 1),
		ended:   make(chan struct{}),
		opt:     opt,
		link:    link,
		shape:   shape,
		log:     opt.Log.With("link", link.Name()),
		wait:    firstWait,
		hearing: newHearing(opt.Heard),
		health:  health{auto: shape.isAuto(), hid: shape.name == "hid", request: string(opt.Request), autoOff: opt.AutoOff},
	}
	if !shape.isAuto() {
		d.auto = auto{link: link, shape: shape}
	}
	go d.run(ctx)
	return d
}

// Events are what happened, in its order. Whoever takes them must keep up: while the channel is full nothing is read,
// and a line's time is the time it was read. The channel is closed when the driver has ended and closed its port.
func (d *Driver) Events() <-chan Event { return d.events }

// Stats can be called at any time, from any goroutine.
func (d *Driver) Stats() Stats {
	return Stats{Readings: d.readings.Load(), Bytes: d.bytes.Load(), RejectedBytes: d.rejected.Load(), Reconnects: d.reconnects.Load()}
}

func (d *Driver) run(ctx context.Context) {
	defer close(d.ended)
	defer close(d.events)
	for ctx.Err() == nil {
		if d.identified(ctx) {
			d.session(ctx)
		}
		select {
		case c := <-d.calls:
			d.answer(ctx, c)
			continue
		case <-time.After(d.wait):
		case <-ctx.Done():
		}
		d.wait = min(2*d.wait, lastWait)
	}
}

// session opens the port and reads it until it is lost, is wanted for an identification, or ctx ends.
func (d *Driver) session(ctx context.Context) {
	op := "open"
	port, err := d.auto.link.Open(ctx)
	if err == nil {
		if d.opened {
			d.reconnects.Add(1)
		}
		op, d.opened = "read", true
		err = d.read(ctx, port)
	}
	if ctx.Err() == nil && err != errCalled {
		d.lost(ctx, linkError(op, d.link.Name(), err))
	}
}

// read takes what comes from a port until it is lost or ctx ends, and closes it.
func (d *Driver) read(ctx context.Context, port Port) error {
	d.reads(port)
	defer func() {
		d.reads(nil)
		if err := port.Close(); err != nil {
			d.log.Warn("close port", "err", err)
		}
	}()
	defer context.AfterFunc(ctx, func() { _, _ = port.SetReadDeadline(longAgo), port.SetWriteDeadline(longAgo) })()
	in := newIntake(d.auto.shape, d.hearing)
	d.dropKey()
	d.fresh = time.Now()
	d.asker = asker{request: d.opt.Request, every: d.opt.Every, due: d.fresh}
	var armed time.Time // the port's deadline; zero for none
	for first := true; ; first = false {
		if err := d.send(ctx, port, in.frames); err != nil {
			return err
		}
		// One that fires too early is armed anew: to move it at each line costs more than the line.
		if at := d.deadline(); first || armed.IsZero() || !at.IsZero() && at.Before(armed) {
			if err := port.SetReadDeadline(at); err != nil {
				return err
			}
			armed = at
		}
		if ctx.Err() != nil { // asked after the deadline was set, which may have undone the one in the past
			return ctx.Err()
		}
		if len(d.calls) > 0 {
			return errCalled
		}
		n, err := readSafely(port, d.buffer[:])
		now := time.Now()
		d.take(ctx, in, d.buffer[:n], now)
		late := errors.Is(err, os.ErrDeadlineExceeded)
		if late {
			armed = time.Time{}
		}
		switch {
		case err != nil && !late:
			return err
		case ctx.Err() == nil && d.state != LinkSilent && !now.Before(d.fresh.Add(d.opt.StaleAfter)):
			d.silent(ctx)
		}
	}
}

// deadline is when something is to be done if nothing comes; none where there is nothing.
func (d *Driver) deadline() time.Time {
	at := d.asker.wake()
	if d.state != LinkSilent {
		at = earlier(at, d.fresh.Add(d.opt.StaleAfter))
	}
	if len(d.opt.Tare)+len(d.opt.Zero) > 0 {
		at = earlier(at, time.Now().Add(keyWait))
	}
	return at
}

// longAgo is a deadline that ends what waits.
var longAgo = time.Unix(1, 0)

// earlier is the earlier of two instants; the zero time is never.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// readSafely makes an error of a panic in a library's Read: the serial library's panics on descriptors from 1024 on.
func readSafely(port Port, b []byte) (n int, err error) {
	defer func() {
		if p := recover(); p != nil {
			n, err = 0, fmt.Errorf("panic: %v", p)
		}
	}()
	return port.Read(b)
}

// take gives out the readings in a chunk that was read at this time.
func (d *Driver) take(ctx context.Context, in *intake, chunk []byte, at time.Time) {
	if len(chunk) == 0 {
		return
	}
	d.asker.heard = at
	bytes, before := len(chunk), in.tally
	for len(chunk) > 0 {
		r, rest, ok := in.next(chunk, at)
		if ok {
			d.up(ctx, r)
		}
		chunk = rest
	}
	came := in.tally.minus(before)
	d.bytes.Add(uint64(bytes))
	d.rejected.Add(came.rejected)
	d.health.heard(at, bytes, came)
	d.advise(ctx)
}

func (d *Driver) up(ctx context.Context, r reading.Reading) {
	if d.state != LinkUp {
		d.log.Info("scale is read", "was", d.state)
		d.advice = ""
	}
	d.state, d.fresh, d.wait = LinkUp, r.At, firstWait
	d.readings.Add(1)
	if d.health.weighed(r) {
		r.State = reading.Fault
	}
	found := d.auto.follow(r.Value)
	if found != nil {
		d.log.Info("division found", "division", found.Division)
	}
	d.emit(ctx, Event{Link: LinkUp, Reading: r, HasReading: true, Advice: d.advice, Found: found})
}

func (d *Driver) silent(ctx context.Context) {
	d.state, d.advice = LinkSilent, d.health.advice(LinkSilent)
	d.log.Warn("scale is silent", "for", d.opt.StaleAfter, "advice", d.advice)
	d.emit(ctx, Event{Link: LinkSilent, Advice: d.advice})
}

// advise tells of another advice than the last.
func (d *Driver) advise(ctx context.Context) {
	if d.state == LinkDown {
		return // the error says it, or nothing is known yet
	}
	advice := d.health.advice(d.state)
	if advice == d.advice {
		return
	}
	d.advice = advice
	if advice == "" {
		d.log.Info("scale is well again")
		return
	}
	d.log.Warn("scale is not well", "advice", advice)
	if d.state == LinkSilent {
		d.emit(ctx, Event{Link: LinkSilent, Advice: advice})
	} // else the next reading carries it
}

// lost tells once of each reason: a port that stays away is no change.
func (d *Driver) lost(ctx context.Context, err *LinkError) {
	if d.state == LinkDown && d.reason == err.Error() {
		return
	}
	d.log.Warn("scale lost", "err", err, "next_try", d.wait)
	d.state, d.reason, d.advice = LinkDown, err.Error(), err.Error()
	d.emit(ctx, Event{Link: LinkDown, Err: err, Advice: d.advice})
}

func (d *Driver) emit(ctx context.Context, e Event) {
	select {
	case d.events <- e:
	case <-ctx.Done():
	}
}
