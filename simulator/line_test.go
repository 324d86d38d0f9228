package simulator

import (
	"encoding/hex"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

func testFormat(t require.TestingT, opt ScaleOptions) *lineFormat {
	opt, err := opt.withDefaults()
	require.NoError(t, err)
	_, f, err := firstFace(opt)
	require.NoError(t, err)
	return f
}

func mass(t require.TestingT, text string) reading.Mass {
	v, err := reading.ParseValue(text)
	require.NoError(t, err)
	m, ok := v.Mass()
	require.True(t, ok)
	return m
}

// The lines are written here by hand from the descriptions of the shapes (common practice, no source).
func TestLinesHaveTheirExactText(t *testing.T) {
	d := func(n int64) display { return display{divisions: n} }
	rest := func(n int64) display { return display{divisions: n, stable: true} }
	net := func(n int64) display { return display{divisions: n, stable: true, net: true} }
	over, under, fault := display{divisions: 600100, over: true}, display{divisions: -9, under: true}, display{fault: true}
	fine := reading.Gram / 100
	for _, tt := range []struct {
		name  string
		scale ScaleOptions
		shown display
		line  string
	}{
		{"net and stable", ScaleOptions{Division: fine}, net(12345), "ST,NT,+00123.45  g\r\n"},
		{"gross and moving", ScaleOptions{}, d(1523), "US,GS,+000152.3  g\r\n"},
		{"zero has a plus", ScaleOptions{}, rest(0), "ST,GS,+000000.0  g\r\n"},
		{"negative", ScaleOptions{}, d(-1), "US,GS,-000000.1  g\r\n"},
		{"grams without decimals", ScaleOptions{Division: reading.Gram}, d(152), "US,GS,+00000152  g\r\n"},
		{"a division of five", ScaleOptions{Division: reading.Gram / 20}, d(3), "US,GS,+00000.15  g\r\n"},
		{"a division of 20 g", ScaleOptions{Division: 20 * reading.Gram, Capacity: 60 * reading.Kilogram}, d(-2), "US,GS,-00000040  g\r\n"},
		{"kilograms", ScaleOptions{Unit: "kg", Division: 10 * reading.Gram, Capacity: 60 * reading.Kilogram}, d(-10), "US,GS,-00000.10 kg\r\n"},
		{"kilograms by 0.1 g", ScaleOptions{Unit: "kg"}, rest(60001), "ST,GS,+006.0001 kg\r\n"},
		{"kilograms by one", ScaleOptions{Unit: "kg", Division: reading.Kilogram, Capacity: 60 * reading.Kilogram}, d(7), "US,GS,+00000007 kg\r\n"},
		{"six decimals", ScaleOptions{Division: reading.Gram / 1_000_000, Capacity: 5 * reading.Gram}, d(1), "US,GS,+0.000001  g\r\n"},
		{"milligrams", ScaleOptions{Unit: "mg", Division: reading.Gram / 1000, Capacity: 200 * reading.Gram}, d(12345), "US,GS,+00012345 mg\r\n"},
		{"ounces, by 0.005 oz where grams go by 0.1", ScaleOptions{Unit: "oz"}, d(3), "US,GS,+0000.015 oz\r\n"},
		{"pounds and ounces", ScaleOptions{Unit: "lb:oz", Division: mass(t, "0.1 oz")}, rest(355), "ST,GS,+002:03.5lb:oz\r\n"},
		{"pounds and ounces below zero", ScaleOptions{Unit: "lb:oz", Division: mass(t, "0.1 oz")}, d(-99), "US,GS,-000:09.9lb:oz\r\n"},
		{"over", ScaleOptions{Division: fine}, display{divisions: 600100, over: true, stable: true}, "OL,GS,+99999.99  g\r\n"},
		{"over with a tare", ScaleOptions{}, display{divisions: -3, over: true, net: true}, "OL,NT,+999999.9  g\r\n"},
		{"under", ScaleOptions{}, under, "UL,GS,-999999.9  g\r\n"},
		{"without gross and net", ScaleOptions{Division: fine, Line: LineOptions{NoKind: true}}, net(12345), "ST,+00123.45  g\r\n"},
		{"padded with spaces, decimal comma, framed, LF", ScaleOptions{Division: fine, Line: LineOptions{Pad: ' ', Comma: true, Framed: true, End: "\n"}},
			d(-12345), "\x02US,GS,-  123,45  g\x03\n"},
		{"over, padded with spaces", ScaleOptions{Line: LineOptions{Pad: ' ', End: "\r"}}, over, "OL,GS,+  9999.9  g\r"},
		{"a fault has no word", ScaleOptions{}, fault, ""},

		{"stable", ScaleOptions{Shape: "letter-status", Division: fine}, rest(10000), "S S     100.00 g\r\n"},
		{"moving", ScaleOptions{Shape: "letter-status", Division: fine}, d(9987), "S D      99.87 g\r\n"},
		{"negative", ScaleOptions{Shape: "letter-status", Division: fine}, rest(-9987), "S S     -99.87 g\r\n"},
		{"kilograms", ScaleOptions{Shape: "letter-status", Unit: "kg", Division: reading.Gram}, rest(-1500), "S S     -1.500 kg\r\n"},
		{"pounds and ounces", ScaleOptions{Shape: "letter-status", Unit: "lb:oz", Division: mass(t, "0.1 oz")}, rest(-355), "S S    -2:03.5 lb:oz\r\n"},
		{"over", ScaleOptions{Shape: "letter-status"}, over, "S +\r\n"},
		{"under", ScaleOptions{Shape: "letter-status"}, under, "S -\r\n"},
		{"fault", ScaleOptions{Shape: "letter-status"}, fault, "S I\r\n"},
		{"fault, framed", ScaleOptions{Shape: "letter-status", Line: LineOptions{Framed: true}}, fault, "\x02S I\x03\r\n"},

		{"net and stable", ScaleOptions{Shape: "unit-when-stable", Division: fine}, net(12345), "N     +   123.45 g  \r\n"},
		{"gross and moving", ScaleOptions{Shape: "unit-when-stable", Division: fine}, d(-12345), "G     -   123.45    \r\n"},
		{"moving, last digit blank", ScaleOptions{Shape: "unit-when-stable", Division: fine, Line: LineOptions{BlankLast: true}}, d(12345), "G     +   123.4     \r\n"},
		{"stable, last digit shown", ScaleOptions{Shape: "unit-when-stable", Division: fine, Line: LineOptions{BlankLast: true}}, rest(12345), "G     +   123.45 g  \r\n"},
		{"an only decimal is never blank", ScaleOptions{Shape: "unit-when-stable", Line: LineOptions{BlankLast: true}}, d(1234), "G     +    123.4    \r\n"},
		{"without a head", ScaleOptions{Shape: "unit-when-stable", Division: fine, Line: LineOptions{NoKind: true}}, net(12345), "+   123.45 g  \r\n"},
		{"kilograms", ScaleOptions{Shape: "unit-when-stable", Unit: "kg", Division: reading.Gram}, rest(1500), "G     +    1.500 kg \r\n"},
		{"over", ScaleOptions{Shape: "unit-when-stable"}, over, "        High        \r\n"},
		{"under", ScaleOptions{Shape: "unit-when-stable"}, under, "        Low         \r\n"},
		{"fault", ScaleOptions{Shape: "unit-when-stable"}, fault, "        Err 05      \r\n"},
		{"over without a head", ScaleOptions{Shape: "unit-when-stable", Line: LineOptions{NoKind: true}}, over, "  High        \r\n"},

		{"gross and stable", ScaleOptions{Shape: "trailing-flag", Division: fine}, rest(12345), "   123.45 g\r\n"},
		{"gross and moving", ScaleOptions{Shape: "trailing-flag", Division: fine}, d(12345), "   123.45 g ?\r\n"},
		{"net and stable", ScaleOptions{Shape: "trailing-flag", Division: fine}, net(12345), "   123.45 g NET\r\n"},
		{"net and moving", ScaleOptions{Shape: "trailing-flag", Division: fine}, display{divisions: -12345, net: true}, "  -123.45 g NET ?\r\n"},
		{"stable is marked", ScaleOptions{Shape: "trailing-flag", Division: fine, Line: LineOptions{MarkStable: true}}, rest(12345), "   123.45 g *\r\n"},
		{"and motion is not", ScaleOptions{Shape: "trailing-flag", Division: fine, Line: LineOptions{MarkStable: true}}, d(12345), "   123.45 g\r\n"},
		{"letters, net", ScaleOptions{Shape: "trailing-flag", Division: fine, Line: LineOptions{Letters: true}}, net(12345), "  123.45   g  N\r\n"},
		{"letters, gross and moving", ScaleOptions{Shape: "trailing-flag", Unit: "kg", Division: reading.Gram, Line: LineOptions{Letters: true}}, d(-1500), "  -1.500  kg  G ?\r\n"},
		{"zeros", ScaleOptions{Shape: "trailing-flag", Division: fine, Line: LineOptions{Pad: '0'}}, rest(-12345), "-00123.45 g\r\n"},
		{"zeros, not negative", ScaleOptions{Shape: "trailing-flag", Division: fine, Line: LineOptions{Pad: '0'}}, rest(12345), " 00123.45 g\r\n"},
		{"over has no word", ScaleOptions{Shape: "trailing-flag", Line: LineOptions{Framed: true}}, over, ""},

		// A: bit 5, step, point. B: bit 5, metric 0x10, moving 8, range 4, minus 2, net 1. C: bit 5, unit.
		{"grams by 0.1, moving", ScaleOptions{Shape: "stx-words"}, d(1523), "\x02\x2b\x38\x21001523000000\r"},
		{"net, negative, stable", ScaleOptions{Shape: "stx-words"}, display{divisions: -170, tare: 200, net: true, stable: true}, "\x02\x2b\x33\x21000170000200\r"},
		{"kilograms by 0.005", ScaleOptions{Shape: "stx-words", Unit: "kg", Division: 5 * reading.Gram}, rest(30), "\x02\x3d\x30\x20000150000000\r"},
		{"pounds by 0.02", ScaleOptions{Shape: "stx-words", Unit: "lb", Division: mass(t, "0.02 lb")}, rest(5), "\x02\x34\x20\x20000010000000\r"},
		{"ounces by 0.1", ScaleOptions{Shape: "stx-words", Unit: "oz", Division: mass(t, "0.1 oz")}, rest(17), "\x02\x2b\x20\x23000017000000\r"},
		{"tonnes by 0.001", ScaleOptions{Shape: "stx-words", Unit: "t", Division: reading.Kilogram, Capacity: 1000 * reading.Kilogram}, rest(17), "\x02\x2d\x30\x22000017000000\r"},
		{"grams by 20: tens, by two", ScaleOptions{Shape: "stx-words", Division: 20 * reading.Gram}, rest(7), "\x02\x31\x30\x21000014000000\r"},
		{"over", ScaleOptions{Shape: "stx-words"}, over, "\x02\x2b\x3c\x21999999000000\r"},
		{"under", ScaleOptions{Shape: "stx-words"}, under, "\x02\x2b\x3e\x21999999000000\r"},
		{"a fault has no word", ScaleOptions{Shape: "stx-words", Line: LineOptions{Checksum: true}}, fault, ""},
		// 2+2b+38+21 = 86; 1+5+2+3 and twelve times 30 = 24b; 86+24b+d = 2de, of seven bits 5e; 80-5e = 22.
		{"with a checksum", ScaleOptions{Shape: "stx-words", Line: LineOptions{Checksum: true}}, d(1523), "\x02\x2b\x38\x21001523000000\r\x22"},

		{"least significant first", ScaleOptions{Shape: "reversed", Division: fine, Capacity: reading.Kilogram / 2}, rest(12345), "=54.3210\r\n"},
		{"a minus is the last", ScaleOptions{Shape: "reversed", Division: fine, Capacity: reading.Kilogram / 2}, d(-12345), "=54.321-\r\n"},
		{"without a decimal", ScaleOptions{Shape: "reversed", Division: reading.Gram}, d(-120), "=021000-\r\n"},
		{"over has no word", ScaleOptions{Shape: "reversed"}, over, ""},

		{"as long as its digits", ScaleOptions{Shape: "bare", Division: fine}, rest(12345), "123.45\r\n"},
		{"negative", ScaleOptions{Shape: "bare", Division: fine}, d(-5), "-0.05\r\n"},
		{"decimal comma", ScaleOptions{Shape: "bare", Division: fine, Line: LineOptions{Comma: true, End: "\r"}}, rest(12345), "123,45\r"},
		{"sign and unit", ScaleOptions{Shape: "bare", Division: fine, Line: LineOptions{Sign: true, Unit: true}}, rest(12345), "+  123.45 g\r\n"},
		{"sign and zeros", ScaleOptions{Shape: "bare", Division: fine, Line: LineOptions{Sign: true, Pad: '0'}}, d(-12345), "-00123.45\r\n"},
		{"pounds and ounces", ScaleOptions{Shape: "bare", Unit: "lb:oz", Division: mass(t, "0.1 oz"), Line: LineOptions{Unit: true}}, rest(355), "2:03.5 lb:oz\r\n"},
		{"over has no word", ScaleOptions{Shape: "bare"}, over, ""},
	} {
		t.Run(tt.scale.Shape+" "+tt.name, func(t *testing.T) {
			require.Equal(t, tt.line, string(testFormat(t, tt.scale).append(nil, tt.shown)))
		})
	}
}

func TestALineThatAShapeCannotHaveIsRefusedWithItsSetting(t *testing.T) {
	for _, tt := range []struct {
		name, says string
		scale      ScaleOptions
	}{
		{"unknown shape", `line shape "smoke": unknown (known: bare, hid, letter-status, reversed, status-comma, stx-words, trailing-flag, unit-when-stable)`, ScaleOptions{Shape: "smoke"}},
		{"a checksum where there is none", `"bare": has no setting Checksum`, ScaleOptions{Shape: "bare", Line: LineOptions{Checksum: true}}},
		{"a comma where the point is not sent", `"stx-words": has no setting Comma`, ScaleOptions{Shape: "stx-words", Line: LineOptions{Comma: true}}},
		{"line end", `line end "\n\r"`, ScaleOptions{Line: LineOptions{End: "\n\r"}}},
		{"padding", "padding 'x'", ScaleOptions{Line: LineOptions{Pad: 'x'}}},
		{"padding of what is as long as its digits", "bare is padded with Sign only", ScaleOptions{Shape: "bare", Line: LineOptions{Pad: ' '}}},
		{"unit without a word", "no word for this unit", ScaleOptions{Shape: "stx-words", Unit: "lb:oz"}},
		{"step without a word", "steps of 1, 2 or 5", ScaleOptions{Shape: "stx-words", Division: 3 * reading.Gram}},
		{"too fine for its point", "to thousandths", ScaleOptions{Shape: "stx-words", Unit: "kg"}},
		{"too many digits", "6 places", ScaleOptions{Shape: "stx-words", Capacity: 200 * reading.Kilogram}},
		{"too many digits of another shape", "6 places", ScaleOptions{Shape: "reversed", Division: reading.Gram / 100}},
		{"a report of another layout", `layout "sideways" of a report: unknown`, ScaleOptions{Shape: "hid", Line: LineOptions{Report: "sideways"}}},
		{"a unit that a report does not have", "no code for this unit", ScaleOptions{Shape: "hid", Unit: "lb:oz"}},
		{"more than a report holds", "at most 65535 units of the last digit", ScaleOptions{Shape: "hid", Division: reading.Gram / 100}},
		{"a division that is none in the unit", "no decimal of 6 places in oz", ScaleOptions{Unit: "oz", Division: reading.Gram / 10}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := New(Options{Scale: tt.scale})
			require.ErrorContains(t, err, tt.says)
		})
	}
}

