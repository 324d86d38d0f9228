package scaledrv

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The lines are common practice, no source.
func TestLetterStatus(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"stable", "S S     100.00 g", "100.00 g stable"},
		{"moving", "S D      99.87 g", "99.87 g moving"},
		{"negative", "S S     -99.87 g", "-99.87 g stable"},
		{"the sign may stand apart", "S S  -   99.87 g", "-99.87 g stable"},
		{"minus zero stays zero with the scale's digits", "S D      -0.00 kg", "0.00 kg moving"},
		{"padded with zeros, a decimal comma", "S S 0000099,87 oz", "99.87 oz stable"},
		{"pounds and ounces", "S S    -2:03.5 lb:oz", "-2:03.5 lb:oz stable"},
		{"blanks behind", "S S     100.00 g  ", "100.00 g stable"},
		{"over", "S +", "over"},
		{"under", "S -", "under"},
		{"over with blanks behind", "S +  ", "over"},
		{"cannot answer now", "S I", "no reading"},

		{"no unit", "S S     100.00", `rejected: weight "     100.00": ` + errNoUnit.Error()},
		{"cut at its front", " S     100.00 g", "rejected: no S and a letter for the status at the beginning"},
		{"cut behind its status", "S S", `rejected: status 'S', followed by "", is none of S and D with a weight, +, -, I without`},
		{"nothing but the beginning", "S ", "rejected: no S and a letter for the status at the beginning"},
		{"nothing but blanks", "    ", "rejected: no S and a letter for the status at the beginning"},
		{"cut in its midst, as if it were over", "S +100.00 g", `rejected: status '+', followed by "100.00 g", is none of S and D with a weight, +, -, I without`},
		{"the status lost", "S     100.00 g", `rejected: status ' ', followed by "   100.00 g", is none of S and D with a weight, +, -, I without`},
		{"an unknown status", "S X     100.00 g", `rejected: status 'X', followed by "     100.00 g", is none of S and D with a weight, +, -, I without`},
		{"no blank behind the status", "S S100.00 g", `rejected: status 'S', followed by "100.00 g", is none of S and D with a weight, +, -, I without`},
		{"two lines run together", "S S     100.00 gS S     100.00 g", `rejected: weight "     100.00 gS S     100.00 g": "gS S     100.00 g" is no unit of mass`},
		{"bit 7 set", "S S     1\xb00.00 g", "rejected: byte 0xb0 at 9 is no text"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, describe(answer(text(letterStatus(reading.UnitNone)), tt.line)))
		})
	}
}

func FuzzLetterStatus(f *testing.F) {
	f.Add([]byte("\r\nS S     100.00 g\r\nS D      99.87 g\nS +\rS -\nS I\n"), uint8(3))
	f.Add([]byte("\nS S    -2:03.5 lb:oz\nS D 2 lb 3,5 oz\nS S 1\nS +1\n"), uint8(0))
	weight := regexp.MustCompile(`^S ([SD])( .*)$`)
	fuzzShape(f, shapeNamed("letter-status", ShapeOptions{Unit: reading.UnitG}), func() func(string) string {
		return func(frame string) string {
			if m := regexp.MustCompile(`^S ([-+I]) *$`).FindStringSubmatch(frame); m != nil {
				return map[string]string{"+": "over", "-": "under", "I": "no reading"}[m[1]]
			}
			m := weight.FindStringSubmatch(frame)
			if m == nil || !printable(frame) || weighed(m[2], "g") == "" {
				return rejected
			}
			return weighed(m[2], "g") + map[string]string{"S": " stable", "D": " moving"}[m[1]]
		}
	})
}
