package plan

import (
	"encoding/json"
	"math"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// testdata/units.csv: SI Brochure, NIST SP 811 (2008) appendix B, NIST Handbook 44 appendix C; each row names its own.
func TestUnitsHaveThePublishedFactors(t *testing.T) {
	for _, r := range readCSV(t, "testdata/units.csv") {
		t.Run(r["unit"], func(t *testing.T) {
			if r["quantity"] == "volume" {
				got, err := ParseVolume("1 " + r["symbol"])
				require.NoError(t, err)
				require.Equal(t, r.float(t, "practical_value"), got)
				return
			}
			got, err := ParseMass("1 " + r["symbol"])
			require.NoError(t, err)
			exact, ok := new(big.Rat).SetString(r["practical_value"])
			require.True(t, ok)
			require.Zero(t, exact.Cmp(big.NewRat(int64(got), int64(reading.Gram))))
		})
	}
}

func TestVolumesAreReadAsTheyAreTyped(t *testing.T) {
	for text, want := range map[string]float64{
		"450 mL": 450, "450ml": 450, " 450  ML ": 450, "1 L": 1000, "0.5 l": 500, "2 litres": 2000, "30 in³": 491.61192, "30 in3": 491.61192,
		"1 cu in": 16.387064, "1 cubic inch": 16.387064, "12.5 cm3": 12.5, "12.5 cm³": 12.5, "3 cc": 3,
		"1 US gal": 3785.411784, "1 gal US": 3785.411784, "1 gal (US)": 3785.411784, "1 gallon U.S.": 3785.411784, "2 imperial gallons": 9092.18,
		"1 gal imp": 4546.09, "1 gal (UK)": 4546.09, "8 fl oz US": 236.5882365, "8 US fl. oz.": 236.5882365, "8 fl oz imp": 227.3045,
		"1 pint imp": 568.26125, "1 qt US": 946.352946,
	} {
		got, err := ParseVolume(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
}

func TestMassesAreReadAsTheyAreTyped(t *testing.T) {
	for text, want := range map[string]string{"300 g": "300 g", "300g": "300 g", "2 lb": "907.18474 g", "2 LBS": "907.18474 g", "1.5 kg": "1500 g",
		"0.1 g": "0.1 g", "16 oz": "453.59237 g", "250 mg": "0.25 g", "007 grams": "7 g", "0.000001 g": "0.000001 g"} {
		got, err := ParseMass(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got.String(), text)
	}
}

func TestAmountsThatSayTooLittleOrTooMuchAreQuestioned(t *testing.T) {
	mass := func(text string) error { _, err := ParseMass(text); return err }
	volume := func(text string) error { _, err := ParseVolume(text); return err }
	percent := func(text string) error { _, err := ParsePercent(text); return err }
	for _, tt := range []struct {
		parse func(string) error
		text  string
		says  string
	}{
		{volume, "1 gal", "one gal is 3785.411784 mL in the United States and 4546.09 mL imperial; write 1 gal US or 1 gal imp"},
		{volume, "8 fl oz", "one fl oz is 29.5735295625 mL in the United States and 28.4130625 mL imperial; write 8 fl oz US or 8 fl oz imp"},
		{volume, "2 pints", "write 2 pt US or 2 pt imp"},
		{volume, "8 oz", "oz is not a unit of that kind (known: mL, L, cm3, in3, gal US, gal imp"},
		{volume, "8 oz", "; a fluid ounce is fl oz"},
		{volume, "300 g", "g is not a unit of that kind"},
		{volume, "450 mL US", "mL is the same everywhere; write mL without US or imperial"},
		{volume, "450 mll", "did you mean mL?"},
		{volume, "450", "the unit is missing (known: mL"},
		{mass, "450 mL", "mL is not a unit of that kind"},
		{mass, "300 gm", `unknown unit "gm"; did you mean g?`},
		{mass, "300 gk", "did you mean g?"},
		{mass, "300 klio", ""},
		{mass, "300 grmas", "did you mean grams?"},
		{mass, "300 stone", `unknown unit "stone" (known: g, kg, mg, lb, oz)`},
		{mass, "1,234 g", "a comma can part decimals or thousands; write 1.234 or 1234"},
		{mass, "1,5 kg", "write 1.5 or 15"},
		{mass, "1.234,5 g", "marks for thousands; write plain digits with at most one point, such as 1234.5"},
		{mass, "1,234,567 g", "marks for thousands"},
		{mass, "1 234 g", "unknown unit"},
		{mass, "1'234 g", "not a decimal number"},
		{mass, "NaN g", "that is no number"},
		{mass, "Inf g", "that is no number"},
		{mass, "-inf kg", "that is no number"},
		{mass, "1e300 g", "has an exponent or is no number; write plain digits"},
		{mass, "3O0 g", `unknown unit "O0 g"`},
		{mass, "-5 g", "-5 is less than 0"},
		{mass, "", "the number is missing"},
		{mass, "g", "the number is missing"},
		{mass, ".5 g", "not a decimal number"},
		{mass, "1.2.3 g", "not a decimal number"},
		{mass, "9999999999 g", "beyond the 9223 kg that can be held"},
		{mass, "1234567890123456 g", "at most 15 digits"},
		{percent, "ten", "the number is missing"},
		{percent, "10 g", `"g" is no percent sign; write 10 %`},
		{percent, "10,5 %", "a comma can part decimals or thousands"},
	} {
		require.ErrorContains(t, tt.parse(tt.text), tt.says, tt.text)
	}
	pct, err := ParsePercent("12.5%")
	require.NoError(t, err)
	require.Equal(t, 12.5, pct)
}

func TestAMassReadStoredAndPrintedHasTheSameDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`(0|[1-9][0-9]{0,4})(\.[0-9]{0,5}[1-9])?`).Draw(t, "grams")
		m, err := ParseMass(text + " g")
		require.NoError(t, err)
		require.Equal(t, text+" g", m.String())
		stored, err := json.Marshal(m)
		require.NoError(t, err)
		require.Equal(t, text, string(stored))
		var again reading.Mass
		require.NoError(t, json.Unmarshal(stored, &again))
		require.Equal(t, text+" g", again.String())
		other, err := reading.ParseMass(text + " oz")
		require.NoError(t, err)
		m, err = ParseMass(text + " oz")
		require.NoError(t, err)
		require.Equal(t, other, m, "as a scale's own value")
	})
}

func FuzzAmountsAreReadOrRefused(f *testing.F) {
	for _, text := range []string{"300 g", "1 gal (US)", "8 fl oz", "1,234 g", "NaN", "1e300 mL", "30 in³", "100x50x20mm", "50×20 mm", "10 %", "\xff g", "+-3 g"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if m, err := ParseMass(text); err == nil {
			require.GreaterOrEqual(t, m, reading.Mass(0))
		}
		for name, parse := range map[string]func(string) (float64, error){"volume": ParseVolume, "box": ParseBox, "cylinder": ParseCylinder, "percent": ParsePercent} {
			v, err := parse(text)
			require.False(t, math.IsNaN(v) || v < 0, name)
			if err != nil {
				require.Zero(t, v)
				require.True(t, strings.HasPrefix(err.Error(), "read "+name), err.Error())
			}
		}
	})
}
