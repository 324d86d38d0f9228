package pour

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

// trial is a simulated pour before a pan of ours.
type trial struct {
	t *simulator.Trial
	Pan
	empty float64 // g that the display showed before anything was poured
}

// newTrial has a cup of 50 g on the pan, at rest.
func newTrial(t testing.TB, seed uint64, scale simulator.ScaleOptions, liquid simulator.Liquid) *trial {
	bench, err := simulator.NewTrial(simulator.TrialOptions{Seed: seed, Scale: scale, Liquid: liquid, Cup: 50 * reading.Gram})
	require.NoError(t, err)
	division := scale.Division
	if division == 0 {
		division = d
	}
	tr := &trial{t: bench, Pan: NewPan(division)}
	for !tr.Empty() {
		tr.step(t)
	}
	bench.Place()
	for !tr.Loaded() {
		tr.step(t)
	}
	tr.empty = tr.Value().Grams()
	return tr
}

func (tr *trial) step(t testing.TB) (fresh bool) {
	shown, fresh := tr.t.Step()
	require.Less(t, tr.t.Now(), time.Minute, "it takes too long")
	if fresh {
		m, _ := shown.Value.Mass()
		motion := reading.Moving
		if shown.Stable {
			motion = reading.Stable
		}
		tr.Take(reading.Reading{Value: shown.Value, Mass: m, Motion: motion, At: start.Add(shown.At)})
	}
	return fresh
}

// The simulated scale is a load cell with a sixth of the lag and a filter with the rest: what is found is the slower one.
func TestTheLagOfAScaleIsSeenInTheCupsArrival(t *testing.T) {
	for _, tt := range []struct {
		hz       float64
		lag      time.Duration
		division reading.Mass
	}{
		{50, 100 * time.Millisecond, d}, {20, 500 * time.Millisecond, d}, {10, 300 * time.Millisecond, d / 10},
		{10, 300 * time.Millisecond, d}, {10, time.Second, d}, {5, time.Second, d}, {5, 500 * time.Millisecond, reading.Gram},
	} {
		t.Run(fmt.Sprintf("%v at %v Hz by %v", tt.lag, tt.hz, tt.division), func(t *testing.T) {
			for seed := range uint64(20) {
				tr := newTrial(t, seed, simulator.ScaleOptions{RateHz: tt.hz, Lag: tt.lag, Division: tt.division, NoiseSD: 0.2}, simulator.Thin)
				lag, seen := tr.Lag()
				require.True(t, seen, "seed %d", seed)
				require.InDelta(t, tt.lag.Seconds()*5/6, lag.Seconds(), 0.02+0.15*tt.lag.Seconds(), "seed %d", seed)
			}
		})
	}
}

func TestALagThatCannotBeSeenIsNotGuessed(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0")
	lag, seen := s.Lag()
	require.False(t, seen, "the cup came between two lines")
	require.Equal(t, 300*time.Millisecond, lag)
	s = newScript(t).rest("0.0").lines("0.4m 0.9m 1.2m 1.4m").rest("1.5")
	_, seen = s.Lag()
	require.False(t, seen, "a load of few divisions tells nothing")
}

// Against the simulator's truth: in a steady stream the estimate is near what is on the pan, where the display is seconds
// of flow behind; and its own standard deviation is not far from the truth.
func TestTheEstimateIsNearTheTruthWhereTheDisplayIsNot(t *testing.T) {
	for _, tt := range []struct {
		name       string
		scale      simulator.ScaleOptions
		flow, most float64 // g/s; mean error in seconds of flow
	}{
		{"a fast stream, 0.1 g", simulator.ScaleOptions{}, 12, 0.09},
		{"a fast stream on a slow scale", simulator.ScaleOptions{RateHz: 5, Lag: time.Second, NoiseSD: 0.2}, 12, 0.25},
		{"a dribble, 0.1 g", simulator.ScaleOptions{}, 1, 0.1},
		{"a dribble below a division a second", simulator.ScaleOptions{Division: reading.Gram, NoiseSD: 0.2}, 0.9, 0.5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var off, flows, display []float64
			for seed := range uint64(20) {
				tr := newTrial(t, seed, tt.scale, simulator.Thin)
				began := tr.t.Now()
				for tr.t.Now() < began+10*time.Second {
					tr.t.Pour(tt.flow)
					if fresh := tr.step(t); !fresh || tr.t.Now() < began+4*time.Second {
						continue
					}
					shown := tr.Value().Grams() - tr.empty
					truth := (tr.t.Landed() + tr.t.OnItsWay() + tr.t.OnLip()).Grams()
					e := tr.Estimate()
					off, flows, display = append(off, truth-shown-e.Ahead), append(flows, e.Flow), append(display, truth-shown)
				}
			}
			require.InDelta(t, 0, stat.Mean(off, nil), tt.most*tt.flow)
			require.InEpsilon(t, tt.flow, stat.Mean(flows, nil), 0.05)
			if tt.flow > 1 {
				require.Less(t, 3*stat.Mean(off, nil), stat.Mean(display, nil), "the display itself is that much behind")
			}
		})
	}
}

