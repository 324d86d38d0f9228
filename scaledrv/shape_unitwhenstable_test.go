package scaledrv

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// after gives what a shape says to a line that comes after others.
func after(shape Shape, line string, before ...string) string {
	open := shape.open()
	for _, b := range before {
		_, _ = answer(open.read, b)
	}
	return describe(answer(open.read, line))
}

// The lines are common practice, no source.
func TestUnitWhenStable(t *testing.T) {
	const stable, moving = "N     +   123.45 g  ", "N     +   123.46    "
	long := "rejected: 19 characters, not 14 or, with a head, 20"
	for _, tt := range []struct {
		name   string
		before []string
		line   string
		want   string
	}{
		{"net and stable", nil, stable, "123.45 g net stable"},
		{"gross", nil, "G     -   123.45 g  ", "-123.45 g gross stable"},
		{"a blank head", nil, "      +   123.45 g  ", "123.45 g stable"},
		{"the head Stat", nil, "Stat  +   123.45 g  ", "123.45 g stable"},
		{"without a head", nil, "+   123.45 kg ", "123.45 kg stable"},
		{"a decimal comma", nil, "+   123,45 g  ", "123.45 g stable"},
		{"a decimal in the last column", nil, "+    123.4 ozt", "123.4 ozt stable"},
		{"the tare is no weight", nil, "T     +   123.45 g  ", "no reading"},

		{"moving: the unit that two stable lines stated holds", []string{stable, stable}, moving, "123.46 g net moving"},
		{"one stable line does not do", []string{stable}, moving, "no reading"},
		{"before any unit there is no reading", nil, moving, "no reading"},
		{"a display may blank its last digit", []string{stable, stable}, "      +   123.4     ", "123.4 g moving"},
		{"over and under in between change nothing", []string{stable, stable, "        High        ", "        Low         "}, moving, "123.46 g net moving"},
		{"a unit changed in motion shows by its mark: no reading", []string{stable, stable}, "N     +   12.345    ", "no reading"},
		{"and from then on, wherever the mark stands", []string{stable, stable, "N     +   12.345    "}, moving, "no reading"},
		{"until two stable lines state it again", []string{stable, stable, "N     +   12.345    ", stable, stable}, moving, "123.46 g net moving"},
		{"which may be another", []string{stable, stable, "N     +    4.353 oz ", "N     +    4.353 oz "}, "N     +    4.354    ", "4.354 oz net moving"},
		{"a whole number without its last digit is another number", []string{"+      123 g  ", "+      123 g  "}, "+      12     ", "no reading"},

		{"over", nil, "        High        ", "over"},
		{"over without a head", nil, "  High        ", "over"},
		{"under", nil, "        Low         ", "under"},
		{"a fault of the scale's own", nil, "Stat    Err 54      ", "fault"},

		{"a digit lost", nil, "N     +   123.4 g  ", long},
		{"the end lost, as if it were moving", []string{stable, stable}, "N     +   123.45 g ", long},
		{"an unknown head", nil, "M     +   123.45 g  ", `rejected: head "M" is none of N, G, T, Stat`},
		{"an unknown unit", nil, "+   123.45 gg ", `rejected: weight "+   123.45 gg ": "gg" is no unit of mass`},
		{"no number", nil, "+          g  ", `rejected: weight "+          g  ": no number with digits on each side of its mark`},
		{"no number and no unit", nil, "              ", `rejected: weight "              ": no number with digits on each side of its mark`},
		{"an unknown word", nil, "  Hihg        ", `rejected: weight "  Hihg        ": no number with digits on each side of its mark`},
		{"an error without a number", nil, "  Err x4      ", `rejected: weight "  Err x4      ": no number with digits on each side of its mark`},
		{"a number too long for its columns", nil, "+00012345.678 ", `rejected: weight "+00012345.678 ": the number reaches into the columns of the unit`},
		{"a split display has no room", nil, "+2:03.5       ", `rejected: weight "+2:03.5       ": not whole pounds with less than 16 ounces`},
		{"bit 7 set", nil, "+   1\xb03.45 g  ", "rejected: byte 0xb0 at 5 is no text"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, after(shapeNamed("unit-when-stable", ShapeOptions{}), tt.line, tt.before...))
		})
	}
}

