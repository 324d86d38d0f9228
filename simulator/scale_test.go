package simulator

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

func testScale(t require.TestingT, opt ScaleOptions) *scale {
	opt, err := opt.withDefaults()
	require.NoError(t, err)
	face, _, err := firstFace(opt)
	require.NoError(t, err)
	return newScale(opt, face, 1)
}

// run lets a load act for a time and gives the last displayed value of it.
func run(s *scale, load func(time.Duration) float64, dt time.Duration) (last display) {
	for now, next := Step, s.period; now <= dt; now += Step {
		s.step(load(now))
		if now >= next {
			last, next = s.sample(), next+s.period
		}
	}
	return last
}

func constant(m reading.Mass) func(time.Duration) float64 {
	return func(time.Duration) float64 { return float64(m) }
}

// The step response of a first-order system: y(t) = 1 − exp(−t/τ) (textbook).
func TestLoadCellAnswersAStepAsAFirstOrderSystem(t *testing.T) {
	for _, tau := range []time.Duration{20 * time.Millisecond, 50 * time.Millisecond, time.Second} {
		f := newLowPass(tau)
		for now := Step; now < 5*tau; now += Step {
			f.step(1)
			require.InDelta(t, 1-math.Exp(-now.Seconds()/tau.Seconds()), f.y, 1e-12, "%v after a step, τ %v", now, tau)
		}
	}
}

// Two first-order systems in a row, textbook: y(t) = 1 − (τ1·exp(−t/τ1) − τ2·exp(−t/τ2))/(τ1 − τ2). The filter sees the
// cell's value of the step's end, so it may run ahead by one Step.
func TestDisplayAnswersAStepAsCellAndFilterInARow(t *testing.T) {
	for _, lag := range []time.Duration{100 * time.Millisecond, 300 * time.Millisecond, time.Second} {
		s := testScale(t, quiet(ScaleOptions{Lag: lag}))
		t1 := lag.Seconds() / 6
		t2 := lag.Seconds() - t1
		analytic := func(at time.Duration) float64 {
			t := at.Seconds()
			return 1 - (t1*math.Exp(-t/t1)-t2*math.Exp(-t/t2))/(t1-t2)
		}
		for now := Step; now < 5*lag; now += Step {
			s.step(1)
			require.GreaterOrEqual(t, s.filter.y, analytic(now)-1e-9)
			require.LessOrEqual(t, s.filter.y, analytic(now+Step)+1e-9)
		}
	}
}

func TestDisplayComesWithinOneDivisionOfALoadAtRest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom([]reading.Mass{reading.Gram / 100, reading.Gram / 10, reading.Gram / 2, 5 * reading.Gram}).Draw(t, "division")
		lag := time.Duration(rapid.IntRange(50, 1000).Draw(t, "lag in ms")) * time.Millisecond
		s := testScale(t, quiet(ScaleOptions{Division: d, Lag: lag}))
		load := reading.Mass(rapid.Int64Range(0, int64(6*reading.Kilogram)).Draw(t, "load"))
		// 20 lags: the slow part has 24 time constants, e^-24 of 6 kg is 0.2 µg.
		shown := run(s, constant(load), 20*lag+time.Second)
		require.LessOrEqual(t, (reading.Mass(shown.divisions)*d - load).Abs(), d/2+1)
		require.True(t, shown.stable)
	})
}

// JCGM 100:2008 F.2.2.1: rounding to a division d has the standard uncertainty d/√12; it adds to the noise as variances do
// (5.1.2). Loads lie anywhere within a division. Standard error of a standard deviation of n values: 1/√(2n), here 0.35 %.
func TestSpreadOfDisplayedValuesIsNoiseAndRounding(t *testing.T) {
	for _, noise := range []float64{-1, 0.3, 1} {
		s := testScale(t, ScaleOptions{NoiseSD: noise})
		d := float64(s.opt.Division)
		errors := make([]float64, 40_000)
		for i := range errors {
			s.filter.y = 1000*d + d*float64(i%1009)/1009
			errors[i] = float64(s.sample().divisions) - s.filter.y/d
		}
		want := math.Sqrt(math.Pow(max(noise, 0), 2) + 1.0/12)
		require.InEpsilon(t, want, stat.StdDev(errors, nil), 0.015, "noise %v d", noise)
		require.InDelta(t, 0, stat.Mean(errors, nil), 0.02)
	}
}

