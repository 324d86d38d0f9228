package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
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
	HasReading bool  // with LinkUp, always
	Err        error // why the link is down, a *LinkError
}

// Options of a Driver. The zero Options work.
type Options struct {
	StaleAfter time.Duration // silence after which the link counts as silent; 0 means 2 s
	Log        *slog.Logger  // one line per change of the link; nil means silent
}

// Stats are counts since the start.
type Stats struct {
	Readings      uint64 // readings given out
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
	// ---
	link   Link
	shape  Shape
	stale  time.Duration
	log    *slog.Logger
	state  LinkState
	reason string        // text of the error last given out
	wait   time.Duration // before the next opening
	fresh  time.Time     // of the last reading, or of the opening
	buffer [4096]byte
}

// Start begins to read a scale, until ctx ends. The link counts as down until the first reading or StaleAfter.
func Start(ctx context.Context, link Link, shape Shape, opt Options) *Driver {
	if opt.StaleAfter == 0 {
		opt.StaleAfter = 2 * time.Second
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	d := &Driver{
		events: make(chan Event, 64),
		link:   link,
		shape:  shape,
		stale:  opt.StaleAfter,
		log:    opt.Log.With("link", link.Name()),
		wait:   firstWait,
	}
	go d.run(ctx)
	return d
}

// Events are what happened, in its order. Whoever takes them must keep up: while the channel is full nothing is read,
// and a line's time is the time it was read. The channel is closed when the driver has ended and closed its port.
func (d *Driver) Events() <-chan Event { return d.events }

// Stats can be called at any time, from any goroutine.
func (d *Driver) Stats() Stats {
	return Stats{Readings: d.readings.Load(), RejectedBytes: d.rejected.Load(), Reconnects: d.reconnects.Load()}
}

func (d *Driver) run(ctx context.Context) {
	defer close(d.events)
	for opened := false; ctx.Err() == nil; {
		op := "open"
		port, err := d.link.Open(ctx)
		if err == nil {
			if opened {
				d.reconnects.Add(1)
			}
			op, opened = "read", true
			err = d.read(ctx, port)
		}
		if ctx.Err() != nil {
			return
		}
		d.lost(ctx, linkError(op, d.link.Name(), err))
		select {
		case <-time.After(d.wait):
		case <-ctx.Done():
		}
		d.wait = min(2*d.wait, lastWait)
	}
}

// read takes what comes from a port until it is lost or ctx ends, and closes it.
func (d *Driver) read(ctx context.Context, port Port) error {
	defer func() {
		if err := port.Close(); err != nil {
			d.log.Warn("close port", "err", err)
		}
	}()
	past := time.Unix(1, 0)
	defer context.AfterFunc(ctx, func() { _ = port.SetReadDeadline(past) })()
	in := &intake{shape: d.shape}
	d.fresh = time.Now()
	for {
		if err := port.SetReadDeadline(d.deadline()); err != nil {
			return err
		}
		if ctx.Err() != nil { // asked after the deadline was set, which may have undone the one in the past
			return ctx.Err()
		}
		n, err := readSafely(port, d.buffer[:])
		d.take(ctx, in, d.buffer[:n], time.Now())
		switch {
		case err == nil:
		case errors.Is(err, os.ErrDeadlineExceeded):
			if ctx.Err() == nil {
				d.silent(ctx)
			}
		default:
			return err
		}
	}
}

// deadline is when the link turns silent; none when it is already.
func (d *Driver) deadline() time.Time {
	if d.state == LinkSilent {
		return time.Time{}
	}
	return d.fresh.Add(d.stale)
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
	before := in.rejected
	for len(chunk) > 0 {
		r, rest, ok := in.next(chunk)
		if ok {
			r.At = at
			d.up(ctx, r)
		}
		chunk = rest
	}
	d.rejected.Add(in.rejected - before)
}

func (d *Driver) up(ctx context.Context, r reading.Reading) {
	if d.state != LinkUp {
		d.log.Info("scale is read", "was", d.state)
	}
	d.state, d.fresh, d.wait = LinkUp, r.At, firstWait
	d.readings.Add(1)
	d.emit(ctx, Event{Link: LinkUp, Reading: r, HasReading: true})
}

func (d *Driver) silent(ctx context.Context) {
	d.log.Warn("scale is silent", "for", d.stale)
	d.state = LinkSilent
	d.emit(ctx, Event{Link: LinkSilent})
}

// lost tells once of each reason: a port that stays away is no change.
func (d *Driver) lost(ctx context.Context, err *LinkError) {
	if d.state == LinkDown && d.reason == err.Error() {
		return
	}
	d.log.Warn("scale lost", "err", err, "next_try", d.wait)
	d.state, d.reason = LinkDown, err.Error()
	d.emit(ctx, Event{Link: LinkDown, Err: err})
}

func (d *Driver) emit(ctx context.Context, e Event) {
	select {
	case d.events <- e:
	case <-ctx.Done():
	}
}
