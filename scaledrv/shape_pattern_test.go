package scaledrv

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// wholePattern has every group.
const wholePattern = `(?:(?P<stable>=)|(?P<moving>~))? *(?P<kind>net|gross|tare|preset)? *(?:(?P<over>HI)|(?P<under>LO)|(?P<sign>[-+]?) *(?P<value>[-+0-9.,: lboz]+?) *(?P<unit>[a-z]+|#)?)?;`

// The lines are this test's own: no scale's.
func TestPattern(t *testing.T) {
	for _, tt := range []struct{ name, pattern, line, want string }{
		{"a value and a unit", `(?P<value>[0-9.]+) (?P<unit>k?g)`, "12.50 kg", "12.50 kg"},
		{"without a unit in the line the entry's holds", `W=(?P<value>[0-9.]+)`, "W=12.50", "12.50 ct"},
		{"all groups", wholePattern, "= net - 12.50 g;", "-12.50 g net stable"},
		{"moving and gross", wholePattern, "~ gross + 12.50 g;", "12.50 g gross moving"},
		{"neither stable nor moving", wholePattern, "12.50 g;", "12.50 g"},
		{"a tare is no weight", wholePattern, "= tare + 12.50 g;", "no reading"},
		{"nor is a preset one", wholePattern, "= preset + 12.50 g;", "no reading"},
		{"over", wholePattern, "= gross HI;", "over gross stable"},
		{"under", wholePattern, "LO;", "under"},
		{"a whole line without a weight", wholePattern, "~ net;", "no reading"},
		{"the kind in capitals", `(?P<value>[0-9.]+)(?P<kind>[NG])`, "12.50G", "12.50 ct gross"},
		{"a kind of another word says nothing", `(?P<value>[0-9.]+)(?P<kind>[A-Z])`, "12.50X", "12.50 ct"},
		{"only stable: its absence means moving", `(?P<value>[0-9.]+)(?P<stable>S?)`, "12.50", "12.50 ct moving"},
		{"only moving: its absence means stable", `(?P<value>[0-9.]+)(?P<moving>M)?`, "12.50", "12.50 ct stable"},
		{"pounds and ounces", `(?P<value>[0-9:.]+) (?P<unit>lb:oz)`, "2:03.5 lb:oz", "2:03.5 lb:oz"},
		{"pounds and ounces in one group", `(?P<value>.+)`, "- 2 lb 3,5 oz", "-2:03.5 lb:oz"},
		{"a sign and blanks in the value", `(?P<value>[- 0-9.]+)g`, "  - 12.50 g", "-12.50 ct"},

		{"a line that does not match", `(?P<value>[0-9.]+)g`, "12.50 kg", "rejected: the pattern does not match the whole line"},
		{"a line that matches in part", `(?P<value>[0-9.]+)g`, "12.50g 12.50g", "rejected: the pattern does not match the whole line"},
		{"alternatives are of the whole line", `(?P<value>[0-9.]+)g|x`, "12.50gx", "rejected: the pattern does not match the whole line"},
		{"stable and moving at once", `(?P<value>[0-9.]+)(?P<stable>S)(?P<moving>M)`, "12.50SM", "rejected: the pattern finds both stable and moving in the line"},
		{"a value that is no number", `(?P<value>.+)g`, "1..2g", `rejected: weight "1..2": no number with digits on each side of its mark`},
		{"an unknown unit", wholePattern, "12.50 stone;", `rejected: "stone" is no unit of mass`},
		{"a unit in the value and another behind it", `(?P<value>.+?)(?P<unit>kg)`, "12.50g kg", `rejected: weight "12.50g ": in another unit than kg`},
		{"two signs", `(?P<sign>-)(?P<value>.+)`, "--12.50", `rejected: sign "-" of "-12.50" is no single plus or minus`},
		{"a sign that is none", `(?P<sign>.)(?P<value>.+)`, "x12.50", `rejected: sign "x" of "12.50" is no single plus or minus`},
		{"a NUL", `(?P<value>[0-9.]+)(?s:.)`, "12.50\x00", "rejected: byte 0x00 at 5 is no text"},
		{"bit 7", `(?P<value>[0-9.]+)(?s:.)`, "12.50\xb0", "rejected: byte 0xb0 at 5 is no text"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			shape := shapeNamed("pattern", ShapeOptions{Pattern: tt.pattern, Unit: reading.UnitCT})
			require.Equal(t, tt.want, after(shape, tt.line))
		})
	}
}

