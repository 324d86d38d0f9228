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

var twoPct = Tolerance{LowPct: -2, HighPct: 2}

// drawn is a sequence of weighings and what they are judged by. Divisions are from 0.001 to 5 g.
func drawn(t *rapid.T) (m Model, w []Weighing, r float64, tol Tolerance, d reading.Mass) {
	d = reading.Gram / 1000 * rapid.SampledFrom([]reading.Mass{1, 10, 20, 100, 500, 1000, 5000}).Draw(t, "d_mg")
	r = rapid.Float64Range(0.01, 5).Draw(t, "r")
	tol = Tolerance{LowPct: -rapid.Float64Range(0, 6).Draw(t, "low"), HighPct: rapid.Float64Range(0.1, 6).Draw(t, "high")}
	scale := func() Scale {
		return Scale{
			Repeatability: d * reading.Mass(rapid.IntRange(0, 20).Draw(t, "s")) / 10,
			Linearity:     d * reading.Mass(rapid.IntRange(0, 10).Draw(t, "l")) / 10,
			GainU:         rapid.SampledFrom([]float64{0, 0.0005, 0.003}).Draw(t, "gain_u"),
		}
	}
	m = Model{
		Scales:   []Scale{scale(), scale()},
		Counts:   map[string]Share{"as a": {A: 0.5}, "as b": {B: 0.8}},
		DensityU: rapid.SampledFrom([]float64{0, 0.0004, 0.004}).Draw(t, "density_u"),
	}
	a := d * reading.Mass(rapid.IntRange(0, 20000).Draw(t, "a"))
	w = []Weighing{{Part: "A", Mass: a, FromD: d, ToD: d}}
	add := func(part string, share float64, label string) {
		mass := grams(t, share*r*a.Grams())
		if part != "B" {
			mass = grams(t, share*a.Grams())
		}
		x := Weighing{Part: part, Mass: mass.FloorTo(d), FromD: d, ToD: d, Shared: rapid.Bool().Draw(t, label)}
		if rapid.IntRange(0, 3).Draw(t, "scale") == 0 {
			x.Scale, x.Shared = 1, false
		}
		w = append(w, x)
	}
	between := rapid.SampledFrom([]string{"", "as a", "as b", "pigment"}).Draw(t, "between")
	if between != "" {
		add(between, min(0.05, r/4), "addition shared")
	}
	switch rapid.SampledFrom([]string{"B", "B in two", "correction"}).Draw(t, "open") {
	case "B":
		add("B", 1, "shared")
	case "B in two":
		add("B", rapid.Float64Range(0, 1.2).Draw(t, "before"), "shared")
		add("B", 0.1, "again")
	case "correction":
		add("B", rapid.Float64Range(1, 1.5).Draw(t, "over"), "shared")
		add("A", 0.1, "corrected")
	}
	if rapid.Bool().Draw(t, "addition to come") {
		add(rapid.SampledFrom([]string{"as a", "as b"}).Draw(t, "to come"), 0, "shared")
		w[len(w)-1].Mass, w[len(w)-1].Follows = a/1000, min(0.05, r/4)
	}
	return m, w, r, tol, d
}

// judged is the verdict when the open part's total is as given.
func judged(m Model, w []Weighing, r float64, tol Tolerance, total reading.Mass) Verdict {
	w = append([]Weighing(nil), w...)
	open := &w[len(w)-1]
	if follows := open.Follows; follows > 0 {
		more, _ := reading.FromGrams(follows * total.Grams())
		open.Mass += more
		open = &w[len(w)-2]
	}
	open.Mass = 0
	a, b := Totals(w)
	if open.Part == "A" {
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
		{Part: "A", Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram},
		{Part: "B", Mass: 1035 * decigram, FromD: decigram, ToD: decigram, Shared: true},
		{Part: "A", FromD: decigram, ToD: decigram, Shared: true},
	}
	m := Model{Scales: []Scale{{Repeatability: 41 * reading.Gram / 1000}}}
	win, provable := m.Window(w, 0.5, twoPct, decigram)
	require.True(t, provable)
	require.Equal(t, "202.941176 g", win.LimitLow.String())
	require.Equal(t, "211.22449 g", win.LimitHigh.String())
	require.Equal(t, Within, judged(m, w, 0.5, twoPct, 207*reading.Gram))
	require.Equal(t, Within, judged(m, w, 0.5, twoPct, win.Low))
	require.NotEqual(t, Within, judged(m, w, 0.5, twoPct, win.Low-decigram))
}

