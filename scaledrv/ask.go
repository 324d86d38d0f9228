package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"
)

const (
	// answerWithin is how long a scale has for its answer before it is asked again: more than one that first waits for
	// its own next reading takes (common practice, no source).
	answerWithin = time.Second
	// writeWithin is how long a line may take for a few bytes.
	writeWithin = time.Second
	// quiet is how long a scale must say nothing before what it said without a whole frame counts as its answer: the first
	// line after opening is dropped, since it may be half of one.
	quiet = 100 * time.Millisecond
	// keyWait is the longest that a key waits while nothing comes from the scale.
	keyWait = 100 * time.Millisecond
)

// Key is a key of the scale that can be pressed from here, where the scale's entry says what to send for it.
type Key uint8

const (
	KeyTare Key = iota
	KeyZero
)

func (k Key) String() string { return [...]string{"tare", "zero"}[k] }

// Press sends what presses a key at the scale. The error says why nothing will be sent. A key that is still to be sent when
// the port is opened again is dropped: late, it would tare what the hand has not meant.
func (d *Driver) Press(k Key) error {
	command := [...][]byte{d.opt.Tare, d.opt.Zero}[k]
	if len(command) == 0 {
		return fmt.Errorf("press %s at the scale %q: its entry states no command for it (nothing is sent that is not stated)", k, d.link.Name())
	}
	select {
	case d.keys <- command:
		return nil
	default:
		return fmt.Errorf("press %s at the scale %q: the key before it is still to be sent (try again)", k, d.link.Name())
	}
}

// dropKey forgets a key that was pressed before this opening of the port.
func (d *Driver) dropKey() {
	select {
	case command := <-d.keys:
		d.log.Warn("key not sent: the port was away", "command", string(command), "do", "press it again")
	default:
	}
}

// asker asks a scale that sends only on request, one request at a time: the next is not sent before the answer to the
// last has come or is overdue.
type asker struct {
	request []byte
	every   time.Duration
	due     time.Time // of the next request; zero with none
	asked   time.Time // when the open request was sent; zero with none
	frames  uint64    // that had come by then
	heard   time.Time // the newest bytes
}

// wake is when the asker has something to do if nothing comes; zero for never.
func (a *asker) wake() time.Time {
	switch {
	case len(a.request) == 0:
		return time.Time{}
	case a.asked.IsZero():
		return a.due
	}
	overdue := a.asked.Add(max(answerWithin, a.every))
	if a.heard.After(a.asked) {
		return earlier(overdue, a.heard.Add(quiet))
	}
	return overdue
}

// turn says whether the request is to be sent now. Any frame since the last one is its answer, also a damaged one.
func (a *asker) turn(now time.Time, frames uint64) bool {
	if frames != a.frames || a.heard.After(a.asked) && now.Sub(a.heard) >= quiet {
		a.frames, a.asked = frames, time.Time{}
	}
	wake := a.wake()
	if wake.IsZero() || now.Before(wake) {
		return false
	}
	// The beat goes on from when it was due; what was missed is not asked for later.
	if a.due = a.due.Add(a.every); a.due.Before(now) {
		a.due = now.Add(a.every)
	}
	a.asked = now
	return true
}

// send writes what is to be sent to the scale now: a key that was pressed, or the request.
func (d *Driver) send(ctx context.Context, port Port, frames uint64) error {
	select {
	case command := <-d.keys:
		return write(ctx, port, command)
	default:
	}
	if d.asker.turn(time.Now(), frames) {
		return write(ctx, port, d.opt.Request)
	}
	return nil
}

func write(ctx context.Context, port Port, text []byte) error {
	if err := port.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
		return err
	}
	if ctx.Err() != nil { // asked after the deadline was set, which may have undone the one in the past
		return ctx.Err()
	}
	_, err := port.Write(text)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return fmt.Errorf("write %q: the line took nothing for %v (check flow= and the cable)", text, writeWithin)
	}
	return err
}
