package simulator

import (
	"bytes"
	"context"
	"errors"
	"io"
	"time"
)

// tick is how often Run looks at the clock: bytes leave in groups of what the baud rate carries in one.
const tick = 2 * Step

// host is a line that also brings what the host says. PTY, TCP and net.Conn are such lines.
type host interface {
	io.Reader
	SetReadDeadline(time.Time) error
}

// settled is a line whose far end has settings that can be asked for; false while they don't count.
type settled interface{ FarEnd() (UART, bool) }

// Run advances the bench by the clock, writes its lines to line and, where line can be read with a deadline, gives the scale
// what comes back, until ctx ends. A line that fails or blocks never holds the bench up: what it does not take is lost, as
// on a serial line. Run ends after the write at hand has ended, so close a line that may block when ctx ends. It is an error
// to run a bench twice at a time, or to call Advance beside it.
func (b *Bench) Run(ctx context.Context, line io.Writer) error {
	if !b.running.CompareAndSwap(false, true) {
		return errors.New("run the bench: it is running already (make another one)")
	}
	defer b.running.Store(false)
	chunks, written := make(chan []byte, 16), make(chan struct{})
	go func() {
		defer close(written)
		for chunk := range chunks {
			line.Write(chunk) // who is not there or cannot take it misses it: the next chunk is tried again
		}
	}()
	defer func() {
		close(chunks)
		<-written
	}()
	if h, ok := line.(host); ok {
		defer b.listen(h)()
	}

	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	last, lost := time.Now(), false
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
		b.askFarEnd(line)
		now := time.Now()
		out := b.Advance(now.Sub(last))
		last = now
		if lost { // begin again with a whole line
			_, rest, ended := bytes.Cut(out, b.lineEnd)
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

// listen gives the scale what a host says, until it is stopped or the line ends.
func (b *Bench) listen(h host) (stop func()) {
	done := make(chan struct{})
	h.SetReadDeadline(time.Time{}) // that a run before this one has set
	go func() {
		defer close(done)
		said := make([]byte, 256)
		for {
			n, err := h.Read(said)
			b.Receive(said[:n])
			if err != nil {
				return
			}
		}
	}()
	return func() {
		h.SetReadDeadline(time.Now())
		<-done
	}
}

// askFarEnd takes over the settings of a line's far end, which may change at any time.
func (b *Bench) askFarEnd(line io.Writer) {
	if s, ok := line.(settled); ok {
		if far, counts := s.FarEnd(); counts {
			_ = b.HeardBy(far) // settings that no UART has leave it as it is
		}
	}
}
