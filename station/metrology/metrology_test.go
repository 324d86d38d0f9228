package metrology

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

const decigram = reading.Gram / 10

// drawn is a sequence of weighings and what they are judged by. Divisions are from 0.001 to 5 g.
func drawn(t *rapid.T) (m Model, w []Weighing, r float64, tol Tolerance, d reading.Mass) {
	d = reading.Gram / 1000 * rapid.SampledFrom([]reading.Mass{1, 10, 20, 100, 500, 1000, 5000}).Draw(t, "d_mg")
	r = rapid.Float64Range(0.01, 5).Draw(t, "r")
	tol = Tolerance{-rapid.Float64Range(0, 6).Draw(t, "low"), rapid.Float64Range(0.1, 6).Draw(t, "high")}
	m = Model{
		Repeatability: d * reading.Mass(rapid.IntRange(0, 20).Draw(t, "s")) / 10,
		Linearity:     d * reading.Mass(rapid.IntRange(0, 10).Draw(t, "l")) / 10,
		DensityU:      rapid.SampledFrom([]float64{0, 0.0004, 0.004}).Draw(t, "density_u"),
	}
	a := d * reading.Mass(rapid.IntRange(0, 20000).Draw(t, "a"))
	w = []Weighing{{Part: 'A', Mass: a, FromD: d, ToD: d}}
	add := func(part byte, share float64, label string) {
		mass := grams(t, share*r*a.Grams())
		if part == 'A' {
			mass = grams(t, share*a.Grams())
		}
		w = append(w, Weighing{Part: part, Mass: mass.FloorTo(d), FromD: d, ToD: d, Shared: rapid.Bool().Draw(t, label)})
	}
	switch rapid.SampledFrom([]string{"B", "B in two", "correction"}).Draw(t, "open") {
	case "B":
		add('B', 1, "shared")
	case "B in two":
		add('B', rapid.Float64Range(0, 1.2).Draw(t, "before"), "shared")
		add('B', 0.1, "again")
	case "correction":
		add('B', rapid.Float64Range(1, 1.5).Draw(t, "over"), "shared")
		add('A', 0.1, "corrected")
	}
	return m, w, r, tol, d
}

// judged is the verdict when the open part's total is as given.
func judged(m Model, w []Weighing, r float64, tol Tolerance, total reading.Mass) Verdict {
	w = append([]Weighing(nil), w...)
	open := &w[len(w)-1]
	open.Mass = 0
	a, b := Totals(w)
	if open.Part == 'A' {
		b = a
	}
	open.Mass = total - b
	_, _, v := m.Judgement(w, r, tol)
	return v
}

func TestEveryStepInsideTheWindowIsWithinAndNoOtherIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, w, r, tol, d := drawn(t)
		win, provable := m.Window(w, r, tol, d)
		require.LessOrEqual(t, win.Low, win.High)
		if !provable {
			for total := win.Low; total <= win.High && total < win.Low+4000*d; total += d {
				require.NotEqual(t, Within, judged(m, w, r, tol, total), "%v", total)
			}
			return
		}
		require.GreaterOrEqual(t, win.Low, win.LimitLow)
		require.LessOrEqual(t, win.High, win.LimitHigh)
		steps := int64((win.High - win.Low) / d)
		require.Zero(t, (win.High-win.Low)%d)
		for range 20 {
			n := reading.Mass(rapid.Int64Range(0, steps).Draw(t, "step"))
			require.Equal(t, Within, judged(m, w, r, tol, win.Low+n*d), "%v", win.Low+n*d)
		}
		require.Equal(t, Within, judged(m, w, r, tol, win.Low))
		require.Equal(t, Within, judged(m, w, r, tol, win.High))
		require.NotEqual(t, Within, judged(m, w, r, tol, win.Low-d))
		require.NotEqual(t, Within, judged(m, w, r, tol, win.High+d))
	})
}

