package scaledrv

import (
	"os"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

// beat is the longest that the library's Read may wait: so long a new deadline may take to be noticed.
const beat = 250 * time.Millisecond

// beatPort is a Port over the library's own Read, for systems whose serial ports the runtime's poller does not take.
// It has no system in it, so that it can be tested on any.
type beatPort struct {
	serial.Port
	device   string
	deadline atomic.Pointer[time.Time]
}

func newBeatPort(port serial.Port, device string) *beatPort {
	p := &beatPort{Port: port, device: device}
	p.deadline.Store(new(time.Time))
	return p
}

func (p *beatPort) SetReadDeadline(t time.Time) error {
	p.deadline.Store(&t)
	return nil
}

// SetWriteDeadline does nothing: the library's Write has none. What is written is a few bytes, which the system's buffer
// takes at once, and there is no flow control to hold them back.
func (p *beatPort) SetWriteDeadline(time.Time) error { return nil }

func (p *beatPort) Write(b []byte) (int, error) {
	n, err := p.Port.Write(b)
	if err != nil {
		err = linkError("write to serial port", p.device, err)
	}
	return n, err
}

// Read waits in beats. The library gives 0 bytes and no error when a beat was silent, and that means nothing else.
func (p *beatPort) Read(b []byte) (int, error) {
	for {
		wait := beat
		if deadline := *p.deadline.Load(); !deadline.IsZero() {
			wait = min(wait, time.Until(deadline))
		}
		if wait <= 0 {
			return 0, os.ErrDeadlineExceeded
		}
		if err := p.Port.SetReadTimeout(wait); err != nil {
			return 0, linkError("read serial port", p.device, err)
		}
		n, err := p.Port.Read(b)
		if err != nil {
			err = linkError("read serial port", p.device, err)
		}
		if n > 0 || err != nil {
			return n, err
		}
	}
}