const noDigit = "pattern: matches no line of at most 128 bytes with a digit in its group value: see that the group takes digits, and that nothing stands before ^ or behind $"

func TestAPatternThatCanNotWorkIsRefusedWithItsReason(t *testing.T) {
	for _, tt := range []struct{ name, pattern, want string }{
		{"none", "", "shape: pattern needs an expression, such as `pattern: '(?P<value>[-+ ]*[0-9.]+) *(?P<unit>k?g)'`"},
		{"no value", "[0-9]+", "pattern: no group for the number: write (?P<value>...) around it"},
		{"no expression", "(?P<value>[0-9]+", "pattern: error parsing regexp: missing closing ): `(?P<value>[0-9]+` (write it as for Go's regexp)"},
		{"brackets that close what is not theirs", "(?P<value>[0-9]+)|(?:x))|(?:y", "pattern: error parsing regexp: unexpected ): `(?P<value>[0-9]+)|(?:x))|(?:y` (write it as for Go's regexp)"},
		{"looking ahead is not known", "(?=x)(?P<value>[0-9]+)", "pattern: error parsing regexp: invalid or unsupported Perl syntax: `(?=` (write it as for Go's regexp)"},
		{"an unknown group", "(?P<value>[0-9]+)(?P<weight>g)", `pattern: unknown group "weight" (there are: value, sign, unit, stable, moving, kind, over, under)`},
		{"it matches the empty line", "(?P<value>[0-9]*)", "pattern: matches the empty line: say what a line always has, such as [0-9]+ for digits"},
		{"a line end in it", "(?P<value>[0-9]+)|x\n", "pattern: has a line end in it: write it on one line (what comes is matched without its end)"},
		{"a group twice", `(?P<value>[0-9]+)\.(?P<value>[0-9]+) (?P<unit>g)`, `pattern: two groups are named "value": name one only (leave the name of the other away, or put both into one)`},
		{"a value of letters", "(?P<value>[A-Z]+)", noDigit},
		{"a value of one letter", "(?P<value>x)[0-9]", noDigit},
		{"a value that is empty", "(?P<value>[0-9]{0})x", noDigit},
		{"digits behind the value only", "(?:[0-9](?P<value>A))+", noDigit},
		{"a value whose last turn has no digit", `(?:(?P<value>[0-9]\B|x))+`, noDigit},
		{"a line end before the number", `$(?P<value>[0-9]+)^`, noDigit},
		{"a line end within", `(?m)(?P<value>[0-9]+)$\n^g`, noDigit},
		{"a word's end within digits", `(?P<value>[0-9]\b[0-9])`, noDigit},
		{"more digits than a line holds", "(?P<value>[0-9]{1000})", noDigit},
		{"one character more than a line holds", "(?P<value>[0-9]{100})x{29}", noDigit},
		{"too long", "(?P<value>[0-9]+)" + strings.Repeat("x", 484), "pattern: 501 bytes long: at most 500 (leave out what need not be told apart)"},
		{"hopeless", "(?P<value>[0-9]+)(?:.{900}|x{900}|y{900})", "pattern: takes 2710 steps: at most 2000 (use + or * for long repetitions such as {1000})"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ShapeByName("pattern", ShapeOptions{Pattern: tt.pattern})
			require.ErrorContains(t, err, tt.want)
		})
	}
	_, err := ShapeByName("pattern", ShapeOptions{Pattern: "(?P<value>[0-9]+)x" + strings.Repeat("x?", 241)})
	require.NoError(t, err, "500 bytes")
	for _, good := range []string{"(?P<value>[0-9]{100})x{28}", "(?m)^(?P<value>.+)$", `\b(?P<value>\d)\b`, "(?P<value>[^A-Z]+)", "(?:(?P<over>HI)|(?P<value>[0-9]))"} {
		_, err := ShapeByName("pattern", ShapeOptions{Pattern: good})
		require.NoError(t, err, good)
	}
}