func TestWindowOfACorrectionIsThatOfAForTheBInTheCup(t *testing.T) {
	// By hand: B 103.5 g at r 0.5 wants A 207 g; ±2 % leaves A from 103.5/0.51 to 103.5/0.49.
	w := []Weighing{
		{Part: 'A', Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram},
		{Part: 'B', Mass: 1035 * decigram, FromD: decigram, ToD: decigram, Shared: true},
		{Part: 'A', FromD: decigram, ToD: decigram, Shared: true},
	}
	m := Model{Repeatability: 41 * reading.Gram / 1000}
	win, provable := m.Window(w, 0.5, Tolerance{-2, 2}, decigram)
	require.True(t, provable)
	require.Equal(t, "202.941176 g", win.LimitLow.String())
	require.Equal(t, "211.22449 g", win.LimitHigh.String())
	require.Equal(t, Within, judged(m, w, 0.5, Tolerance{-2, 2}, 207*reading.Gram))
	require.Equal(t, Within, judged(m, w, 0.5, Tolerance{-2, 2}, win.Low))
	require.NotEqual(t, Within, judged(m, w, 0.5, Tolerance{-2, 2}, win.Low-decigram))
}

func TestWindowStandsOnWhatThePartAlreadyHolds(t *testing.T) {
	held := 40*reading.Gram + 3*reading.Gram/100 // weighed on a finer division than the one now in force
	w := []Weighing{
		{Part: 'A', Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram},
		{Part: 'B', Mass: held, FromD: decigram, ToD: decigram, Shared: true},
		{Part: 'B', FromD: decigram, ToD: decigram},
	}
	win, provable := Model{}.Window(w, 0.5, Tolerance{-2, 2}, decigram)
	require.True(t, provable)
	require.Zero(t, (win.Low-held)%decigram)
	require.Zero(t, (win.High-held)%decigram)
}

func TestWindowsThatHoldNothing(t *testing.T) {
	open := func(a, d reading.Mass) []Weighing {
		return []Weighing{{Part: 'A', Mass: a, FromD: d, ToD: d}, {Part: 'B', FromD: d, ToD: d, Shared: true}}
	}
	for _, tt := range []struct {
		name      string
		a, d      reading.Mass
		low, high string
	}{
		{"no A: nothing but nothing is asked for", 0, decigram, "0 g", "0 g"},
		{"a division wider than the limits leaves the limits", 31 * reading.Gram, 5 * reading.Gram, "15.19 g", "15.81 g"},
		{"a speck of A", 1, decigram, "0 g", "0 g"},
		{"no division: the limits", 200 * reading.Gram, 0, "98 g", "102 g"},
		{"steps inside the limits, none of them provable", 20 * reading.Gram, decigram, "9.8 g", "10.2 g"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			win, provable := Model{}.Window(open(tt.a, tt.d), 0.5, Tolerance{-2, 2}, tt.d)
			require.False(t, provable)
			require.Equal(t, tt.low, win.Low.String())
			require.Equal(t, tt.high, win.High.String())
		})
	}
}

func TestNothingIsProvenWithoutBothParts(t *testing.T) {
	for _, w := range [][]Weighing{
		{{Part: 'A', Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram}},
		{{Part: 'B', Mass: 100 * reading.Gram, FromD: decigram, ToD: decigram}},
		{{Part: 'A', Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram}, {Part: 'B', Mass: -decigram, FromD: decigram, ToD: decigram, Shared: true}},
		{},
	} {
		require.True(t, math.IsInf(Model{}.RatioU(w), 1))
		_, _, v := Model{}.Judgement(w, 0.5, Tolerance{-2, 2})
		require.Equal(t, Unproven, v)
	}
	require.Equal(t, Unproven, Judge(math.NaN(), 0.1, Tolerance{-2, 2}))
}

