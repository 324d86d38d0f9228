package scaledrv

import (
	"bytes"
	"errors"
	"slices"
	"sync"
	"time"

	"twocup/scaledrv/reading"
)

// Line is what came from a scale up to the end of one frame, and what became of it.
type Line struct {
	Number   uint64 // since the driver's start, from 1
	At       time.Time
	Raw      []byte // as it came, with what was discarded before the frame, without CR and LF at its edges
	Outcome  Outcome
	Reading  reading.Reading // with LineRead and LineHeld
	Rejected int             // bytes that were found to be damage: of this line, and of one held before it
	Err      error           // with LineRejected: why
}

// Outcome is what became of a line.
type Outcome uint8

const (
	LineRead     Outcome = iota // it is a reading
	LineHeld                    // of another layout than those before: it counts once a second line has the same
	LineNoWeight                // whole, without a weight
	LineRejected                // damaged, or of another shape
)

func (o Outcome) String() string { return [...]string{"read", "held", "no_weight", "rejected"}[o] }

// maxRaw is how much of a line is kept for whoever looks at it, in bytes: the newest. The descriptor of most HID scales
// has room.
const maxRaw = 1024

var errNoFrame = errors.New("no line of this shape ends in it")

// hearing gives each line to somebody who listens. A nil hearing has nobody.
type hearing struct {
	hear   func(Line)
	number uint64
	raw    []byte
}

func newHearing(hear func(Line)) *hearing {
	if hear == nil {
		return nil
	}
	return &hearing{hear: hear}
}

// came notes bytes of the line that is coming.
func (h *hearing) came(b []byte) {
	if h == nil {
		return
	}
	h.raw = append(h.raw, b...)
	if over := len(h.raw) - maxRaw; over > 0 {
		h.raw = append(h.raw[:0], h.raw[over:]...)
	}
}

// is tells what became of the line that has come.
func (h *hearing) is(outcome Outcome, r reading.Reading, rejected uint64, err error) {
	if h == nil {
		return
	}
	h.number++
	h.hear(Line{h.number, r.At, bytes.Trim(h.raw, "\r\n"), outcome, r, int(rejected), err})
	h.raw = h.raw[:0]
}

// LineLog keeps the newest lines of one scale for whoever looks at them. The zero LineLog is ready.
type LineLog struct {
	mu   sync.Mutex
	kept [200]Line
	n    uint64 // lines added
}

// Add keeps a line in place of the oldest; its bytes are copied.
func (l *LineLog) Add(line Line) {
	l.mu.Lock()
	defer l.mu.Unlock()
	place := &l.kept[l.n%uint64(len(l.kept))]
	line.Raw = append(place.Raw[:0], line.Raw...)
	*place = line
	l.n++
}

// After gives what is kept of the lines behind the one with this number, the oldest first.
func (l *LineLog) After(number uint64) (list []Line) {
	l.mu.Lock()
	defer l.mu.Unlock()
	size := uint64(len(l.kept))
	for i := l.n - min(l.n, size); i < l.n; i++ {
		if line := l.kept[i%size]; line.Number > number {
			line.Raw = slices.Clone(line.Raw)
			list = append(list, line)
		}
	}
	return list
}

// EscapedBytes writes bytes as text from which each can be told again, and that a terminal takes for nothing else: printable
// ASCII as it is but the backslash, which is doubled; CR and LF as \r and \n; every other byte as \x and two hexadecimal
// digits.
func EscapedBytes(raw []byte) string {
	const digits = "0123456789abcdef"
	text := make([]byte, 0, len(raw))
	for _, c := range raw {
		switch {
		case c == '\\':
			text = append(text, `\\`...)
		case c == '\r':
			text = append(text, `\r`...)
		case c == '\n':
			text = append(text, `\n`...)
		case c < ' ' || c > '~':
			text = append(text, '\\', 'x', digits[c>>4], digits[c&15])
		default:
			text = append(text, c)
		}
	}
	return string(text)
}
