package scaledrv

import (
	"math/big"
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
			require.Equal(t, tt.want, describe(answer(text(statusComma(reading.UnitNone)), tt.line)))
		})
	}
}

func TestStatusCommaGivesTheExactMass(t *testing.T) {
	r, err := answer(statusComma(reading.UnitNone), "ST,NT,+00123.45  g")
	require.NoError(t, err)
	require.Equal(t, 12345*reading.Gram/100, r.Mass)
	// 1 lb = 0.45359237 kg: NIST SP 811 (2008) appendix B.
	r, err = answer(statusComma(reading.UnitNone), "ST,NT,+00001.00 lb")
	require.NoError(t, err)
	require.Equal(t, 45359237*(reading.Gram/100_000), r.Mass)
}

func TestStatusCommaAllocatesNothingOnTheGoodPath(t *testing.T) {
	for _, line := range []string{"ST,NT,+00123.45  g", "US,GS,-0000.1234 oz", "OL,GS,+99999.99  g", "ST,TR,+00012.30  g"} {
		b, read := []byte(line), statusComma(reading.UnitNone)
		require.Zero(t, testing.AllocsPerRun(100, func() { _ = read(b, new(parsed)) }), line)
	}
}

func FuzzStatusComma(f *testing.F) {
	f.Add([]byte("half\r\nST,NT,+00123.45  g\r\nUS,GS,-00000.10 KG\r\n"), uint8(3))
	f.Add([]byte("\n\x02ST,+   1,5 oz\x03\rOL,GS,+99999.99  g\nQT,+12 PC\nST,TR,1 g\nUL,-2:03 lb:oz\n"), uint8(1))
	fuzzShape(f, statusCommaShape, func() func(string) string { return statusCommaInWords })
}

var (
	statusCommaLine  = regexp.MustCompile(`^(ST|US|OL|UL|QT)(?:,(GS|NT|TR|PT)(?:,(.*)))?$|^(ST|US|OL|UL|QT)(?:,(.*))?$`)
	statusCommaOut   = regexp.MustCompile(`^[-+0-9.,: ]*[A-Za-z :]*$`)
	statusCommaCount = regexp.MustCompile(`^ *[-+]? *(?:[0-9]+(?:[.,][0-9]{1,9})?|[0-9]+:0*(?:1[0-5]|[0-9])(?:[.,][0-9]{1,9})?)[A-Za-z ]*$`)
)

// statusCommaInWords is the slow and plain reading of a line.
func statusCommaInWords(line string) string {
	m := statusCommaLine.FindStringSubmatch(line)
	if m == nil || !printable(line) {
		return rejected
	}
	status, kind, body := m[1]+m[4], m[2], m[3]+m[5]
	says := map[string]string{"GS": " gross", "NT": " net"}[kind]
	switch {
	case (status == "OL" || status == "UL") && statusCommaOut.MatchString(body):
		return map[string]string{"OL": "over", "UL": "under"}[status] + says
	case status == "QT" && statusCommaCount.MatchString(body) && countHasRoom(body):
		return "no reading"
	case status != "ST" && status != "US" || weighed(body, "") == "":
		return rejected
	case kind == "TR" || kind == "PT":
		return "no reading"
	}
	return weighed(body, "") + says + map[string]string{"ST": " stable", "US": " moving"}[status]
}

// countHasRoom says whether the digits of a count, or the ounces of one that a colon parts, have room in 64 bits.
func countHasRoom(body string) bool {
	number := strings.NewReplacer(",", "", ".", "").Replace(strings.TrimRight(strings.Trim(body, " +-"), letters+" "))
	whole, ounces, split := strings.Cut(number, ":")
	n, _ := new(big.Int).SetString(whole, 10)
	if split {
		_, fraction, _ := strings.Cut(strings.ReplaceAll(body, ",", "."), ".")
		ten := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(countDigits([]byte(fraction)))), nil)
		oz, _ := new(big.Int).SetString(ounces, 10)
		return n.IsInt64() && n.Mul(n, big.NewInt(16)).Mul(n, ten).Add(n, oz).IsInt64()
	}
	return n.Cmp(big.NewInt(9223372036854775799)) <= 0
}
