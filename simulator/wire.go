package simulator

import (
	"fmt"
	"time"
)

// wire sends one line at a time, byte by byte without a gap.
type wire struct {
	uart, far UART // of the scale, of who listens
	byteTime  time.Duration
	line      []byte
	sent      int
	next      time.Duration // when the next byte is whole
	ear       *ear          // what the far end makes of it; nil where it hears it as it is
}

func newWire(uart UART) wire { return wire{uart: uart, far: uart, byteTime: uart.byteTime()} }

func (w *wire) heardBy(far UART) {
	if far == w.far {
		return
	}
	w.far, w.ear = far, nil
	if !far.hears(w.uart) {
		w.ear = newEar(w.uart, far)
	}
}

func (w *wire) busy() bool { return w.sent < len(w.line) }

// cut drops what is left of the line, as a power cut does.
func (w *wire) cut() { w.sent = len(w.line) }

func (w *wire) send(now time.Duration, format *lineFormat, shown display) {
	w.line = format.append(w.line[:0], shown)
	w.sent, w.next = 0, now+w.byteTime
}

// step appends the bytes that the far end has whole by now.
func (w *wire) step(now time.Duration, out []byte) []byte {
	for ; w.busy() && w.next <= now; w.next += w.byteTime {
		c := w.line[w.sent]
		w.sent++
		if w.ear == nil {
			out = append(out, c)
		} else {
			w.ear.send(w.next-w.byteTime, c)
		}
	}
	if w.ear == nil {
		return out
	}
	if w.busy() {
		now = min(now, w.next-w.byteTime) // the bits of the byte at hand come when it is whole
	}
	return w.ear.hear(now, out)
}

// UART is the scale's own line settings.
func (b *Bench) UART() UART { return b.wire.uart }

// HeardBy says with what settings the far end listens and speaks; as long as nobody says so, with the scale's own. From
// now on each end gets what a UART with its settings makes of the other's bits.
func (b *Bench) HeardBy(far UART) error {
	if err := far.check(); err != nil {
		return fmt.Errorf("set the far end of the line: %w", err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.wire.heardBy(far)
	return nil
}

// Receive gives the scale bytes from the host. It does what OnRequest, TareCommand and ZeroCommand say, a key press that does
// not work included, and ignores all else. A scale that is off hears nothing.
func (b *Bench) Receive(sent []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.scale.off {
		return
	}
	if !b.wire.uart.hears(b.wire.far) {
		sent = Sample(sent, b.wire.far, b.wire.uart)
	}
	for _, c := range sent {
		switch b.inbox.take(c) {
		case request:
			b.asked++
		case tare:
			_ = b.scale.pressTare() // as on the key: while the scale moves it does nothing
		case zero:
			_ = b.scale.pressZero()
		}
	}
}
