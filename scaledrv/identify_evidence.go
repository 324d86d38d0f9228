package scaledrv

import (
	"errors"
	"math/bits"
	"strings"
	"time"

	"twocup/scaledrv/reading"
)

// telling are the shapes that an identification tries, the likelier first where two explain the same lines. A pattern is
// the user's own.
var telling = []string{"status-comma", "letter-status", "unit-when-stable", "stx-words", "hid", "trailing-flag", "reversed", "bare"}

// asHeard are the frames that an identification tries. All of them are heard as 8N1: a byte of 7E1 and 7O1 has as many bits, the
// last one its parity. 8N2 is 8N1 for who listens: a receiver does not look at the second stop bit (common practice).
var asHeard = map[string]func(b byte) byte{
	"8N1": func(b byte) byte { return b },
	"7E1": func(b byte) byte { return checked(b, 0) },
	"7O1": func(b byte) byte { return checked(b, 1) },
}

// checked is a byte without its parity bit, NUL where that is wrong, as termios(3) has it.
func checked(b byte, odd int) byte {
	if bits.OnesCount8(b)&1 != odd {
		return 0
	}
	return b & 0x7f
}

// line is a whole frame of one shape, with what it says.
type line struct {
	parsed
	at        time.Duration // since listening began
	text      string
	unweighed bool // it carries no weight
	unitless  bool // it states no unit
}

// lineBegins stands for a pause after which a line begins: it needs no end of one before it.
func lineBegins(at time.Duration) recorded { return recorded{at: at} }

// evidence is what came, as one shape in one frame explains it.
type evidence struct {
	frame, shape string
	lines        []line // whole ones
	rejected     int    // bytes of the others, without line ends
}

// gather reads what came as lines of a shape in a frame.
func gather(came []recorded, frame, shape string) evidence {
	e := evidence{frame: frame, shape: shape}
	given, err := shapes[shape](ShapeOptions{Unit: reading.UnitG})
	if err != nil {
		panic(err) // every shape but pattern takes grams
	}
	r := lineReader{given: given.open()}
	if shape == "stx-words" {
		r.stated = &r.given // which always states its unit, and whose reader goes by what its cutter has seen
	} else if s, err := shapes[shape](ShapeOptions{}); err == nil {
		stated := s.open()
		r.stated = &stated
	}
	for _, c := range came {
		rest := hearAll(c.bytes, frame)
		if len(rest) == 0 {
			rest = []byte{'\n'}
		}
		for len(rest) > 0 {
			var text []byte
			var rejected int
			text, rest, rejected = r.given.next(rest)
			e.rejected += rejected
			if text == nil {
				break
			}
			if l, ok := r.read(text); ok {
				l.at = c.at
				e.lines = append(e.lines, l)
			} else {
				e.rejected += len(text)
			}
		}
	}
	e.rejectOdd()
	return e
}

// lineReader reads lines of a shape that may or may not state their unit.
type lineReader struct {
	stated *format // nil: the shape never states one
	given  format
}

func (r *lineReader) read(text []byte) (l line, ok bool) {
	err := errNoUnit
	if r.stated != nil {
		err = r.stated.read(text, &l.parsed)
	}
	if l.unitless = errors.Is(err, errNoUnit); l.unitless {
		l.parsed = parsed{}
		err = r.given.read(text, &l.parsed)
		l.Value.Unit = reading.UnitNone
	}
	l.unweighed = err == ErrNoReading
	l.text = string(text)
	return l, err == nil || l.unweighed
}

// rejectOdd takes out lines that no other line is like: of a layout seen once, where a shape leaves that open, and those
// that state a unit where most lines state none, or the other way round.
func (e *evidence) rejectOdd() {
	if e.shape == "unit-when-stable" || e.shape == "stx-words" || e.shape == "reversed" {
		return // whose lines all have one length, or they are none
	}
	layouts, unitless := map[layout]int{}, 0
	for _, l := range e.lines {
		layouts[l.layout()]++
		if l.unitless {
			unitless++
		}
	}
	few := unitless < len(e.lines)-unitless
	kept := e.lines[:0]
	for _, l := range e.lines {
		if l.weighs() && (layouts[l.layout()] < 2 || l.unitless == few) {
			e.rejected += len(l.text)
			continue
		}
		kept = append(kept, l)
	}
	e.lines = kept
}

func (l *line) layout() layout { return layout{l.width, l.Value.Decimals, l.Value.Unit, l.blanked} }

// weighs says whether the line carries a weight.
func (l *line) weighs() bool { return !l.unweighed && l.State == reading.Normal }

