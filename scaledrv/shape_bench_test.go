package scaledrv

import (
	"math"
	"math/bits"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// benched is a frame of the shape that a benchmark reads, and what it says.
var benched = sample{digits: 12345, decimals: 2, unit: "g", net: true}

// opened is a format that has read what a scale sends first, and a frame for it.
func opened(v variant) (read func([]byte, *parsed) error, frame []byte) {
	open := v.made().open()
	for rest := []byte(v.warmUp(benched) + v.write(benched)); len(rest) > 0; {
		var f []byte
		if f, rest, _ = open.next(rest); f != nil {
			_ = open.read(f, new(parsed))
			frame = append(frame[:0], f...)
		}
	}
	return open.read, frame
}

func TestHandWrittenShapesAllocateNothing(t *testing.T) {
	for _, v := range variants {
		read, frame := opened(v)
		require.Equal(t, v.says(benched), describe(answer(read, string(frame))))
		if v.pattern {
			continue // the regular expression makes a list of its groups
		}
		var p parsed
		require.Zero(t, testing.AllocsPerRun(100, func() { p = parsed{}; _ = read(frame, &p) }), v.String())

		in, stream := newIntake(v.made(), nil), []byte(v.warmUp(benched)+v.write(benched))
		require.Zero(t, testing.AllocsPerRun(100, func() {
			for rest := stream; len(rest) > 0; {
				_, rest, _ = in.next(rest, time.Time{})
			}
		}), "from the bytes to the reading: %v", v)
	}
}

func BenchmarkShapes(b *testing.B) {
	for _, v := range variants {
		b.Run(v.String(), func(b *testing.B) {
			read, frame := opened(v)
			var p parsed
			b.ReportAllocs()
			for b.Loop() {
				p = parsed{}
				if err := read(frame, &p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkFloor is what the shapes are measured against: a bare parse of the same frame into the same reading. That of text
// is one loop over the line, which is not told columns, as the shapes are not.
func BenchmarkFloor(b *testing.B) {
	for _, v := range variants {
		b.Run(v.String(), func(b *testing.B) {
			_, frame := opened(v)
			floor := floorText
			switch v.shape {
			case "stx-words":
				floor = floorWords
			case "reversed":
				floor = floorReversed
			}
			var p parsed
			require.True(b, floor(frame, &p))
			require.EqualValues(b, 12345, p.Value.Digits)
			require.Equal(b, 12345*reading.Gram/100, p.Mass)
			b.ReportAllocs()
			for b.Loop() {
				p = parsed{}
				if !floor(frame, &p) {
					b.Fatal("not read")
				}
			}
		})
	}
}

// floorText reads a line with letters for motion and kind before or behind a number and its unit.
func floorText(line []byte, p *parsed) bool {
	var digits int64
	var decimals uint8
	negative, marked := false, false
	unit := reading.UnitNone
	for i, c := range line {
		switch {
		case c-'0' <= 9:
			if digits > math.MaxInt64/10-1 {
				return false
			}
			digits = 10*digits + int64(c-'0')
			if marked {
				decimals++
			}
			p.width = i + 1
		case c == ' ' || c == '+' || c == ',' || c == ':' || c == ';' || c == 'k' || c == 'E':
		case c == '.':
			marked = true
		case c == '-':
			negative = true
		case c == 'g':
			unit = reading.UnitG
			if line[i-1] == 'k' {
				unit = reading.UnitKG
			}
		case c == 'D' || c == 'U' || c == '?' || c == '~':
			p.Motion = reading.Moving
		case c == 'S' || c == 'T' || c == '=':
			p.Motion = reading.Stable
		case c == 'N':
			p.Kind = reading.Net
		case c == 'G':
			p.Kind = reading.Gross
		case c != 'W':
			return false
		}
	}
	if unit == reading.UnitNone { // of the entry
		unit = reading.UnitG
	}
	return floorWeight(p, digits, decimals, negative, unit)
}

func floorWords(frame []byte, p *parsed) bool {
	var digits int64
	for _, c := range frame[4:10] {
		if c < '0' || c > '9' {
			return false
		}
		digits = 10*digits + int64(c-'0')
	}
	for _, c := range frame[10:16] {
		if c < '0' || c > '9' {
			return false
		}
	}
	p.Motion = reading.Stable
	if frame[2]&8 != 0 {
		p.Motion = reading.Moving
	}
	return floorWeight(p, digits, frame[1]&7-2, frame[2]&2 != 0, reading.UnitG)
}

func floorReversed(frame []byte, p *parsed) bool {
	var digits int64
	var decimals uint8
	for i := 7; i > 0; i-- {
		switch c := frame[i]; {
		case '0' <= c && c <= '9':
			digits = 10*digits + int64(c-'0')
		case c == '.':
			decimals = uint8(i - 1)
		default:
			return false
		}
	}
	return floorWeight(p, digits, decimals, frame[7] == '-', reading.UnitG)
}

var (
	floorTens  = [...]uint64{1, 10, 100, 1000, 10000}
	floorUnits = [...]uint64{reading.UnitG: 1e12, reading.UnitKG: 1e15}
)

// floorWeight fills in value and mass.
func floorWeight(p *parsed, digits int64, decimals uint8, negative bool, unit reading.Unit) bool {
	ten := floorTens[decimals]
	hi, lo := bits.Mul64(uint64(digits), floorUnits[unit])
	if hi >= ten {
		return false
	}
	mass, _ := bits.Div64(hi, lo, ten)
	p.Mass, p.Value = reading.Mass(mass), reading.Value{Digits: digits, Decimals: decimals, Unit: unit}
	if negative {
		p.Mass, p.Value.Digits = -p.Mass, -digits
	}
	return true
}
