package scaledrv

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The lines are common practice, no source.
func TestStatusComma(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"net grams, stable", "ST,NT,+00123.45  g", "123.45 g net stable"},
		{"gross kilograms, moving", "US,GS,-00000.10 kg", "-0.10 kg gross moving"},
		{"minus zero stays zero with the scale's digits", "US,GS,-00000.00 kg", "0.00 kg gross moving"},
		{"the second field may be missing", "ST,+00123.45  g", "123.45 g stable"},
		{"the digits may be padded with spaces", "ST,GS,+   23.45  g", "23.45 g gross stable"},
		{"the sign may stand apart", "ST,GS,-   23.45  g", "-23.45 g gross stable"},
		{"the sign may stand behind its padding", "ST,GS,   -23.45  g", "-23.45 g gross stable"},
		{"the sign may be missing", "ST,GS,00023.45  g", "23.45 g gross stable"},
		{"a decimal comma", "ST,NT,+00123,45  g", "123.45 g net stable"},
		{"a decimal comma without the second field", "ST,12,5 g", "12.5 g stable"},
		{"no mark", "ST,NT,+00000123  g", "123 g net stable"},
		{"the unit in capitals, with padding behind", "ST,NT,+00123.45 KG ", "123.45 kg net stable"},
		{"the unit close to the digits", "ST,NT,+00123.45oz", "123.45 oz net stable"},
		{"pounds", "US,NT,+00001.234 lb", "1.234 lb net moving"},
		{"nine digits after the mark", "ST,+0.123456789 kg", "0.123456789 kg stable"},

		{"over has no weight", "OL,GS,+99999.99  g", "over gross"},
		{"under has no weight", "UL,GS,-99999.99  g", "under gross"},
		{"over with dashes", "OL,NT,--------  g", "over net"},
		{"over with blanks and no unit", "OL,         ", "over"},
		{"the tare is well-formed but no weight", "ST,TR,+00012.30  g", "no reading"},
		{"so is the preset tare", "ST,PT,+00012.30  g", "no reading"},
		{"a count of pieces is no weight", "QT,GS,+00000012 PC", "no reading"},

		{"a line cut by a reconnect is no reading", "T,NT,+00123.45  g", `rejected: status "T" is none of ST, US, OL, UL, QT`},
		{"a line cut at its end", "ST,NT,+0012", `rejected: weight "+0012": no unit (for a scale that sends none, state "unit" in its entry)`},
		{"a line cut at its mark", "ST,NT,+00123.", `rejected: weight "+00123.": no number with digits on each side of its mark`},
		{"a line cut before its digits", "ST,NT,", `rejected: weight "": no number with digits on each side of its mark`},
		{"two lines run together", "ST,NT,+00123.45  gST,NT,+00123.45  g", `rejected: weight "+00123.45  gST,NT,+00123.45  g": "gST,NT,+00123.45  g" is no unit of mass`},
		{"a cut line and a whole one", "ST,NT,+001ST,NT,+00123.45  g", `rejected: weight "+001ST,NT,+00123.45  g": "ST,NT,+00123.45  g" is no unit of mass`},
		{"a NUL, as wrong parity leaves it", "ST,NT,+00\x0023.45  g", "rejected: byte 0x00 at 9 is no text"},
		{"bit 7 set, as 7 bits read as 8 leave it", "ST,NT,+001\xb23.45  g", "rejected: byte 0xb2 at 10 is no text"},
		{"a tab", "ST,NT,+00123.45\tg", "rejected: byte 0x09 at 15 is no text"},
		{"a damaged tare line is damage", "ST,TR,+000", `rejected: weight "+000": no unit (for a scale that sends none, state "unit" in its entry)`},
		{"two marks", "ST,NT,+001.23.45 g", `rejected: weight "+001.23.45 g": ".45 g" is no unit of mass`},
		{"two signs", "ST,NT,+-0123.45  g", `rejected: weight "+-0123.45  g": no number with digits on each side of its mark`},
		{"digits parted by a space", "ST,NT,+001 23.45 g", `rejected: weight "+001 23.45 g": "23.45 g" is no unit of mass`},
		{"an unknown second field", "ST,XX,+00123.45  g", `rejected: weight "XX,+00123.45  g": no number with digits on each side of its mark`},
		{"a status in lower case", "st,NT,+00123.45  g", `rejected: status "st" is none of ST, US, OL, UL, QT`},
		{"a status without anything", "ST", `rejected: weight "": no number with digits on each side of its mark`},
		{"a unit that is no mass", "ST,NT,+00123.45 mL", `rejected: weight "+00123.45 mL": "mL" is no unit of mass`},
		{"ten digits after the mark", "ST,+0.1234567890 g", `rejected: weight "+0.1234567890 g": more digits than a value holds`},
		{"more digits than an integer holds", "ST,9999999999999999999 g", `rejected: weight "9999999999999999999 g": more digits than a value holds`},
		{"more than a mass holds", "ST,+00009224 kg", `rejected: weight "+00009224 kg": beyond the 9223 kg that can be held`},
		{"over, run together with the next line", "OL,GS,+99999.99  gST,GS,+1.0 g", `rejected: weight out of range "+99999.99  gST,GS,+1.0 g": "gST,GS,+1.0" has no place there`},
		{"a damaged count", "QT,GS,+0000", "no reading"},
		{"a count with a tail", "QT,GS,+0000 PC,1", `rejected: count "+0000 PC,1": " PC,1" follows the number`},
		{"a count without a number", "QT,GS,PC", `rejected: count "PC": no number with digits on each side of its mark`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, describe(statusComma(reading.UnitNone)([]byte(tt.line))))
		})
	}
}

