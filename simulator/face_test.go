package simulator

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// Factors: NIST SP 811 appendix B, 1 lb = 453.59237 g, 1 oz = 28.349523125 g; a carat is 0.2 g (BIPM).
func TestADivisionBecomesAStepOfTheUnit(t *testing.T) {
	for _, tt := range []struct {
		name, division, unit string
		step                 string // one division as it is displayed
		exact                bool
	}{
		{"grams stay grams", "0.1 g", "g", "0.1", true},
		{"an odd step stays odd", "0.3 g", "g", "0.3", true},
		{"kilograms", "0.1 g", "kg", "0.0001", true},
		{"milligrams", "0.1 g", "mg", "100", true},
		{"carats", "0.1 g", "ct", "0.5", true},
		{"0.1 g is 0.0035 oz", "0.1 g", "oz", "0.005", false},
		{"0.1 g is 0.00022 lb", "0.1 g", "lb", "0.0005", false},
		{"0.1 g is 1.54 grains", "0.1 g", "gn", "2", false},
		{"1 g is 15.4 grains", "1 g", "gn", "20", false},
		{"pounds and ounces count ounces", "5 g", "lb:oz", "0:00.2", false},
		{"0.01 oz is 0.28 g", "0.01 oz", "g", "0.5", false},
		{"0.01 oz is itself", "0.01 oz", "oz", "0.01", true},
		{"0.02 lb is 0.32 oz", "0.02 lb", "oz", "0.32", true},
		{"1 mg is 0.000035 oz", "1 mg", "oz", "0.00005", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, exact, err := newFace(tt.unit, mass(t, tt.division))
			require.NoError(t, err)
			require.Equal(t, tt.exact, exact)
			require.Equal(t, tt.step, string(f.number(nil, f.perDivision, '.')))
		})
	}
}

// A tenth of a thousandth of an ounce is 2 834 952 312.5 pg.
func TestADivisionBetweenTwoPicogramsIsNotCalledExact(t *testing.T) {
	_, exact, err := newFace("oz", 2_834_952_312)
	require.NoError(t, err)
	require.False(t, exact)
}

func TestAStepIsNeverFinerThanTheDivisionAndSeldomCoarserThanTwiceAndAHalf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]string{"mg", "g", "kg", "ct", "gn", "dwt", "oz", "ozt", "lb", "lb:oz"}).Draw(t, "unit")
		division := reading.Mass(rapid.Int64Range(int64(reading.Gram/10), int64(50*reading.Gram)).Draw(t, "division"))
		f, _, err := newFace(unit, division)
		require.NoError(t, err)
		require.GreaterOrEqual(t, f.division, float64(division))
		require.LessOrEqual(t, f.division, 2.5*float64(division)*(1+1e-12))
		one, ok := reading.Value{Digits: f.perDivision, Decimals: uint8(f.decimals), Unit: f.unit}.Mass()
		require.True(t, ok)
		require.InDelta(t, float64(one), f.division, 1, "to the picogram")
	})
}
