package material

import (
	"encoding/csv"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// what each kind of fault of the reference is told as.
var typedFaults = map[string]string{
	"ratio_basis_missing": "by weight or by volume?",
	"unknown_word":        "did you mean weight?",
	"two_bases":           "has two bases",
	"zero_part":           "is zero",
	"negative_part":       "is negative",
	"missing_part":        "missing",
	"missing_number":      "has no figure",
	"order":               "names B first",
	"duplicate_part":      "names A twice",
	"not_a_number":        "is not a number",
	"out_of_range":        "is out of range",
	"too_many_parts":      "a third component is an addition",
	"bad_separator":       "is not parted by a colon",
	"ambiguous_comma":     "can be read two ways",
}

// testdata/typed-ratios.csv is derived: the rules of this project, with the kind of each fault.
func TestTypedRatiosAreThoseOfTheReference(t *testing.T) {
	f, err := os.Open("testdata/typed-ratios.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows[1:], 37)
	for _, row := range rows[1:] {
		id, text, basis, a, b, kind := row[0], row[2], row[3], row[4], row[5], row[6]
		t.Run(id+" "+text, func(t *testing.T) {
			r, err := ParseRatio(text)
			if kind != "" {
				require.Contains(t, typedFaults, kind)
				require.ErrorContains(t, err, typedFaults[kind])
				return
			}
			require.NoError(t, err)
			want := Ratio{Weight: &Parts{Number(a), Number(b)}}
			if basis == "volume" {
				want = Ratio{Volume: want.Weight}
			}
			require.Equal(t, want, r)
		})
	}
}

func TestTypedRatiosKeepTheirDigitsAndSayWhatIsWrong(t *testing.T) {
	r, err := ParseRatio("  a 100.0:B 27.50  BY Weight ")
	require.NoError(t, err)
	require.Equal(t, Ratio{Weight: &Parts{"100.0", "27.50"}}, r)
	for _, tt := range []struct{ text, detail string }{
		{"100:50 by mass", `"mass" is no basis`},
		{"100:50 phr", "phr takes one figure"},
		{"12.5 phr by volume", "has two bases"},
		{"100:50 by", "type 100:50 by weight, or 100:50 by volume"},
		{"100:50", "type 100:50 by weight, or 100:50 by volume"},
		{"by weight", "parts of A and B are missing"},
		{"100 g : 50 g by weight", "figures without units"},
		{"100 50 by weight", "not parted by a colon"},
		{"100 to 50 by weight", "not parted by a colon"},
		{"1e-3 by weight", "one of the parts is missing"},
		{"B 50 by weight", "one of the parts is missing"},
		{"hundred by weight", "parts of A and B are missing"},
		{"100and50 by weight", "not parted by a colon"},
		{":50 by weight", "A has no figure"},
		{"B 1 : B 2 by weight", "names B twice"},
		{"A 1 : 2 : 3 by volume", "more than two parts"},
		{"100:.5 by weight", `B is not a number: ".5"`},
		{"1e999:1 by weight", "out of range"},
		{"1000000:1 by weight", "beyond 1 : 10000"},
		{"-0 phr", "is zero"},
		{"100:質量 by weight", "B is not a number"},
		{"a:b", "by weight or by volume?"},
	} {
		_, err := ParseRatio(tt.text)
		require.ErrorContains(t, err, tt.detail, tt.text)
	}
}

func TestWhatIsShownCanBeTypedAgain(t *testing.T) {
	figure := rapid.StringMatching(`[1-9][0-9]{0,2}(\.[0-9]{0,3}[1-9])?`)
	rapid.Check(t, func(t *rapid.T) {
		want := Ratio{Weight: &Parts{Number(figure.Draw(t, "A")), Number(figure.Draw(t, "B"))}}
		if rapid.Bool().Draw(t, "by volume") {
			want = Ratio{Volume: want.Weight}
		}
		got, err := ParseRatio(Card{Ratio: want}.RatioText())
		if err != nil {
			t.Fatal(err)
		}
		require.Equal(t, want, got)
	})
}

func FuzzParseRatio(f *testing.F) {
	for _, text := range []string{"100:50 by weight", "A 2 : B 1 by volume", "12.5 phr", "1,5:1", "a:b:c", "NaN:1e999 weight"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseRatio(text)
		if err != nil {
			return
		}
		c := Card{ID: "x", Name: "X", Ratio: r}
		require.NoError(t, c.Validate(), "what can be typed can stand on a card")
	})
}
