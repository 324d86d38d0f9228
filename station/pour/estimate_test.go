package pour

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
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
					truth := (tr.t.Landed() + tr.t.OnItsWay()).Grams()
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

// F·P·Fᵀ and the update by hand against gonum's matrices.
func TestTheFilterAgainstGonumsMatrices(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		number := func(name string) float64 { return rapid.Float64Range(-3, 3).Draw(rt, name) }
		root := mat.NewDense(3, 3, nil)
		for i := range 9 {
			root.Set(i/3, i%3, number("root"))
		}
		var p mat.Dense
		p.Mul(root, root.T())
		k := estimator{y: number("y"), m: number("m"), q: number("q"), yy: p.At(0, 0), ym: p.At(0, 1), yq: p.At(0, 2), mm: p.At(1, 1), mq: p.At(1, 2), qq: p.At(2, 2),
			lag: time.Duration(rapid.Int64Range(20, 2000).Draw(rt, "lag")) * time.Millisecond, running: true}
		x := mat.NewVecDense(3, []float64{k.y, k.m, k.q})
		dt, restless := rapid.Float64Range(0.005, 1).Draw(rt, "dt"), rapid.Float64Range(0, 2).Draw(rt, "restless")
		tau := k.lag.Seconds()
		a := math.Exp(-dt / tau)
		f := mat.NewDense(3, 3, []float64{a, 1 - a, dt - tau*(1-a), 0, 1, dt, 0, 0, 1})
		p.Set(2, 2, p.At(2, 2)+restless*restless*dt)
		var fp, fpf mat.Dense
		fp.Mul(f, &p)
		fpf.Mul(&fp, f.T())
		var fx mat.VecDense
		fx.MulVec(f, x)
		k.predict(dt, restless)
		same(rt, "predicted", k, &fx, &fpf)

		spread, off := fpf.At(0, 0)+rapid.Float64Range(0.01, 1).Draw(rt, "noise"), number("off")
		for i := range 3 {
			fx.SetVec(i, fx.AtVec(i)+fpf.At(i, 0)/spread*off)
		}
		var after mat.Dense
		after.Outer(-1/spread, fpf.ColView(0), fpf.ColView(0))
		after.Add(&fpf, &after)
		k.update(off, spread)
		same(rt, "updated", k, &fx, &after)
	})
}

func same(rt *rapid.T, what string, k estimator, x *mat.VecDense, p *mat.Dense) {
	want := []float64{x.AtVec(0), x.AtVec(1), x.AtVec(2), p.At(0, 0), p.At(0, 1), p.At(0, 2), p.At(1, 1), p.At(1, 2), p.At(2, 2)}
	for i, got := range []float64{k.y, k.m, k.q, k.yy, k.ym, k.yq, k.mm, k.mq, k.qq} {
		if math.Abs(got-want[i]) > 1e-9*(1+math.Abs(want[i])) {
			rt.Fatalf("%s, figure %d: %v, gonum says %v", what, i, got, want[i])
		}
	}
}

func TestATouchOnThePanIsNoFlowUntilItPersists(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0").rest("50.0")
	before := s.Estimate()
	s.lines("53.0m")
	require.InDelta(t, 50, s.estimate.m, 0.3, "one value far off is not believed")
	s.lines("50.0m 50.0m 50.0m")
	require.InDelta(t, before.Flow, s.Estimate().Flow, 1, "and leaves nothing behind")
	s.lines("53.0m 53.0m")
	require.InDelta(t, 50, s.estimate.m, 0.3)
	s.lines("53.0m 53.0m 53.0m 53.0m 53.0m 53.0m")
	require.InDelta(t, 53, s.estimate.m, 1, "what stays is believed, within half a second from the time that it counts as staying")
	s.lines("53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m 53.0m")
	require.InDelta(t, 53, s.estimate.m, 0.3)
	require.InDelta(t, 0, s.Estimate().Flow, 1)
	s.lines("50.0m 56.0m 50.0m 56.0m 50.0m 56.0m")
	require.InDelta(t, 53, s.estimate.m, 1, "outliers on both sides never persist")
}

// Whatever the lines and their times, the estimate is a number.
func TestTheEstimateIsAlwaysANumber(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		pan := NewPan(d)
		at := start
		for range rapid.IntRange(1, 200).Draw(rt, "lines") {
			at = at.Add(time.Duration(rapid.Int64Range(0, 3_000).Draw(rt, "ms")) * time.Millisecond)
			v := reading.Value{Digits: rapid.Int64Range(-90_000_000, 90_000_000).Draw(rt, "digits"), Decimals: 1, Unit: reading.UnitG}
			m, _ := v.Mass()
			pan.Take(reading.Reading{Value: v, Mass: m, Motion: reading.MotionUnknown, At: at})
			e := pan.Estimate()
			for _, f := range []float64{e.Ahead, e.SD, e.Flow, e.FlowSD} {
				if math.IsNaN(f) || math.IsInf(f, 0) {
					rt.Fatalf("%+v", e)
				}
			}
		}
	})
}
