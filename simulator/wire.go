package simulator

import (
	"bytes"
	"context"
	"errors"
	"io"
	"time"
)

// wire sends one line at a time, byte by byte, each 10 bit times after the one before (8N1).
type wire struct {
	byteTime time.Duration
	line     [lineLength]byte
	sent     int
	next     time.Duration // when the next byte is whole
}

func newWire(baud int) wire {
	return wire{byteTime: 10 * time.Second / time.Duration(baud), sent: lineLength}
}

func (w *wire) busy() bool { return w.sent < lineLength }

// cut drops what is left of the line, as a power cut does.
func (w *wire) cut() { w.sent = lineLength }

func (w *wire) send(now time.Duration, format lineFormat, shown display) {
	format.append(w.line[:0], shown)
	w.sent, w.next = 0, now+w.byteTime
}

// step appends the bytes that are whole by now.
func (w *wire) step(now time.Duration, out []byte) []byte {
	for w.busy() && w.next <= now {
		out = append(out, w.line[w.sent])
		w.sent++
		w.next += w.byteTime
	}
	return out
}

// tick is how often Run looks at the clock: bytes leave in groups of what the baud rate carries in one.
const tick = 2 * Step

// Run advances the bench by the clock and writes its lines to w until ctx ends. A writer that fails or blocks never
// holds the bench up: what it does not take is lost, as on a serial line. Run ends after the write at hand has ended, so
// close a writer that may block when ctx ends. It is an error to run a bench twice at a time, or to call Advance beside it.
func (b *Bench) Run(ctx context.Context, w io.Writer) error {
	if !b.running.CompareAndSwap(false, true) {
		return errors.New("run the bench: it is running already (make another one)")
	}
	defer b.running.Store(false)
	chunks, written := make(chan []byte, 16), make(chan struct{})
	go func() {
		defer close(written)
		for chunk := range chunks {
			w.Write(chunk) // who is not there or cannot take it misses it: the next chunk is tried again
		}
	}()
	defer func() {
		close(chunks)
		<-written
	}()

	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	last, lost := time.Now(), false
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
		now := time.Now()
		out := b.Advance(now.Sub(last))
		last = now
		if lost { // begin again with a whole line
			_, rest, ended := bytes.Cut(out, []byte{'\n'})
			out, lost = rest, !ended
		}
		if len(out) == 0 {
			continue
		}
		select {
		case chunks <- bytes.Clone(out):
		default:
			lost = true
		}
	}
}
