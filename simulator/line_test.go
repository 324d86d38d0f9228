package simulator

import (
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The lines are written here by hand from the description of the shape status-comma (common practice, no source).
func TestLinesHaveTheirExactText(t *testing.T) {
	d := func(n int64) display { return display{divisions: n} }
	for _, tt := range []struct {
		name  string
		scale ScaleOptions
		shown display
		line  string
	}{
		{"net and stable", ScaleOptions{Division: reading.Gram / 100}, display{divisions: 12345, stable: true, net: true}, "ST,NT,+00123.45  g\r\n"},
		{"gross and moving", ScaleOptions{}, d(1523), "US,GS,+000152.3  g\r\n"},
		{"zero has a plus", ScaleOptions{}, display{stable: true}, "ST,GS,+000000.0  g\r\n"},
		{"negative", ScaleOptions{}, d(-1), "US,GS,-000000.1  g\r\n"},
		{"grams without decimals", ScaleOptions{Division: reading.Gram}, d(152), "US,GS,+00000152  g\r\n"},
		{"a division of five", ScaleOptions{Division: reading.Gram / 20}, d(3), "US,GS,+00000.15  g\r\n"},
		{"a division of 20 g", ScaleOptions{Division: 20 * reading.Gram, Capacity: 60 * reading.Kilogram}, d(-2), "US,GS,-00000040  g\r\n"},
		{"kilograms", ScaleOptions{Unit: "kg", Division: 10 * reading.Gram, Capacity: 60 * reading.Kilogram}, d(-10), "US,GS,-00000.10 kg\r\n"},
		{"kilograms by 0.1 g", ScaleOptions{Unit: "kg"}, display{divisions: 60001, stable: true}, "ST,GS,+006.0001 kg\r\n"},
		{"kilograms by one", ScaleOptions{Unit: "kg", Division: reading.Kilogram, Capacity: 60 * reading.Kilogram}, d(7), "US,GS,+00000007 kg\r\n"},
		{"six decimals", ScaleOptions{Division: reading.Gram / 1_000_000, Capacity: 5 * reading.Gram}, d(1), "US,GS,+0.000001  g\r\n"},
		{"over", ScaleOptions{Division: reading.Gram / 100}, display{divisions: 600100, over: true, stable: true}, "OL,GS,+99999.99  g\r\n"},
		{"over with a tare", ScaleOptions{}, display{divisions: -3, over: true, net: true}, "OL,NT,+999999.9  g\r\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			opt, err := tt.scale.withDefaults()
			require.NoError(t, err)
			f, err := newLineFormat(opt)
			require.NoError(t, err)
			require.Equal(t, tt.line, string(f.append(nil, tt.shown)))
			require.Len(t, tt.line, lineLength)
		})
	}
}