func TestWindowStandsOnWhatThePartAlreadyHolds(t *testing.T) {
	held := 40*reading.Gram + 3*reading.Gram/100 // weighed on a finer division than the one now in force
	w := []Weighing{
		{Part: "A", Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram},
		{Part: "B", Mass: held, FromD: decigram, ToD: decigram, Shared: true},
		{Part: "B", FromD: decigram, ToD: decigram},
	}
	win, provable := Model{}.Window(w, 0.5, twoPct, decigram)
	require.True(t, provable)
	require.Zero(t, (win.Low-held)%decigram)
	require.Zero(t, (win.High-held)%decigram)
}

func TestWindowsThatHoldNothing(t *testing.T) {
	open := func(a, d reading.Mass) []Weighing {
		return []Weighing{{Part: "A", Mass: a, FromD: d, ToD: d}, {Part: "B", FromD: d, ToD: d, Shared: true}}
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
			win, provable := Model{}.Window(open(tt.a, tt.d), 0.5, twoPct, tt.d)
			require.False(t, provable)
			require.Equal(t, tt.low, win.Low.String())
			require.Equal(t, tt.high, win.High.String())
		})
	}
}

func TestNothingIsProvenWithoutBothParts(t *testing.T) {
	for _, w := range [][]Weighing{
		{{Part: "A", Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram}},
		{{Part: "B", Mass: 100 * reading.Gram, FromD: decigram, ToD: decigram}},
		{{Part: "A", Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram}, {Part: "B", Mass: -decigram, FromD: decigram, ToD: decigram, Shared: true}},
		{},
	} {
		require.True(t, math.IsInf(Model{}.RatioU(w), 1))
		_, _, v := Model{}.Judgement(w, 0.5, twoPct)
		require.Equal(t, Unproven, v)
	}
	require.Equal(t, Unproven, Judge(math.NaN(), 0.1, twoPct))
}

func TestDensitiesTooCoarseForTheToleranceLeaveNoSmallestBatch(t *testing.T) {
	w := []Weighing{{Part: "A", FromD: decigram, ToD: decigram}, {Part: "B", FromD: decigram, ToD: decigram, Shared: true}}
	provable, pourable := Model{DensityU: 0.0101}.SmallestBatch(w, 0.5, twoPct, decigram)
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
		a0, b0 := m.Equivalents(w)
		uB := 2 * b * m.variance(w).u(b/r, b, m.gain(w, a0, b0))
		require.InEpsilon(t, b*(tol.HighPct-tol.LowPct)/200, 2*d.Grams()+uB, 1e-9)
	})
}

func TestAnAdditionToComeOnAnotherScaleBringsThatScalesGain(t *testing.T) {
	m := Model{Scales: []Scale{{}, {GainU: 0.05}}, Counts: map[string]Share{"as b": {B: 1}}}
	w := []Weighing{
		{Part: "A", Mass: 200 * reading.Gram, FromD: decigram, ToD: decigram},
		{Part: "B", FromD: decigram, ToD: decigram, Shared: true},
		{Part: "as b", Follows: 0.2, FromD: decigram, ToD: decigram, Scale: 1},
	}
	win, provable := m.Window(w, 0.5, twoPct, decigram)
	require.True(t, provable)
	require.Equal(t, "83.333333 g", win.Target.String()) // 100 g of what counts as B, a sixth of it still to come
	require.Equal(t, Within, judged(m, w, 0.5, twoPct, win.Low))
	require.Equal(t, Within, judged(m, w, 0.5, twoPct, win.High))
	require.NotEqual(t, Within, judged(m, w, 0.5, twoPct, win.Low-decigram))
	require.NotEqual(t, Within, judged(m, w, 0.5, twoPct, win.High+decigram))
}