// anyEstimator is one in a state that it may come to, with a covariance that is one.
func anyEstimator(rt *rapid.T) *estimator {
	number := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(rt, name) }
	k := &estimator{lag: time.Duration(rapid.Int64Range(20, 2000).Draw(rt, "lag in ms")) * time.Millisecond, running: true}
	k.x = [states]float64{
		iShown: number("shown", -3, 300), iLeft: number("left", -3, 300), iFlow: number("flow", -1, 30),
		iSoaked: number("soaked", 0, 30), iTail: number("tail", shortest, longest),
	}
	k.x[iLip] = k.x[iTail] * number("share", 0, mostLip)
	root := mat.NewDense(states, states, nil)
	for i := range states * states {
		root.Set(i/states, i%states, number("root", -3, 3))
	}
	var p mat.Dense
	p.Mul(root, root.T())
	for i := range states {
		for j := range states {
			k.p[i][j] = p.At(i, j)
		}
	}
	return k
}

// The state's step against its differential equations, by Euler's method in 20 000 steps.
func TestTheStepAgainstTheDifferentialEquations(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		k, dt := anyEstimator(rt), rapid.Float64Range(0.005, 1).Draw(rt, "dt")
		y, m, u, q := k.x[iShown], k.x[iLeft], k.x[iSoaked], k.x[iFlow]
		const steps = 20_000
		h := dt / steps
		for range steps {
			y, m, u = y+h*(m-k.x[iLip]*u-y)/k.lag.Seconds(), m+h*q, u+h*(q-u)/k.x[iTail]
		}
		k.step(k.decays(dt), dt)
		require.InDelta(rt, y, k.x[iShown], 0.05)
		require.InDelta(rt, m, k.x[iLeft], 1e-6)
		require.InDelta(rt, u, k.x[iSoaked], 0.02)
	})
}

// The matrix of partial derivatives against differences of the step itself.
func TestTheTransitionIsTheStepsDerivative(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		k, dt := anyEstimator(rt), rapid.Float64Range(0.005, 1).Draw(rt, "dt")
		k.x[iTail] = max(k.x[iTail], 0.12) // so that the difference stays within what a tail may be
		if lag := k.lag.Seconds(); math.Abs(k.x[iTail]-lag) < 0.01*lag {
			k.x[iTail] = 1.02 * lag // of two equal time constants one is taken for a little longer
		}
		f := k.transition(k.decays(dt), dt)
		const h = 1e-5
		for j := range states {
			above, below := *k, *k
			above.x[j] += h
			below.x[j] -= h
			above.step(above.decays(dt), dt)
			below.step(below.decays(dt), dt)
			for i := range states {
				numeric := (above.x[i] - below.x[i]) / (2 * h)
				if math.Abs(numeric-f[i][j]) > 2e-3*(1+math.Abs(numeric)) {
					rt.Fatalf("of %d with %d: %v, the difference says %v", i, j, f[i][j], numeric)
				}
			}
		}
	})
}

