package reading

import (
	"encoding/json"
	"math"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestMassInJSONIsTheShortestDecimalToTheMicrogram(t *testing.T) {
	for _, tt := range []struct {
		name string
		mass Mass
		want string
	}{
		{"zero", 0, "0"},
		{"whole grams carry no point", 200 * Gram, "200"},
		{"a tenth has no float noise", 2001 * Gram / 10, "200.1"},
		{"the sum of a tenth and two tenths", Gram/10 + 2*Gram/10, "0.3"},
		{"below zero", -Gram / 100, "-0.01"},
		{"one microgram", Microgram, "0.000001"},
		{"half a microgram goes up", Microgram / 2, "0.000001"},
		{"less goes to zero", Microgram/2 - 1, "0"},
		{"and zero has no sign", -Microgram/2 + 1, "0"},
		{"rounding carries into the grams", 2*Gram - 1, "2"},
		{"the largest mass", math.MaxInt64, "9223372.036855"},
		{"the smallest integer", math.MinInt64, "-9223372.036855"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b, err := json.Marshal(tt.mass)
			require.NoError(t, err)
			require.Equal(t, tt.want, string(b))
			require.Equal(t, tt.want+" g", tt.mass.String())
		})
	}
}

var plainGrams = regexp.MustCompile(`^(0|-?(0\.\d{0,5}[1-9]|[1-9]\d*(\.\d{0,5}[1-9])?))$`)

func TestMassInJSONNeverHasFloatNoiseAndComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Mass(rapid.Int64Range(int64(-9223*Kilogram), int64(9223*Kilogram)).Draw(t, "picograms"))
		if rapid.Bool().Draw(t, "of a bench") {
			m %= 10 * Kilogram
		}
		b, err := json.Marshal(m)
		require.NoError(t, err)
		require.Regexp(t, plainGrams, string(b))
		var back Mass
		require.NoError(t, json.Unmarshal(b, &back))
		again, err := json.Marshal(back)
		require.NoError(t, err)
		require.Equal(t, string(b), string(again))
		// Half a microgram of the text, and the step of a float64 at 9223 kg on the way back.
		require.LessOrEqual(t, max(m-back, back-m), Microgram/2+1024)
	})
}

func TestJSONThatIsNoMassIsRefused(t *testing.T) {
	for _, tt := range []struct{ name, text, why string }{
		{"a mass beyond what can be held", "1e300", "beyond the 9223 kg"},
		{"just beyond", "9223372.036854776", "beyond the 9223 kg"},
		{"a text", `"5"`, "not a number of grams"},
		{"nothing", "null", "not a number of grams"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var m Mass
			require.ErrorContains(t, json.Unmarshal([]byte(tt.text), &m), tt.why)
		})
	}
}

func TestFromGramsTakesOnlyMasses(t *testing.T) {
	m, ok := FromGrams(0.1)
	require.True(t, ok)
	require.Equal(t, Gram/10, m)
	for _, g := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 9223372.036854776, -9223372.036854776} {
		_, ok := FromGrams(g)
		require.False(t, ok, "%v g", g)
	}
}

func TestParseMass(t *testing.T) {
	m, err := ParseMass("300 g")
	require.NoError(t, err)
	require.Equal(t, 300*Gram, m)
	_, err = ParseMass("9224 kg")
	require.ErrorContains(t, err, "beyond the 9223 kg")
	_, err = ParseMass("300")
	require.ErrorContains(t, err, "unknown unit")
}

func TestFloorAndCeilHoldTheMassBetweenThem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Mass(rapid.Int64Range(int64(-10*Kilogram), int64(10*Kilogram)).Draw(t, "mass"))
		step := Mass(rapid.Int64Range(1, int64(10*Gram)).Draw(t, "step"))
		low, high := m.FloorTo(step), m.CeilTo(step)
		require.LessOrEqual(t, low, m)
		require.GreaterOrEqual(t, high, m)
		require.Less(t, high-low, 2*step)
		require.Zero(t, low%step)
		require.Zero(t, high%step)
		require.Equal(t, m%step == 0, low == high)
	})
}

func TestAPlainDecimalOfGramsIsReadExactly(t *testing.T) {
	var m Mass
	require.NoError(t, m.UnmarshalJSON([]byte("4100.1"))) // as a float64 it is a picogram off
	require.Equal(t, 4100*Gram+Gram/10, m)
	require.NoError(t, m.UnmarshalJSON([]byte("1e3")))
	require.Equal(t, Kilogram, m)
	require.ErrorContains(t, m.UnmarshalJSON([]byte("1e300")), "beyond the 9223 kg")
	require.ErrorContains(t, m.UnmarshalJSON([]byte(`"1 g"`)), "not a number of grams")
}
