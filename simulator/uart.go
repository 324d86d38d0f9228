package simulator

import (
	"fmt"
	"math"
	"math/bits"
	"time"
)

// UART is one end of a serial line: how it makes bits of bytes and bytes of bits.
type UART struct {
	Baud     int  // bits a second
	DataBits int  // 5 to 8
	Parity   byte // 'N' none, 'E' even, 'O' odd
	StopBits int  // 1 or 2
}

// NewUART is a UART from its frame's usual text, such as 8N1 or 7E1.
func NewUART(baud int, frame string) (UART, error) {
	if len(frame) != len("8N1") {
		return UART{}, fmt.Errorf("frame %q: give data bits, parity and stop bits, such as 8N1 or 7E1", frame)
	}
	u := UART{Baud: baud, DataBits: int(frame[0] - '0'), Parity: frame[1], StopBits: int(frame[2] - '0')}
	return u, u.check()
}

func (u UART) String() string {
	return fmt.Sprintf("%d %d%c%d", u.Baud, u.DataBits, u.Parity, u.StopBits)
}

func (u UART) check() error {
	switch {
	case u.Baud < 1 || u.Baud > 1_000_000:
		return fmt.Errorf("baud %d: give 1 to 1000000", u.Baud)
	case u.DataBits < 5 || u.DataBits > 8 || u.Parity != 'N' && u.Parity != 'E' && u.Parity != 'O' || u.StopBits < 1 || u.StopBits > 2:
		return fmt.Errorf("frame %d%c%d: give 5 to 8 data bits, parity N, E or O, and 1 or 2 stop bits", u.DataBits, u.Parity, u.StopBits)
	}
	return nil
}

// hears says whether u reads what the other sends. A receiver looks at the first stop bit only, however many it is set to
// (common practice, also in data sheets of UARTs), so that stop bits make no difference.
func (u UART) hears(other UART) bool {
	return u.Baud == other.Baud && u.DataBits == other.DataBits && u.Parity == other.Parity
}

func (u UART) parityBits() int {
	if u.Parity == 'N' {
		return 0
	}
	return 1
}

// after is the time of half a number of bits.
func (u UART) after(halfBits int) time.Duration {
	return time.Duration(halfBits) * time.Second / time.Duration(2*u.Baud)
}

func (u UART) byteTime() time.Duration {
	return u.after(2 * (1 + u.DataBits + u.parityBits() + u.StopBits))
}

// parity is the parity bit of a word.
func (u UART) parity(word uint) uint {
	ones := uint(bits.OnesCount(word)) & 1
	if u.Parity == 'O' {
		ones ^= 1
	}
	return ones
}

// Sample is what a receiver set as to hands out of bytes that a sender set as from sends without a gap, the line at rest
// before and after. A byte whose parity or whose stop bit is wrong is NUL, as termios(3) has it with INPCK set and IGNPAR
// and PARMRK not. Both must be settings that NewUART takes.
func Sample(sent []byte, from, to UART) []byte {
	e := newEar(from, to)
	for i, c := range sent {
		e.send(time.Duration(i)*from.byteTime(), c)
	}
	return e.hear(math.MaxInt64, nil)
}

// ear is a line and the UART at its end. The line is high at rest. A low edge begins a byte; the receiver looks at the middle
// of each of its own bits. After a wrong stop bit it waits for the next low edge.
type ear struct {
	from, to UART
	edges    []time.Duration // changes of the line that the receiver has not come to
	sentHigh bool            // the line behind the last of them
	high     bool            // the line before the first of them

	receiving bool
	began     time.Duration // of the byte being received
	bit       int           // that is looked at next, the start bit being 0
	word      uint
	parity    uint
}

func newEar(from, to UART) *ear { return &ear{from: from, to: to, sentHigh: true, high: true} }

// send puts a byte's bits on the line, from its start on. Bytes come in the order of time and do not overlap.
func (e *ear) send(start time.Duration, c byte) {
	word := uint(c) & (1<<e.from.DataBits - 1)
	levels := word<<1 | e.from.parity(word)<<(1+e.from.DataBits) // the start bit is 0
	stop := 1 + e.from.DataBits + e.from.parityBits()
	levels |= 1 << stop
	for bit := range stop + 1 {
		if high := levels>>bit&1 == 1; high != e.sentHigh {
			e.edges = append(e.edges, start+e.from.after(2*bit))
			e.sentHigh = high
		}
	}
}

// pass goes on to the next change of the line, if there is one before a time.
func (e *ear) pass(until time.Duration) (at time.Duration, ok bool) {
	if len(e.edges) == 0 || e.edges[0] >= until {
		return 0, false
	}
	at = e.edges[0]
	e.edges = e.edges[:copy(e.edges, e.edges[1:])]
	e.high = !e.high
	return at, true
}

// hear appends the bytes that the receiver has before a time, until which all bits have been sent.
func (e *ear) hear(until time.Duration, out []byte) []byte {
	for {
		if !e.receiving {
			at, ok := e.pass(until)
			if !ok {
				return out
			}
			if !e.high {
				e.receiving, e.began, e.bit, e.word, e.parity = true, at, 0, 0, 0
			}
			continue
		}
		middle := e.began + e.to.after(2*e.bit+1)
		if middle >= until {
			return out
		}
		for ok := true; ok; {
			_, ok = e.pass(middle + 1)
		}
		out = e.look(out)
	}
}

// look takes in the bit that the line now has, and appends the byte that is whole with it.
func (e *ear) look(out []byte) []byte {
	level := uint(0)
	if e.high {
		level = 1
	}
	bit, stop := e.bit, 1+e.to.DataBits+e.to.parityBits()
	e.bit++
	switch {
	case bit == 0:
		e.receiving = !e.high // too short to be a start bit
	case bit <= e.to.DataBits:
		e.word |= level << (bit - 1)
	case bit < stop:
		e.parity = level
	default:
		e.receiving = false
		c := byte(e.word)
		if !e.high || e.to.Parity != 'N' && e.parity != e.to.parity(e.word) {
			c = 0
		}
		return append(out, c)
	}
	return out
}