// Two values apart by two divisions or more cannot be one value or two adjacent ones, however they are rounded.
func TestScaleIsNeverStableWhileTwoDivisionsFlowInWithinItsWindow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := testScale(t, quiet(ScaleOptions{
			RateHz:    rapid.Float64Range(2, 50).Draw(t, "rate"),
			StableFor: time.Duration(rapid.IntRange(100, 2000).Draw(t, "window in ms")) * time.Millisecond,
		}))
		perWindow := rapid.Float64Range(2.05, 1000).Draw(t, "divisions in a window")
		// Values come at whole steps: those of a window may lie one closer together than their periods say.
		flow := perWindow * float64(s.opt.Division) / (s.opt.StableFor - Step).Seconds()
		load := func(now time.Duration) float64 { return flow * now.Seconds() }
		run(s, load, 3*time.Second) // the lag is over: the display rises as the load does
		for at, next := 3*time.Second, time.Duration(0); at < 10*time.Second; at += Step {
			s.step(load(at))
			if next += Step; next >= s.period {
				next -= s.period
				require.False(t, s.sample().stable)
			}
		}
	})
}

func TestScaleIsNotStableBeforeItHasSeenAWholeWindow(t *testing.T) {
	s := testScale(t, quiet(ScaleOptions{}))
	require.False(t, run(s, constant(0), 500*time.Millisecond).stable)
	require.True(t, run(s, constant(0), 100*time.Millisecond).stable)
}

func TestScaleShowsNoWeightAboveCapacityAndNineDivisions(t *testing.T) {
	// OIML R 76-1, from memory: no indication above Max + 9 e.
	for _, tt := range []struct {
		name string
		load reading.Mass
		over bool
	}{
		{"at capacity", 6 * reading.Kilogram, false},
		{"eight divisions above", grams(6000.8), false},
		{"ten divisions above", grams(6001.0), true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.over, run(testScale(t, ScaleOptions{}), constant(tt.load), 10*time.Second).over)
		})
	}
}

func TestTareIsAJumpToNetZeroWithNothingInBetween(t *testing.T) {
	s := testScale(t, quiet(ScaleOptions{}))
	run(s, constant(20*reading.Gram), 5*time.Second)
	require.NoError(t, s.pressTare())
	require.Equal(t, display{divisions: 0, tare: 200, stable: true, net: true}, s.sample())
	require.Equal(t, display{divisions: -200, tare: 200, stable: true, net: true}, run(s, constant(0), 5*time.Second))
	require.NoError(t, s.pressTare(), "at gross zero TARE clears the tare")
	require.Equal(t, display{stable: true}, s.sample())
}

func TestKeysDoNothingWhileTheScaleMoves(t *testing.T) {
	s := testScale(t, quiet(ScaleOptions{}))
	run(s, func(now time.Duration) float64 { return float64(reading.Gram) * now.Seconds() }, 5*time.Second)
	before := s.sample()
	require.ErrorIs(t, s.pressTare(), errNotStable)
	require.ErrorIs(t, s.pressZero(), errNotStable)
	require.Equal(t, before, s.sample())
}

func TestZeroWorksNearZeroOnly(t *testing.T) {
	s := testScale(t, quiet(ScaleOptions{}))
	run(s, constant(119*reading.Gram), 10*time.Second) // 2 % of 6 kg is 120 g
	require.NoError(t, s.pressZero())
	require.Equal(t, display{stable: true}, s.sample())
	run(s, constant(300*reading.Gram), 10*time.Second)
	require.ErrorContains(t, s.pressZero(), "2 % of capacity")
	require.Equal(t, int64(1810), s.sample().divisions)
}