// F·P·Fᵀ and the update by hand against gonum's matrices.
func TestTheFilterAgainstGonumsMatrices(t *testing.T) {
	dense := func(m matrix) *mat.Dense {
		d := mat.NewDense(states, states, nil)
		for i := range states {
			d.SetRow(i, m[i][:])
		}
		return d
	}
	rapid.Check(t, func(rt *rapid.T) {
		k := anyEstimator(rt)
		dt, restless := rapid.Float64Range(0.005, 1).Draw(rt, "dt"), rapid.Float64Range(0, 2).Draw(rt, "restless")
		f, p := dense(k.transition(k.decays(dt), dt)), dense(k.p)
		p.Set(iFlow, iFlow, p.At(iFlow, iFlow)+restless*restless*dt)
		var fp, fpf mat.Dense
		fp.Mul(f, p)
		fpf.Mul(&fp, f.T())
		k.predict(dt, restless)
		same(rt, "predicted", k.p, &fpf)

		spread, off := fpf.At(iShown, iShown)+rapid.Float64Range(0.01, 1).Draw(rt, "noise"), rapid.Float64Range(-0.01, 0.01).Draw(rt, "off")
		share, learns := rapid.Float64Range(0, 1).Draw(rt, "share"), rapid.Bool().Draw(rt, "learns")
		before := k.x
		var after mat.Dense
		after.Outer(-share/spread, fpf.ColView(iShown), fpf.ColView(iShown))
		after.Add(&fpf, &after)
		kept := iLip // the rows and columns of what is only considered stay as they are among themselves
		if learns {
			kept = iTail
		}
		for i := kept; i < states; i++ {
			for j := kept; j < states; j++ {
				after.Set(i, j, fpf.At(i, j))
			}
		}
		k.update(iShown, off, spread, share, learns)
		same(rt, "updated", k.p, &after)
		for i := range kept {
			want := before[i] + fpf.At(i, iShown)/spread*off
			if i != iSoaked && i != iLip && math.Abs(k.x[i]-want) > 1e-9*(1+math.Abs(want)) {
				rt.Fatalf("figure %d: %v, gonum says %v", i, k.x[i], want)
			}
		}
		require.Equal(rt, before[iTail], k.x[iTail], "the tail is only considered")
	})
}

func same(rt *rapid.T, what string, got matrix, want *mat.Dense) {
	for i := range states {
		for j := range states {
			if w := want.At(i, j); math.Abs(got[i][j]-w) > 1e-8*(1+math.Abs(w)+mat.Norm(want, 2)) {
				rt.Fatalf("%s, covariance of %d and %d: %v, gonum says %v", what, i, j, got[i][j], w)
			}
		}
	}
}

// Mean and variance of a normal that is cut off, against the integrals by gonum's quadrature.
func TestWhatARoundedValueTells(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		sd, off := rapid.Float64Range(0.05, 5).Draw(rt, "sd"), rapid.Float64Range(-3, 3).Draw(rt, "off")
		normal := distuv.Normal{Sigma: sd}
		moment := func(n float64) float64 {
			return quad.Fixed(func(x float64) float64 { return math.Pow(x, n) * normal.Prob(x) }, off-0.5, off+0.5, 60, nil, 0)
		}
		within := moment(0)
		if within < 1e-6 {
			rt.Skip("nowhere near")
		}
		wantMean := moment(1) / within
		wantVariance := moment(2)/within - wantMean*wantMean
		mean, variance, share := rounded(off, 1, sd*sd)
		require.InDelta(rt, wantMean, mean, 1e-6)
		require.InDelta(rt, wantVariance, variance*(1-share), 1e-6*(1+sd*sd))
	})
	mean, variance, share := rounded(40, 1, 1)
	require.Equal(t, []float64{40, 1 + 1.0/12, 1}, []float64{mean, variance, share}, "what is nowhere near is taken as it is")
}

func TestATouchOnThePanIsNoFlowUntilItPersists(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0").rest("50.0")
	before := s.Estimate()
	s.lines("53.0m")
	require.InDelta(t, 50, s.estimate.x[iLeft], 0.3, "one value far off is not believed")
	s.lines("50.0m 50.0m 50.0m")
	require.InDelta(t, before.Flow, s.Estimate().Flow, 1, "and leaves nothing behind")
	s.lines("53.0m 53.0m")
	require.InDelta(t, 50, s.estimate.x[iLeft], 0.3)
	s.lines("53.0m 53.0m 53.0m 53.0m 53.0m 53.0m")
	require.InDelta(t, 53, s.estimate.x[iLeft], 1, "what stays is believed, within half a second from the time that it counts as staying")
	s.lines("53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m")
	require.InDelta(t, 53, s.estimate.x[iLeft], 0.3)
	require.InDelta(t, 0, s.Estimate().Flow, 1)
	s.lines("50.0m 56.0m 50.0m 56.0m 50.0m 56.0m")
	require.InDelta(t, 53, s.estimate.x[iLeft], 1, "outliers on both sides never persist")
}