func TestDensitiesTooCoarseForTheToleranceLeaveNoSmallestBatch(t *testing.T) {
	w := []Weighing{{Part: 'A', FromD: decigram, ToD: decigram}, {Part: 'B', FromD: decigram, ToD: decigram, Shared: true}}
	provable, pourable := Model{DensityU: 0.0101}.SmallestBatch(w, 0.5, Tolerance{-2, 2}, decigram)
	require.True(t, math.IsInf(provable, 1) && math.IsInf(pourable, 1))
}

func TestSmallestBatchSolvesItsEquation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, w, r, tol, d := drawn(t)
		provable, _ := m.SmallestBatch(w, r, tol, d)
		if math.IsInf(provable, 1) {
			return
		}
		b := provable * r / (1 + r)
		uB := 2 * b * m.variance(w).u(b/r, b)
		require.InEpsilon(t, b*(tol.HighPct-tol.LowPct)/200, 2*d.Grams()+uB, 1e-9)
	})
}

// The ratio's spread when every reading, linearity error and density is drawn (JCGM 101:2008): readings are drawn one
// by one and subtracted, so that nothing of the formula is used.
func TestDrawnReadingsSpreadAsTheFormulaSays(t *testing.T) {
	const draws = 200_000
	d := reading.Gram
	for _, tt := range []struct {
		name string
		m    Model
		w    []Weighing
	}{
		{"one after the other", Model{Repeatability: reading.Gram}, []Weighing{
			{Part: 'A', Mass: 200 * d, FromD: d, ToD: d}, {Part: 'B', Mass: 100 * d, FromD: d, ToD: d, Shared: true}}},
		{"B in two, lifted between", Model{Repeatability: reading.Gram, Linearity: reading.Gram}, []Weighing{
			{Part: 'A', Mass: 150 * d, FromD: d, ToD: d}, {Part: 'B', Mass: 60 * d, FromD: d, ToD: d, Shared: true}, {Part: 'B', Mass: 140 * d, FromD: d, ToD: d}}},
		{"corrected, on two divisions, by volume", Model{Repeatability: reading.Gram / 2, Linearity: reading.Gram / 2, DensityU: 0.004}, []Weighing{
			{Part: 'A', Mass: 200 * d, FromD: d / 2, ToD: d}, {Part: 'B', Mass: 104 * d, FromD: d, ToD: d, Shared: true}, {Part: 'A', Mass: 8 * d, FromD: d, ToD: 2 * d, Shared: true}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 2))
			ratios := make([]float64, draws)
			for i := range ratios {
				ratios[i] = drawRatio(rng, tt.m, tt.w)
			}
			mean, sd := stat.MeanStdDev(ratios, nil)
			require.InEpsilon(t, sd/mean, tt.m.RatioU(tt.w), 0.03)
		})
	}
}

// drawRatio weighs once: B/A from readings with normal errors.
func drawRatio(rng *rand.Rand, m Model, w []Weighing) float64 {
	rectangular := func(half float64) float64 { return half * (2*rng.Float64() - 1) }
	readingError := func(d reading.Mass) float64 {
		s := max(m.Repeatability.Grams(), d.Grams()/math.Sqrt(6))
		return rng.NormFloat64() * s / math.Sqrt2
	}
	var a, b, last float64
	for _, x := range w {
		first := readingError(x.FromD)
		if x.Shared {
			first = last
		}
		last = readingError(x.ToD)
		difference := x.Mass.Grams() + last - first + rectangular(m.Linearity.Grams())
		if x.Part == 'A' {
			a += difference
		} else {
			b += difference
		}
	}
	return b / a * (1 + rectangular(m.DensityU*math.Sqrt(3)))
}

func BenchmarkWindowOfAMillionSteps(b *testing.B) {
	d := reading.Gram / 100_000
	w := []Weighing{{Part: 'A', Mass: 1000 * reading.Gram, FromD: d, ToD: d}, {Part: 'B', FromD: d, ToD: d, Shared: true}}
	b.ReportAllocs()
	for b.Loop() {
		Model{}.Window(w, 0.5, Tolerance{-2, 2}, d)
	}
}