func TestSwitchedOnAgainTheScaleTakesWhatStandsOnItForZero(t *testing.T) {
	s := testScale(t, quiet(ScaleOptions{}))
	run(s, constant(20*reading.Gram), 5*time.Second)
	require.NoError(t, s.pressTare())
	s.power(false)
	require.ErrorIs(t, s.pressTare(), errNotStable)
	run(s, constant(170*reading.Gram), 5*time.Second)
	s.power(true)
	require.Equal(t, display{}, s.sample(), "zero, gross, and not stable before a window has passed")
	require.Equal(t, display{divisions: -1700, stable: true}, run(s, constant(0), 5*time.Second))
}

// OIML R 76-1, from memory: zero tracking corrects at most 0.5 e a second.
func TestZeroTrackingSwallowsSlowDropsAndNoFasterOnes(t *testing.T) {
	for _, tt := range []struct {
		name     string
		tracking float64
		perS     float64 // divisions
		shown    bool
	}{
		{"0.3 divisions a second vanish", 0.5, 0.3, false},
		{"without tracking they show", 0, 0.3, true},
		{"one division a second shows", 0.5, 1, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := testScale(t, quiet(ScaleOptions{ZeroTracking: tt.tracking, StableFor: 200 * time.Millisecond}))
			run(s, constant(0), time.Second)
			flow := tt.perS * float64(s.opt.Division)
			last := run(s, func(now time.Duration) float64 { return flow * now.Seconds() }, 20*time.Second)
			require.Equal(t, tt.shown, last.divisions > 1, "shown: %d d", last.divisions)
		})
	}
}

func TestABenchThatCannotBeIsRefusedWithItsOption(t *testing.T) {
	for _, tt := range []struct {
		name, says string
		opt        Options
	}{
		{"negative division", "division -0.1 g", Options{Scale: ScaleOptions{Division: -reading.Gram / 10}}},
		{"capacity below a division", "capacity 1 g", Options{Scale: ScaleOptions{Division: 2 * reading.Gram, Capacity: reading.Gram}}},
		{"unknown unit", `unit of mass "st"`, Options{Scale: ScaleOptions{Unit: "st"}}},
		{"more digits than a line has", "8 places", Options{Scale: ScaleOptions{Division: reading.Gram / 10_000}}},
		{"a division that no decimal gives", "no decimal of 6 places in g", Options{Scale: ScaleOptions{Division: reading.Gram/3 + 1}}},
		{"rate", "rate 1000", Options{Scale: ScaleOptions{RateHz: 1000}}},
		{"rate that is no number", "rate NaN", Options{Scale: ScaleOptions{RateHz: math.NaN()}}},
		{"baud", "baud -1", Options{Scale: ScaleOptions{Baud: -1}}},
		{"frame", "frame 9N1", Options{Scale: ScaleOptions{Frame: "9N1"}}},
		{"frame that is none", `frame "8"`, Options{Scale: ScaleOptions{Frame: "8"}}},
		{"a lowest load above zero", "lowest load 1 g", Options{Scale: ScaleOptions{Lowest: reading.Gram}}},
		{"auto-off", "auto-off -1s", Options{Scale: ScaleOptions{AutoOff: -time.Second}}},
		{"damage", "rate of -0.1", Options{Damage: DamageOptions{Flip: -0.1}}},
		{"damage all over", "1.2 together", Options{Damage: DamageOptions{Flip: 0.6, Drop: 0.6}}},
		{"zero tracking", "zero tracking of 2", Options{Scale: ScaleOptions{ZeroTracking: 2}}},
		{"hand without flow", "hand", Options{Hand: HandOptions{Flow: -3}}},
		{"cup", "mass of -1 g", Options{Cup: -reading.Gram}},
		{"liquid", "jugs", Options{B: Liquid{Max: 3, Slowest: 5}}},
		{"a tail larger than the flow", "a tail of 500 g", Options{A: Liquid{Max: 60, Slowest: 1, Ramp: 1, Drop: 1, Tail: 500 * reading.Gram, TailFor: time.Second}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := New(tt.opt)
			require.ErrorContains(t, err, tt.says)
		})
	}
}