func TestStatusCommaGivesTheExactMass(t *testing.T) {
	r, err := statusComma(reading.UnitNone)([]byte("ST,NT,+00123.45  g"))
	require.NoError(t, err)
	require.Equal(t, 12345*reading.Gram/100, r.Mass)
	// 1 lb = 0.45359237 kg: NIST SP 811 (2008) appendix B.
	r, err = statusComma(reading.UnitNone)([]byte("ST,NT,+00001.00 lb"))
	require.NoError(t, err)
	require.Equal(t, 45359237*(reading.Gram/100_000), r.Mass)
}

func TestStatusCommaAllocatesNothingOnTheGoodPath(t *testing.T) {
	for _, line := range []string{"ST,NT,+00123.45  g", "US,GS,-0000.1234 oz", "OL,GS,+99999.99  g", "ST,TR,+00012.30  g"} {
		b, read := []byte(line), statusComma(reading.UnitNone)
		require.Zero(t, testing.AllocsPerRun(100, func() { _, _ = read(b) }), line)
	}
}

// weightLine is the shape's description once more, as a pattern: the check of the parser.
var weightLine = regexp.MustCompile(`^(?:ST|US),(?:(?:GS|NT|TR|PT),)? *([-+]?) *(\d+(?:[.,]\d{1,9})?) *(?i:(mg|g|kg|oz|lb)) *$`)

// checkLine holds the shape against the pattern: it accepts what matches, as far as a Value can hold it, and the value
// it gives is the text of the line.
func checkLine(t *testing.T, line []byte) {
	r, err := statusComma(reading.UnitNone)(line)
	parts := weightLine.FindSubmatch(line)
	switch {
	case err != nil && parts != nil:
		require.Regexp(t, "more digits|beyond|carries no weight", err.Error())
	case err == nil && r.State == reading.Normal:
		require.NotNil(t, parts, "%q", line)
		number := strings.Replace(string(parts[2]), ",", ".", 1)
		whole, fraction, marked := strings.Cut(number, ".")
		want := strings.TrimLeft(whole, "0")
		if want == "" {
			want = "0"
		}
		if marked {
			want += "." + fraction
		}
		if string(parts[1]) == "-" && strings.Trim(number, "0.") != "" {
			want = "-" + want
		}
		require.Equal(t, want+" "+strings.ToLower(string(parts[3])), r.Value.String(), "%q", line)
		mass, ok := r.Value.Mass()
		require.True(t, ok)
		require.Equal(t, mass, r.Mass)
	case err == nil:
		require.Regexp(t, "^(OL|UL)", string(line))
		require.Zero(t, r.Mass)
		require.Zero(t, r.Value)
	}
}

func BenchmarkStatusComma(b *testing.B) {
	line, read := []byte("US,NT,+00123.45  g"), statusComma(reading.UnitNone)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := read(line); err != nil {
			b.Fatal(err)
		}
	}
}
