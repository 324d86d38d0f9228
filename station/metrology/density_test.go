package metrology

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// testdata/water-density.csv: Tanaka et al., Metrologia 38 (2001) 301; Kell, J. Chem. Eng. Data 20 (1975) 97.
func TestWaterHasTheDensityThatIsPublished(t *testing.T) {
	for _, r := range readCSV(t, "testdata/water-density.csv") {
		rho, err := WaterDensity(r.float(t, "t_c"))
		require.NoError(t, err)
		require.InEpsilon(t, r.float(t, "tanaka_2001_kg_m3"), 1000*rho, 1e-12)
		require.InDelta(t, r.float(t, "kell_1975_kg_m3"), 1000*rho, 0.0035, "another formula, on another scale of temperature")
	}
	for _, celsius := range []float64{-0.1, 40.1, math.NaN(), math.Inf(1)} {
		_, err := WaterDensity(celsius)
		require.ErrorContains(t, err, "0 to 40 °C")
	}
}

// testdata/buoyancy.csv: OIML D 28:2004, OIML R 111-1:2004, NIST IR 6969 SOP 2.
func TestAirLiftsMassesAndRatiosAsPublished(t *testing.T) {
	for _, r := range readCSV(t, "testdata/buoyancy.csv") {
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			if r["kind"] == "buoyancy" {
				require.InEpsilon(t, r.float(t, "value"), Buoyancy(in.float(t, "rho_liquid")/1000), 1e-12)
				return
			}
			got := 100 * RatioBuoyancy(in.float(t, "rho_a")/1000, in.float(t, "rho_b")/1000)
			require.InDelta(t, r.float(t, "value"), got, 1e-12)
		})
	}
}

func TestAirIsNegligibleForTheRatioOfResins(t *testing.T) {
	for a := 0.9; a <= 1.3; a += 0.01 {
		for b := 0.9; b <= 1.3; b += 0.01 {
			require.Less(t, math.Abs(RatioBuoyancy(a, b)), 0.0005, "a fortieth of a tolerance of 2 %")
		}
	}
}
