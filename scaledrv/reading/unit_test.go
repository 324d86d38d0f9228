package reading

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestUnitFactorsAreThePublishedOnes(t *testing.T) {
	for _, tt := range []struct {
		name, one, grams string
	}{
		// BIPM SI Brochure, 9th edition (2019), 2.3.1 and chapter 3: from memory.
		{"kilogram", "1 kg", "1000 g"},
		{"gram", "1 g", "1 g"},
		{"milligram", "1 mg", "0.001 g"},
		// NIST SP 811 (2008) appendix B and NIST Handbook 44 appendix C, exact.
		{"avoirdupois pound", "1 lb", "453.59237 g"},
		{"avoirdupois ounce", "1 oz", "28.349523125 g"},
		{"sixteen ounces are a pound", "16 oz", "453.59237 g"},
		{"troy ounce", "1 ozt", "31.1034768 g"},
		{"pennyweight", "1 dwt", "1.55517384 g"},
		{"grain", "1 gn", "0.06479891 g"},
		{"metric carat", "1 ct", "0.2 g"},
		{"tonne", "1 t", "1000 kg"},
		{"a split display of pounds and ounces", "2:04.0 lb:oz", "1020.5828325 g"}, // 36 oz
	} {
		t.Run(tt.name, func(t *testing.T) {
			m, err := ParseMass(tt.one)
			require.NoError(t, err)
			want, err := ParseMass(tt.grams)
			require.NoError(t, err)
			require.Equal(t, want, m)
		})
	}
	// NIST Handbook 44 appendix C: a pound is 7000 grains of 64.79891 mg.
	pound, _ := ParseMass("1 lb")
	grain, _ := ParseMass("1 gn")
	require.Equal(t, 7000*grain, pound)
}

func TestUnitsAreReadInEitherCase(t *testing.T) {
	for symbol, want := range map[string]Unit{"mg": UnitMG, "G": UnitG, "Kg": UnitKG, "OZ": UnitOZ, "lb": UnitLB, "LB:OZ": UnitLBOZ, "ozt": UnitOZT} {
		u, ok := UnitOf(symbol)
		require.True(t, ok, symbol)
		require.Equal(t, want, u)
		u, ok = UnitOf([]byte(symbol))
		require.True(t, ok, symbol)
		require.Equal(t, want, u)
		again, err := ParseUnit(u.String())
		require.NoError(t, err)
		require.Equal(t, u, again)
	}
}

func TestWhatIsNoUnitIsRefused(t *testing.T) {
	for _, symbol := range []string{"", " g", "g ", "k", "lbs", "gr", "tael", "oz t", "lb:ozs", "\u212Ag", "ml"} {
		_, ok := UnitOf(symbol)
		require.False(t, ok, "%q", symbol)
		_, err := ParseUnit(symbol)
		require.ErrorContains(t, err, "known: mg, g, kg, t, ct, gn, dwt, oz, ozt, lb, lb:oz")
	}
}

func TestEveryTermHasItsWord(t *testing.T) {
	require.Equal(t, []string{"unknown", "stable", "moving"}, []string{MotionUnknown.String(), Stable.String(), Moving.String()})
	require.Equal(t, []string{"unknown", "gross", "net"}, []string{KindUnknown.String(), Gross.String(), Net.String()})
	require.Equal(t, []string{"normal", "over", "under", "fault"}, []string{Normal.String(), Over.String(), Under.String(), Fault.String()})
}
