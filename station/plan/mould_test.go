package plan

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

func TestMouldsAreMeasured(t *testing.T) { // an inch is 25.4 mm exactly (NIST SP 811)
	for _, tt := range []struct {
		parse func(string) (float64, error)
		text  string
		want  float64
	}{
		{ParseBox, "100x50x20mm", 100},
		{ParseBox, "100 x 50 x 20 mm", 100},
		{ParseBox, "10×5×2cm", 100},
		{ParseBox, "1x1x1in", 16.387064},
		{ParseBox, "0.1X0.1X0.1 m", 1000},
		{ParseCylinder, "50x20mm", 39.269908169872416}, // π/4 · 50² · 20 mm³
		{ParseCylinder, "5x2 cm", 39.269908169872416},
	} {
		got, err := tt.parse(tt.text)
		require.NoError(t, err, tt.text)
		require.InEpsilon(t, tt.want, got, 1e-14, tt.text)
	}
}

func TestMouldsThatAreNotMeasuredRightAreQuestioned(t *testing.T) {
	for _, tt := range []struct {
		parse      func(string) (float64, error)
		text, says string
	}{
		{ParseBox, "100x50mm", "it has 2 lengths, must have 3; write length, width and height with their unit, such as 100x50x20mm"},
		{ParseCylinder, "100x50x20mm", "it has 3 lengths, must have 2; write diameter and height"},
		{ParseBox, "100x50x20", `"" is no unit of length (known: mm, cm, in, m)`},
		{ParseBox, "100x50x20 ft", `"ft" is no unit of length`},
		{ParseBox, "100mmx50mmx20mm", "not a decimal number"},
		{ParseBox, "100x0x20mm", "a length is 0"},
		{ParseBox, "100x-5x20mm", "less than 0"},
		{ParseBox, "100x5,5x20mm", "a comma can part decimals or thousands"},
		{ParseBox, "100xNaNx20mm", "no number"},
		{ParseBox, "", "it has 1 lengths"},
	} {
		_, err := tt.parse(tt.text)
		require.ErrorContains(t, err, tt.says, tt.text)
	}
}

// testdata/water-fill.csv: Tanaka et al. (2001); with the lift of the air in the form of ISO 4787 and ISO 8655-6. Without
// it the volume is a thousandth too small.
func TestAMouldFilledWithWaterHasThePublishedVolume(t *testing.T) {
	for _, r := range readCSV(t, "testdata/water-fill.csv") {
		t.Run(r["id"], func(t *testing.T) {
			in := r.pairs("inputs")
			got, err := WaterFill(in.mass(t, "reading_g"), in.float(t, "t_c"))
			require.NoError(t, err)
			if in["buoyancy"] == "yes" {
				require.InEpsilon(t, r.float(t, "value"), got, 1e-12)
				return
			}
			require.InDelta(t, 0.00106, got/r.float(t, "value")-1, 0.00001)
		})
	}
	for _, tt := range []struct {
		g, celsius float64
		says       string
	}{{0, 20, "no filling"}, {-5, 20, "no filling"}, {500, 41, "0 to 40 °C"}, {500, math.NaN(), "0 to 40 °C"}} {
		_, err := WaterFill(reading.Mass(tt.g*float64(reading.Gram)), tt.celsius)
		require.ErrorContains(t, err, tt.says)
	}
}