// The 7-bit sum of a frame with its checksum is zero; of the line alone it is what the checksum makes up for.
func TestTheSumOfAFrameIsZero(t *testing.T) {
	f := testFormat(t, ScaleOptions{Shape: "stx-words", Line: LineOptions{Checksum: true}})
	rapid.Check(t, func(t *rapid.T) {
		sum := 0
		line := f.append(nil, display{divisions: rapid.Int64Range(-60000, 60000).Draw(t, "divisions"), net: rapid.Bool().Draw(t, "net")})
		for _, c := range line {
			sum += int(c)
		}
		require.Zero(t, sum%128)
		require.Less(t, line[len(line)-1], byte(128))
	})
}

var (
	digitsPattern = regexp.MustCompile(`\d[\d:.]*`)
	splitPattern  = regexp.MustCompile(`^(\d+):(\d\d(?:\.\d+)?)$`)
)

// valueIn reads a line's number by this test's own means: as a rational number, with the sign of a minus anywhere.
func valueIn(t require.TestingT, shape, line string) *big.Rat {
	minus := strings.Contains(line, "-")
	var v *big.Rat
	ok := true
	switch number := digitsPattern.FindString(line); {
	case shape == "stx-words":
		v, ok = new(big.Rat).SetString(line[4:10])
		for range line[1] & 7 {
			v.Quo(v, big.NewRat(10, 1))
		}
		v.Mul(v, big.NewRat(100, 1)) // 2 counts ones
		minus = line[2]&2 != 0
	case shape == "hid": // id, status, unit, exponent, two bytes of weight, without a sign: below zero is a status
		b, err := hex.DecodeString(strings.ReplaceAll(strings.TrimSpace(line), " ", ""))
		require.NoError(t, err)
		v = big.NewRat(int64(b[4])+256*int64(b[5]), 1)
		for range -int8(b[3]) {
			v.Quo(v, big.NewRat(10, 1))
		}
		minus = b[1] == 5
	case shape == "reversed":
		number := []byte(line[1:8])
		slices.Reverse(number)
		v, ok = new(big.Rat).SetString(strings.TrimPrefix(string(number), "-"))
	case splitPattern.MatchString(number):
		parts := splitPattern.FindStringSubmatch(number)
		v, ok = new(big.Rat).SetString(parts[2])
		pounds, _ := new(big.Rat).SetString(parts[1])
		v.Add(v, pounds.Mul(pounds, big.NewRat(16, 1)))
	default:
		v, ok = new(big.Rat).SetString(number)
	}
	require.True(t, ok, "%q", line)
	if minus {
		v.Neg(v)
	}
	return v
}