// share is what the whole lines are of all bytes, 0 to 1.
func (e *evidence) share() float64 {
	whole := 0
	for _, l := range e.lines {
		whole += len(l.text)
	}
	if whole == 0 {
		return 0
	}
	return float64(whole) / float64(whole+e.rejected)
}

// longest is the length of the longest line.
func (e *evidence) longest() (characters int) {
	for _, l := range e.lines {
		characters = max(characters, len(l.text))
	}
	return characters
}

// flagged says whether a line carried what no damage makes of a number and its unit: a word of its shape, or a blank in the
// unit's place.
func (e *evidence) flagged() bool {
	return e.marked() || e.seen(func(l line) bool {
		return l.unweighed || l.Motion == reading.Moving || l.Kind != reading.KindUnknown
	})
}

// marked says whether a line ended in a mark of motion.
func (e *evidence) marked() bool {
	return e.seen(func(l line) bool {
		text := strings.TrimRight(l.text, " ")
		return strings.HasSuffix(text, "?") || strings.HasSuffix(text, "*")
	})
}

// Motion without a flag tells shapes apart that differ by their flag only.
const (
	movedBy   = 5                       // divisions, from a line at least movedIn before
	movedIn   = 500 * time.Millisecond  // a scale says that it moves, if at all, well within this (common practice, no source)
	movedOver = 3                       // lines in a row
	restedFor = 1500 * time.Millisecond // and that it is at rest within this; twice as long where two divisions flicker
)

// moved says whether the weight went one way over several lines in a row. A single value that differs is damage, or a
// load put on between two lines.
func (e *evidence) moved(step int64) bool {
	weights := e.weights()
	row, from := 0, 0
	var way int64
	for i, l := range weights {
		for from < i && weights[from+1].at <= l.at-movedIn {
			from++
		}
		change := l.Value.Digits - weights[from].Value.Digits
		if weights[from].at > l.at-movedIn || max(change, -change) < movedBy*step {
			row = 0
			continue
		}
		if row == 0 || (change > 0) != (way > 0) {
			row, way = 0, change
		}
		if row++; row >= movedOver {
			return true
		}
	}
	return false
}

// rested says whether the weight stood for long enough, over three lines at the least.
func (e *evidence) rested(step int64) bool {
	return e.stood(step, restedFor) || e.stood(2*step, 2*restedFor)
}

func (e *evidence) stood(within int64, long time.Duration) bool {
	first := 0
	weights := e.weights()
	for i := range weights {
		for first < i && spread(weights[first:i+1]) > within {
			first++
		}
		if i-first >= 2 && weights[i].at-weights[first].at >= long {
			return true
		}
	}
	return false
}

func spread(lines []line) int64 {
	low, high := lines[0].Value.Digits, lines[0].Value.Digits
	for _, l := range lines {
		low, high = min(low, l.Value.Digits), max(high, l.Value.Digits)
	}
	return high - low
}

// weights are the newest lines in a row that carry a weight in the unit and with the digits of the last one.
func (e *evidence) weights() (of []line) {
	for _, l := range e.lines {
		if !l.weighs() || l.blanked && len(of) > 0 && l.Value.Decimals != of[0].Value.Decimals {
			continue
		}
		if len(of) > 0 && (l.Value.Unit != of[0].Value.Unit || l.Value.Decimals != of[0].Value.Decimals) {
			of = of[:0]
		}
		of = append(of, l)
	}
	return of
}

// steps are what the digits of a display show of its division.
func (e *evidence) steps() steps {
	var s steps
	for _, l := range e.weights() {
		s.take(l.Value.Digits, l.step)
	}
	return s
}

// isText says whether what came looks like text in any of the frames: at a wrong speed it rarely does.
func isText(came []recorded) bool {
	for frame := range asHeard {
		all, text := 0, 0
		for _, c := range came {
			all += len(c.bytes)
			text += countText(hearAll(c.bytes, frame))
		}
		if 4*text >= 3*all {
			return true
		}
	}
	return false
}

func countText(heard []byte) (n int) {
	for _, b := range heard {
		switch {
		case b >= ' ' && b <= '~', b == '\r', b == '\n', b == stx, b == etx:
			n++
		}
	}
	return n
}

// hearAll is what bytes are in a frame.
func hearAll(bytes []byte, frame string) []byte {
	heard := make([]byte, len(bytes))
	for i, b := range bytes {
		heard[i] = asHeard[frame](b)
	}
	return heard
}