// Every line of up to four characters of an alphabet is tried: what finds a digit in one must not be refused.
func TestNoPatternIsRefusedThatFindsADigitInAShortLine(t *testing.T) {
	lines := []string{""}
	for from := 0; len(lines[from]) < 4; from++ {
		for _, c := range []string{"0", "7", "a", " "} {
			lines = append(lines, lines[from]+c)
		}
	}
	atoms := []string{"0", "[0-9]", "a", `\s`, ".", `\b`, `\B`, "^", "$", "(?m:$)", "|", "(?:", ")", "*", "+?", "?", "{2}"}
	rapid.Check(t, func(t *rapid.T) {
		some := func(name string) string {
			return strings.Join(rapid.SliceOfN(rapid.SampledFrom(atoms), 0, 4).Draw(t, name), "")
		}
		text := some("before") + "(?P<value>" + some("within") + ")" + rapid.SampledFrom([]string{"", "?", "*"}).Draw(t, "times") + some("behind")
		re, err := regexp.Compile(`\A(?:` + text + `)\z`)
		if err != nil {
			return
		}
		finds := slices.ContainsFunc(lines, func(line string) bool {
			m := re.FindStringSubmatch(line)
			return m != nil && strings.ContainsAny(m[re.SubexpIndex("value")], "07")
		})
		if _, _, err := compilePattern(text); finds && err != nil {
			require.NotContains(t, err.Error(), "matches no line", text)
		}
	})
}

func BenchmarkThePatternThatIsLongestToRead(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := compilePattern(`(?P<value>[0-9.]+)(?:\w?){900}`); err != nil {
			b.Fatal(err)
		}
	}
}

func TestAPatternHasAWidthWhereTheScalePads(t *testing.T) {
	open := shapeNamed("pattern", ShapeOptions{Pattern: `W: *(?P<value>[-0-9.]+)(?P<unit>g);`}).open()
	for _, tt := range []struct {
		line string
		want int
	}{{"W:12.5g;", 0}, {"W:9.5g;", 0}, {"W:  9.5g;", 7}, {"W: 12.5g;", 7}, {"W: 2.5g;", 6}} {
		p, err := answer(open.read, tt.line)
		require.NoError(t, err)
		require.Equal(t, tt.want, p.width, tt.line)
	}
}

func FuzzPattern(f *testing.F) {
	f.Add([]byte("\r\n= net - 12.50 g;\r\n~ gross + 12.50 g;\r\ntare 12.50 g;\r\n= gross HI;\nLO;\n~ net;\n"), uint8(3))
	f.Add([]byte("\n2:03.5 lb;\n= -2:03,5;\n- 12.50 #;\n1\xb0;\n"), uint8(0))
	parts := regexp.MustCompile(`^([=~])? *(net|gross|tare|preset)? *(HI|LO|[^;]*?);$`)
	weight := regexp.MustCompile(`^[-+]? *[-+0-9.,: lboz]+? *([a-z]+|#)?$`)
	fuzzShape(f, shapeNamed("pattern", ShapeOptions{Pattern: wholePattern, Unit: reading.UnitG}), func() func(string) string {
		return func(frame string) string {
			m := parts.FindStringSubmatch(frame)
			if m == nil || !printable(frame) {
				return rejected
			}
			motion := map[string]string{"=": " stable", "~": " moving"}[m[1]]
			kind := map[string]string{"net": " net", "gross": " gross"}[m[2]]
			switch out := map[string]string{"HI": "over", "LO": "under"}[m[3]]; {
			case out != "":
				return out + kind + motion
			case m[3] == "":
				return "no reading"
			case !weight.MatchString(m[3]) || weighed(m[3], "g") == "":
				return rejected
			case m[2] == "tare" || m[2] == "preset":
				return "no reading"
			}
			return weighed(m[3], "g") + kind + motion
		}
	})
}