// A hand that is known to come to the flow it is asked for is expected to, so that the estimate is there before the display.
func TestAHandThatHeedsIsExpectedTo(t *testing.T) {
	off := map[bool]float64{}
	for _, heeds := range []bool{false, true} {
		for seed := range uint64(20) {
			tr := newTrial(t, seed, simulator.ScaleOptions{Lag: time.Second, RateHz: 5}, simulator.Thin)
			tr.pourFrom(FirstHabit("thin"))
			flow, began, told := 10.0, tr.t.Now(), false
			for tr.t.Now() < began+5600*time.Millisecond {
				if tr.t.Now() >= began+5*time.Second && !told {
					tr.estimate.asked = asked{by: tr.Now.At.Add(1500 * time.Millisecond), to: 1, lag: 0.4, heeds: heeds}
					told = true
				}
				if tr.t.Now() >= began+5300*time.Millisecond { // a reaction later
					flow = 1
				}
				tr.t.Pour(flow)
				tr.step(t)
			}
			off[heeds] += math.Abs(tr.Estimate().Flow-tr.t.Tipped()) / 20
		}
	}
	require.Less(t, off[true], 0.65*off[false])
}

// What was on the lip when a scale fell silent has landed when it speaks again, and is not expected once more.
func TestTheLipRunsOffWhileAScaleIsSilent(t *testing.T) {
	g := newGuided(t)
	g.guide = NewGuide(FirstHabit("paste"))
	g.stream(500, 50)
	require.Greater(t, g.estimate.film(), 2.0)
	g.at = g.at.Add(30 * time.Second)
	g.line(530, "m")
	require.InDelta(t, 0, g.estimate.film(), 0.01)
	require.InDelta(t, 0, g.Estimate().Ahead, 0.2)
}

// Whatever the lines and their times, be it that a clock was set back, the estimate is a number, of a vessel as there may be,
// and so is what is learned.
func TestTheEstimateIsAlwaysANumber(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		pan, guide := NewPan(d), NewGuide(FirstHabit(rapid.SampledFrom([]string{"thin", "thick", "paste"}).Draw(rt, "viscosity")))
		at := start
		for range rapid.IntRange(1, 200).Draw(rt, "lines") {
			at = at.Add(time.Duration(rapid.Int64Range(-5_000, 3_000).Draw(rt, "ms")) * time.Millisecond)
			if rapid.IntRange(0, 20).Draw(rt, "interrupt") == 0 {
				pan.Silence()
			}
			v := reading.Value{Digits: rapid.Int64Range(-90_000_000, 90_000_000).Draw(rt, "digits"), Decimals: 1, Unit: reading.UnitG}
			m, _ := v.Mass()
			pan.Take(reading.Reading{Value: v, Mass: m, Motion: reading.MotionUnknown, At: at})
			guide.Take(&pan, aimOf100, m, pan.Estimate())
			e, h := pan.Estimate(), guide.Habit(m, d)
			for _, f := range []float64{e.Ahead, e.SD, e.Flow, e.FlowSD, e.Cov, e.sdAfter(1), h.Stop.Seconds, h.Lip.Seconds, h.Lip.SD, h.Tail.Seconds, h.Slowest} {
				if math.IsNaN(f) || math.IsInf(f, 0) {
					rt.Fatalf("%+v, %+v", e, h)
				}
			}
			if k := &pan.estimate; k.x[iSoaked] < -d.Grams() || k.x[iLip] < 0 || k.x[iLip] > mostLip*k.x[iTail] {
				rt.Fatalf("no such vessel: %v", k.x)
			}
		}
	})
}

// A thin liquid's tail and the lag of a scale that has not shown its own are the same: they are the limit of different ones.
func TestEqualTimeConstants(t *testing.T) {
	after := func(tail float64) *estimator {
		k := &estimator{x: [states]float64{iLeft: 10, iFlow: 2, iSoaked: 5, iLip: 0.1, iTail: tail}}
		k.predict(0.1, 0.5)
		return k
	}
	equal, other := after(firstLag.Seconds()), after(1.02*firstLag.Seconds())
	for i := range states - 1 {
		require.InDelta(t, other.x[i], equal.x[i], 0.02)
	}
}
