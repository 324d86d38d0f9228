package scaledrv

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// sample is what a scale shows. The tests write it by encoders of their own.
type sample struct {
	digits   int64
	decimals int
	unit     string
	moving   bool
	net      bool
}

// number is the sample's without its sign, at least one digit before the mark.
func (s sample) number() string {
	text := fmt.Sprintf("%0*d", s.decimals+1, max(s.digits, -s.digits))
	if s.decimals > 0 {
		text = text[:len(text)-s.decimals] + "." + text[len(text)-s.decimals:]
	}
	return text
}

func (s sample) signed() string { return s.pick(s.digits < 0, "-", "") + s.number() }

func (sample) pick(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// variant is a shape as one scale sends it.
type variant struct {
	name    string
	shape   string
	opt     ShapeOptions
	write   func(s sample) string
	motion  bool // its lines say stable or moving
	kind    bool // and gross or net
	pattern bool // the only shape that may allocate
	figures int  // digits that its lines have room for beside sign and mark
	// passes is the share of lines with up to four bits flipped, wherever in the line, that may give a wrong weight.
	passes float64
	// padded lines have one length: a line with bytes lost, too many or run together with another gives no weight.
	padded   bool
	checksum bool // all damage is bound by passes
}

func (v variant) String() string { return strings.TrimSpace(v.shape + " " + v.name) }

func (v variant) made() Shape { return shapeNamed(v.shape, v.opt) }

// says is what the driver makes of a sample.
func (v variant) says(s sample) string {
	out := s.number() + " " + s.unit
	if s.digits < 0 {
		out = "-" + out
	}
	if v.kind {
		out += s.pick(s.net, " net", " gross")
	}
	if v.motion {
		out += s.pick(s.moving, " moving", " stable")
	}
	return out
}

var grams = ShapeOptions{Unit: reading.UnitG}

// digitFlips bounds the share of lines, with bits flipped, in which a digit became another digit: of the flips of one bit
// in a digit 3 in 8 do, counted over the ten digits, and a line has so many digits in so many bytes with its end. Flips
// of more bits of one byte that make another digit are no more likely.
func digitFlips(digits, bytes int) float64 { return 3 * float64(digits) / (8 * float64(bytes)) }

var variants = []variant{
	{shape: "status-comma", motion: true, kind: true, figures: 7, padded: true, passes: digitFlips(8, 20), write: func(s sample) string {
		number := strings.Repeat("0", 9-len(s.number())) + s.number()
		return s.pick(s.moving, "US", "ST") + s.pick(s.net, ",NT,", ",GS,") + s.pick(s.digits < 0, "-", "+") + number + fmt.Sprintf(" %2s\r\n", s.unit)
	}},
	{shape: "letter-status", motion: true, figures: 7, padded: true, passes: digitFlips(6, 18), write: func(s sample) string {
		return fmt.Sprintf("S %s %10s %s\r\n", s.pick(s.moving, "D", "S"), s.signed(), s.unit)
	}},
	{shape: "unit-when-stable", motion: true, kind: true, figures: 7, padded: true, passes: digitFlips(6, 22), write: func(s sample) string {
		return fmt.Sprintf("%-6s%s%9s %-3s\r\n", s.pick(s.net, "N", "G"), s.pick(s.digits < 0, "-", "+"), s.number(), s.pick(s.moving, "", s.unit))
	}},
	{shape: "trailing-flag", motion: true, kind: true, figures: 7, padded: true, passes: digitFlips(6, 17), write: func(s sample) string {
		return fmt.Sprintf("%9s %s%s%s\r\n", s.signed(), s.unit, s.pick(s.net, " NET", " G"), s.pick(s.moving, " ?", ""))
	}},
	{name: "with checksum", shape: "stx-words", motion: true, kind: true, figures: 6, padded: true, checksum: true, passes: 1. / 128, write: func(s sample) string {
		return summed(writeWord(s))
	}},
	{name: "without", shape: "stx-words", motion: true, kind: true, figures: 6, padded: true, passes: digitFlips(6, 17) + 1./(17*8), write: writeWord},
	{name: "with line ends", shape: "reversed", opt: grams, figures: 5, padded: true, passes: digitFlips(6, 10), write: func(s sample) string {
		return writeReversed(s) + "\r\n"
	}},
	{name: "without", shape: "reversed", opt: grams, figures: 5, passes: digitFlips(6, 8), write: writeReversed},
	{name: "padded", shape: "bare", figures: 7, padded: true, passes: digitFlips(6, 13), write: func(s sample) string {
		return fmt.Sprintf("%s%8s %s\r\n", s.pick(s.digits < 0, "-", "+"), s.number(), s.unit)
	}},
	{name: "digits alone", shape: "bare", opt: grams, figures: 7, passes: digitFlips(6, 8), write: func(s sample) string { return s.signed() + "\r\n" }},
	{shape: "pattern", pattern: true, motion: true, figures: 7, padded: true, passes: digitFlips(6, 20),
		opt: ShapeOptions{Pattern: `W: (?P<sign>[-+]) *(?P<value>[0-9]+\.?[0-9]*) (?P<unit>[a-z]+) (?:(?P<stable>=)|(?P<moving>~));`},
		write: func(s sample) string {
			return fmt.Sprintf("W: %s%8s %s %s;\r\n", s.pick(s.digits < 0, "-", "+"), s.number(), s.unit, s.pick(s.moving, "~", "="))
		}},
}

func writeWord(s sample) string {
	b := 0x20
	for bit, set := range []bool{s.net, s.digits < 0, false, s.moving, s.unit == "kg"} {
		if set {
			b |= 1 << bit
		}
	}
	c := map[string]int{"g": 0x21, "t": 0x22, "oz": 0x23}[s.unit]
	return fmt.Sprintf("\x02%c%c%c%06d000000\r", 0x2a+s.decimals, b, max(c, 0x20), max(s.digits, -s.digits))
}

func writeReversed(s sample) string {
	text := []byte(s.pick(s.digits < 0, "-", "") + strings.Repeat("0", 7-len(s.signed())) + s.number())
	slices.Reverse(text)
	return "=" + string(text)
}

// warmUp is what a scale sends first: enough that the guard knows its layouts and the shape its settings.
func (v variant) warmUp(s sample) string {
	s.digits = 1
	s.net = true // with a kind in every line
	out := "\r\n"
	for i := range 12 {
		s.moving = 4 <= i && i < 8
		out += v.write(s)
	}
	return out
}

func TestEmittedValuesComeBackExactly(t *testing.T) {
	for _, v := range variants {
		t.Run(v.String(), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				most := int64(1)
				for range v.figures {
					most *= 10
				}
				first := sample{decimals: rapid.IntRange(0, 3).Draw(t, "decimals"), unit: "g"}
				if v.opt.Unit == reading.UnitNone {
					first.unit = rapid.SampledFrom([]string{"g", "kg", "oz", "lb"}).Draw(t, "unit")
				}
				in := newIntake(v.made(), nil)
				drain(in, v.warmUp(first))
				var stream string
				var want []string
				for range rapid.IntRange(1, 20).Draw(t, "samples") {
					s := first
					s.digits = rapid.Int64Range(1-most, most-1).Draw(t, "digits")
					if !hasRoom(strconv.FormatInt(max(s.digits, -s.digits), 10), s.decimals, s.unit) {
						s.digits %= 1000
					}
					s.moving, s.net = rapid.Bool().Draw(t, "moving"), rapid.Bool().Draw(t, "net")
					stream += v.write(s)
					want = append(want, v.says(s))
				}
				var got []string
				for chunk := range slices.Chunk([]byte(stream), rapid.IntRange(1, 100).Draw(t, "chunk")) {
					got = append(got, drain(in, string(chunk))...)
				}
				require.Equal(t, want, got)
				require.Zero(t, in.rejected)
			})
		})
	}
}