func TestUnitWhenStableBeforeAnyUnitTakesTheOneOfItsEntry(t *testing.T) {
	shape := shapeNamed("unit-when-stable", ShapeOptions{Unit: reading.UnitG})
	require.Equal(t, "123.45 g moving", after(shape, "+   123.45    "))
	require.Equal(t, "no reading", after(shape, "+   12.345    ", "+   123.45    "), "the mark is another")
	require.Equal(t, "no reading", after(shape, "+   12.345    ", "+   12.345 oz "), "one line states another unit")
	require.Equal(t, "no reading", after(shape, "+   12.345    ", "+   123.45    ", "+   12.345 oz "))
	require.Equal(t, "12.345 oz moving", after(shape, "+   12.345    ", "+   12.345 oz ", "+   12.345 oz "))
}

func FuzzUnitWhenStable(f *testing.F) {
	f.Add([]byte("\r\nN     +   123.45 g  \r\nN     +   123.45 g  \r\n      +   123.4     \r\nN     +   12.345    \r\n"), uint8(3))
	f.Add([]byte("\n        High        \n  Low         \nStat    Err 54      \nT     +   123.45 g  \n+      123 kg \n"), uint8(0))
	line := regexp.MustCompile(`^(N     |G     |T     |Stat  |      |)(.{14})$`)
	number := regexp.MustCompile(`^( *[-+]? *[0-9]+)([.,][0-9]+)?(    +)$`)
	stated := regexp.MustCompile(`^( *[-+]? *[0-9]+)([.,][0-9]+)? *([A-Za-z]+) *$`)
	fuzzShape(f, shapeNamed("unit-when-stable", ShapeOptions{Unit: reading.UnitG}), func() func(string) string {
		var history []string // "unit mark" of stable lines, " mark" of moving ones
		holds := func(mark string) bool {
			var unit []string // the statements behind, newest first, as far as the mark never left its place
			for i := len(history) - 1; i >= 0; i-- {
				u, m, _ := strings.Cut(history[i], " ")
				if m != mark {
					return false
				}
				if u != "" {
					if unit = append(unit, u); len(unit) == 2 {
						return unit[0] == unit[1]
					}
				}
			}
			return len(unit) == 0 || unit[0] == "g" && strings.HasPrefix(history[0], " ")
		}
		return func(frame string) string {
			m := line.FindStringSubmatch(frame)
			if m == nil || !printable(frame) {
				return rejected
			}
			kind := map[byte]string{'N': " net", 'G': " gross"}[(m[1] + " ")[0]]
			switch word := strings.Trim(m[2], " "); {
			case word == "High":
				return "over" + kind
			case word == "Low":
				return "under" + kind
			case regexp.MustCompile(`^Err +[0-9]+$`).MatchString(word):
				return "fault" + kind
			}
			if strings.ContainsAny(m[2][10:], "0123456789.,") {
				return rejected
			}
			says := " moving"
			w := number.FindStringSubmatch(m[2])
			if w == nil {
				if w, says = stated.FindStringSubmatch(m[2]), " stable"; w == nil {
					return rejected
				}
			}
			unit := ""
			if says == " stable" {
				unit = strings.ToLower(w[3])
			}
			mark := strings.Repeat("-", len(w[1]))
			sign, whole, fraction := strings.Trim(w[1], " 0123456789"), strings.Trim(w[1], " +-"), strings.TrimLeft(w[2], ".,")
			if unit != "" && !hasRoom(whole+fraction, len(fraction), unit) {
				return rejected
			}
			ok := unit != "" || holds(mark)
			if ok && unit == "" {
				unit = lastStated(history, "g")
			}
			if says == " stable" {
				history = append(history, unit+" "+mark)
			} else {
				history = append(history, " "+mark)
			}
			switch {
			case !ok:
				return "no reading"
			case !hasRoom(whole+fraction, len(fraction), unit):
				return rejected
			}
			if m[1] == "T     " {
				return "no reading"
			}
			return inWords(sign, whole, fraction, unit) + kind + says
		}
	})
}

// lastStated is the unit that was stated last.
func lastStated(history []string, unit string) string {
	for _, h := range history {
		if u, _, _ := strings.Cut(h, " "); u != "" {
			unit = u
		}
	}
	return unit
}