func TestTheValueSentIsTheDisplays(t *testing.T) {
	for _, shape := range Shapes() {
		t.Run(shape, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				steps := map[string]*big.Rat{"g 0.1": big.NewRat(1, 10), "g 2": big.NewRat(2, 1), "kg 0.005": big.NewRat(5, 1000), "oz 0.05": big.NewRat(5, 100), "lb:oz 0.5": big.NewRat(5, 10)}
				names := []string{"g 0.1", "g 2", "kg 0.005", "oz 0.05"}
				if shape != "stx-words" && shape != "reversed" && shape != "hid" {
					names = append(names, "lb:oz 0.5")
				}
				name := rapid.SampledFrom(names).Draw(t, "step")
				unit, step, _ := strings.Cut(name, " ")
				division := mass(t, step+" "+strings.TrimPrefix(unit, "lb:"))
				f := testFormat(t, ScaleOptions{Shape: shape, Unit: unit, Division: division})
				n := rapid.Int64Range(-int64(6*reading.Kilogram/division), int64(6*reading.Kilogram/division)).Draw(t, "divisions")
				shown := display{divisions: n, stable: rapid.Bool().Draw(t, "stable"), net: rapid.Bool().Draw(t, "net")}
				line := string(f.append(nil, shown))
				want := new(big.Rat).Mul(steps[name], new(big.Rat).SetInt64(n))
				require.Equal(t, want.RatString(), valueIn(t, shape, line).RatString(), "%q", line)
			})
		})
	}
}

func BenchmarkLine(b *testing.B) {
	for _, shape := range Shapes() {
		b.Run(shape, func(b *testing.B) {
			f := testFormat(b, ScaleOptions{Shape: shape})
			shown := display{divisions: -12345, stable: true, net: true}
			line := make([]byte, 0, 32)
			b.ReportAllocs()
			for b.Loop() {
				line = f.append(line[:0], shown)
			}
		})
	}
}