// The ratio's spread when every reading, linearity error and density is drawn (JCGM 101:2008): readings are drawn one
// by one and subtracted, so that nothing of the formula is used.
func TestDrawnReadingsSpreadAsTheFormulaSays(t *testing.T) {
	const draws = 200_000
	d := reading.Gram
	on := func(scales ...Scale) Model {
		return Model{Scales: scales, Counts: map[string]Share{"half as a": {A: 0.5}}}
	}
	byVolume := on(Scale{Repeatability: reading.Gram / 2, Linearity: reading.Gram / 2})
	byVolume.DensityU = 0.004
	for _, tt := range []struct {
		name string
		m    Model
		w    []Weighing
	}{
		{"one after the other", on(Scale{Repeatability: reading.Gram}), []Weighing{
			{Part: "A", Mass: 200 * d, FromD: d, ToD: d}, {Part: "B", Mass: 100 * d, FromD: d, ToD: d, Shared: true}}},
		{"B in two, lifted between", on(Scale{Repeatability: reading.Gram, Linearity: reading.Gram}), []Weighing{
			{Part: "A", Mass: 150 * d, FromD: d, ToD: d}, {Part: "B", Mass: 60 * d, FromD: d, ToD: d, Shared: true}, {Part: "B", Mass: 140 * d, FromD: d, ToD: d}}},
		{"corrected, on two divisions, by volume", byVolume, []Weighing{
			{Part: "A", Mass: 200 * d, FromD: d / 2, ToD: d}, {Part: "B", Mass: 104 * d, FromD: d, ToD: d, Shared: true}, {Part: "A", Mass: 8 * d, FromD: d, ToD: 2 * d, Shared: true}}},
		{"an addition between that counts half as A", on(Scale{Repeatability: reading.Gram, Linearity: reading.Gram / 2}), []Weighing{
			{Part: "A", Mass: 100 * d, FromD: d, ToD: d}, {Part: "half as a", Mass: 60 * d, FromD: d, ToD: d, Shared: true}, {Part: "B", Mass: 65 * d, FromD: d, ToD: d, Shared: true}}},
		{"B on a scale of its own, an addition that counts there too", on(Scale{Repeatability: 2 * d, GainU: 0.01}, Scale{Repeatability: d / 10, GainU: 0.02}), []Weighing{
			{Part: "A", Mass: 2000 * d, FromD: 2 * d, ToD: 2 * d}, {Part: "half as a", Mass: 600 * d, FromD: d / 10, ToD: d / 10, Scale: 1},
			{Part: "B", Mass: 75 * d, FromD: d / 10, ToD: d / 10, Scale: 1}}},
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

// drawRatio weighs once: B/A from readings and gains with normal errors, linearity and densities with rectangular ones.
func drawRatio(rng *rand.Rand, m Model, w []Weighing) float64 {
	rectangular := func(half float64) float64 { return half * (2*rng.Float64() - 1) }
	readingError := func(s Scale, d reading.Mass) float64 {
		return rng.NormFloat64() * max(s.Repeatability.Grams(), d.Grams()/math.Sqrt(6)) / math.Sqrt2
	}
	gains := make([]float64, len(m.Scales))
	for i, s := range m.Scales {
		gains[i] = 1 + s.GainU*rng.NormFloat64()
	}
	var a, b, last float64
	for _, x := range w {
		s := m.Scales[x.Scale]
		first := readingError(s, x.FromD)
		if x.Shared {
			first = last
		}
		last = readingError(s, x.ToD)
		difference := gains[x.Scale]*x.Mass.Grams() + last - first + rectangular(s.Linearity.Grams())
		switch x.Part {
		case "A":
			a += difference
		case "B":
			b += difference
		default:
			a += m.Counts[x.Part].A * difference
			b += m.Counts[x.Part].B * difference
		}
	}
	return b / a * (1 + rectangular(m.DensityU*math.Sqrt(3)))
}

func BenchmarkWindowOfAMillionSteps(b *testing.B) {
	d := reading.Gram / 100_000
	w := []Weighing{{Part: "A", Mass: 1000 * reading.Gram, FromD: d, ToD: d}, {Part: "B", FromD: d, ToD: d, Shared: true}}
	b.ReportAllocs()
	for b.Loop() {
		Model{}.Window(w, 0.5, twoPct, d)
	}
}
