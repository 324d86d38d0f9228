package pour

import (
	"encoding/csv"
	"math"
	"math/big"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

func TestSlopeOfAStraightLine(t *testing.T) {
	for _, tt := range []struct {
		name  string
		every time.Duration
		lines int
		flow  float64 // g/s
		from  float64 // g
	}{
		{"ten lines a second", 100 * time.Millisecond, 30, 12.5, 123.4},
		{"fifty lines a second", 20 * time.Millisecond, 200, 0.05, 123.4},
		{"more lines than are kept", time.Millisecond, 1000, 200, 123.4},
		{"one line a second", time.Second, 5, 3, 123.4},
		{"a falling value", 100 * time.Millisecond, 10, -40, 123.4},
		{"a still value", 100 * time.Millisecond, 10, 0, 123.4},
		{"a trickle into four tonnes", 100 * time.Millisecond, 10, 0.05, 4e6},
		{"three lines", 100 * time.Millisecond, 3, 8, 123.4},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var line trail
			for i := range tt.lines {
				after := time.Duration(i) * tt.every
				m, _ := reading.FromGrams(tt.from)
				more, _ := reading.FromGrams(tt.flow * after.Seconds())
				line.add(start.Add(after), m+more)
			}
			require.InDelta(t, tt.flow, line.slope(), 1e-9*math.Max(1, math.Abs(tt.flow)))
		})
	}
}

func TestSlopeOfTooLittleIsZero(t *testing.T) {
	var line trail
	require.Zero(t, line.slope())
	line.add(start, 0)
	line.add(start.Add(time.Second), reading.Gram)
	require.Zero(t, line.slope(), "two readings")
	line = trail{}
	for i := range 5 { // five lines in one chunk arrive at one time
		line.add(start, reading.Mass(i)*reading.Gram)
	}
	require.Zero(t, line.slope(), "no time has passed")
}

func TestTheTrailForgetsWhatIsOlderThanItsWindow(t *testing.T) {
	var line trail
	for i := range 20 {
		line.add(start.Add(time.Duration(i)*100*time.Millisecond), reading.Mass(i)*reading.Gram) // 10 g/s
	}
	for i := 20; i <= 26; i++ { // seven values over 0.6 s: all that is kept
		line.add(start.Add(time.Duration(i)*100*time.Millisecond), 20*reading.Gram)
	}
	require.Zero(t, line.slope())
	line = trail{}
	line.add(start, reading.Gram)
	for i := 3; i <= 6; i++ {
		line.add(start.Add(time.Duration(i)*100*time.Millisecond), 0)
	}
	require.Negative(t, line.slope(), "a value just 0.6 s old is kept")
}

// The slope is checked against gonum's own linear regression, an independent two-pass formula.
func TestSlopeAgainstGonum(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var line trail
		var xs, ys []float64
		at, m := start, reading.Mass(rapid.Int64Range(-1_000_000, 60_000_000).Draw(rt, "first"))*reading.Gram/10000
		first, base := at, m
		// As many lines as fit the ring and the window, so that gonum has the same ones.
		for range rapid.IntRange(restReadings, 32).Draw(rt, "lines") {
			line.add(at, m)
			xs, ys = append(xs, at.Sub(first).Seconds()), append(ys, (m-base).Grams())
			at = at.Add(time.Duration(rapid.Int64Range(1, 18_000_000).Draw(rt, "ns")))
			m += reading.Mass(rapid.Int64Range(-100, 400).Draw(rt, "tenths of a milligram")) * reading.Gram / 10000
		}
		_, want := stat.LinearRegression(xs, ys, nil, false)
		if got := line.slope(); math.Abs(got-want) > 1e-8*math.Max(1, math.Abs(want)) {
			rt.Fatalf("slope %v, gonum says %v", got, want)
		}
	})
}

// NIST Statistical Reference Datasets, Linear Regression, Norris (36 observations; certified slope 1.00211681802045).
// A trail holds 32 readings, so the certified value first proves an exact slope in fractions, and that judges the trail
// over each run of 32. One unit of x is half a millisecond here and one unit of y a gram: all exact.
func TestSlopeAgainstNISTNorris(t *testing.T) {
	file, err := os.Open("testdata/norris.csv")
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	rows = rows[1:] // y,x
	require.Len(t, rows, 36)
	certified, _ := exactSlope(t, rows).Float64()
	require.InEpsilon(t, 1.00211681802045, certified, 1e-14)

	var line trail
	for i, row := range rows {
		x, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		y, err := reading.ParseMass(row[0] + " g")
		require.NoError(t, err)
		line.add(start.Add(time.Duration(math.Round(x*10))*50*time.Microsecond), y)
		if i+1 < 32 {
			continue
		}
		want, _ := exactSlope(t, rows[i-31:i+1]).Float64()
		require.InEpsilon(t, 2000*want, line.slope(), 1e-12, "rows %d to %d", i-30, i+1)
	}
}

// exactSlope is the least-squares slope without any rounding.
func exactSlope(t *testing.T, rows [][]string) *big.Rat {
	var sx, sy, sxx, sxy big.Rat
	for _, row := range rows {
		y, ok := new(big.Rat).SetString(row[0])
		require.True(t, ok)
		x, ok := new(big.Rat).SetString(row[1])
		require.True(t, ok)
		sx.Add(&sx, x)
		sy.Add(&sy, y)
		sxx.Add(&sxx, new(big.Rat).Mul(x, x))
		sxy.Add(&sxy, new(big.Rat).Mul(x, y))
	}
	n := big.NewRat(int64(len(rows)), 1)
	over := new(big.Rat).Sub(new(big.Rat).Mul(n, &sxy), new(big.Rat).Mul(&sx, &sy))
	under := new(big.Rat).Sub(new(big.Rat).Mul(n, &sxx), new(big.Rat).Mul(&sx, &sx))
	return over.Quo(over, under)
}
