package rehearse

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"twocup/station/pour"
)

// cell of the grid by its name.
func cell(t require.TestingT, name string) Cell {
	cells, err := Grid()
	require.NoError(t, err)
	for _, c := range cells {
		if c.Name() == name {
			return c
		}
	}
	require.Fail(t, "no such cell", name)
	return Cell{}
}

// By hand, of a flow alone, the lip being dry: values at s = 1, 0.5, 0.25 g lacking of an end of 10 g are 9, 9.5, 9.75. Means 7/12 and 113/12; Σ(s − s̄)² = 7/24, and
// Σ(s − s̄)(y − ȳ) = −7/24. With a variance of 1/24 g² and a prior of 0 ± 1 g/s the inverse variance is 1 + 7 = 8, the mean
// 7/8, and what is not exceeded with 0.99 at 0.25 g lacking (7/8 + 2.3263/√8)/4 = 0.42438 g.
func TestThreeValuesByHand(t *testing.T) {
	s := smoother{sd: [2]float64{1, 1}, noise: 1.0 / 24, bearable: 0.43}
	for i, lacking := range []float64{1, 0.5, 0.25} {
		s.pour = runOff{filter: lacking, mouth: lacking, ramp: 1}
		s.take(time.Duration(i+1)*time.Second, 10-lacking)
	}
	mean, cov := s.posterior()
	require.InDelta(t, 7.0/8, mean[0], 1e-12)
	require.InDelta(t, 1.0/8, cov[0][0], 1e-12)
	require.Zero(t, cov[0][1])
	require.InDelta(t, 0.42438, s.most([2]float64{0.25, 0}), 1e-5)
	require.Equal(t, 3*time.Second, s.ended, "0.42 g is bearable, what was left before was not")
	require.Equal(t, 3*time.Second, s.stood)
	s.bearable = 0.42
	s.ended = 0
	s.take(4*time.Second, 9.75)
	require.Equal(t, 4*time.Second, s.ended, "one more value makes it surer")
}

// The posterior against gonum's: generalised least squares over M, q and f with the prior of q and f as two more
// observations, solved by QR.
func TestThePosteriorIsGonumsLeastSquaresWithThePriorAsObservations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(low, high float64, name string) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
		s := smoother{noise: square(number(0.01, 1, "noise"))}
		for i := range s.mean {
			s.mean[i], s.sd[i] = number(0, 5, "mean"), number(0.1, 5, "sd")
		}
		n := rapid.IntRange(1, 20).Draw(t, "values")
		a, b := mat.NewDense(n+2, 3, nil), mat.NewVecDense(n+2, nil)
		for i := range n {
			x, y := [2]float64{number(0, 3, "pour"), number(0, 3, "lip")}, number(90, 110, "shown")
			s.pour, s.lip = runOff{filter: x[0]}, runOff{filter: x[1]}
			s.take(0, y)
			sd := math.Sqrt(s.noise)
			a.SetRow(i, []float64{1 / sd, -x[0] / sd, -x[1] / sd})
			b.SetVec(i, y/sd)
		}
		for i := range s.mean {
			a.Set(n+i, 1+i, 1/s.sd[i])
			b.SetVec(n+i, s.mean[i]/s.sd[i])
		}
		var want mat.VecDense
		if err := want.SolveVec(a, b); err != nil {
			t.Fatal(err)
		}
		var weight, covariance mat.Dense
		weight.Mul(a.T(), a)
		if err := covariance.Inverse(&weight); err != nil {
			t.Fatal(err)
		}
		mean, cov := s.posterior()
		for i := range mean {
			if math.Abs(mean[i]-want.AtVec(1+i)) > 1e-5 {
				t.Fatalf("mean %d: %v, gonum says %v", i, mean[i], want.AtVec(1+i))
			}
			for j := range mean {
				if math.Abs(cov[i][j]-covariance.At(1+i, 1+j)) > 1e-6 {
					t.Fatalf("covariance %d, %d: %v, gonum says %v", i, j, cov[i][j], covariance.At(1+i, 1+j))
				}
			}
		}
	})
}

func TestSurenessIsGonumsQuantile(t *testing.T) {
	require.InDelta(t, distuv.UnitNormal.Quantile(0.99), sureness, 1e-12)
}

// What the smoother takes for the way to the end is the simulator's: a steady flow is stopped over a scale without noise.
func TestTheRunOffIsTheSimulators(t *testing.T) {
	for _, name := range []string{thinJug, thickJug, thickestJug, tap} {
		t.Run(name, func(t *testing.T) {
			c := cell(t, name)
			c.Scale.Noise, c.Scale.Division, c.Liquid.Drop = -1, 0.001, 0.001
			c.Job.Part = 100 // for the cup
			trial, err := c.trial(1)
			require.NoError(t, err)
			trial.Place()
			var flows []float64
			for trial.Now() < 30*time.Second {
				trial.Pour(c.Slowest)
				trial.Step()
				flows = append(flows, trial.Flow())
			}
			trial.Right()
			flow := stat.Mean(flows[len(flows)-200:], nil)
			pour, lip := newRunOffs(c)
			q, f := flow, flow*pour.share*c.liquid().TailFor.Seconds()
			coming := trial.StillToCome().Grams()
			require.InDelta(t, coming, q*pour.coming()+f*lip.coming(), 0.1*coming, "a hand's flow wanders")
			q, f = q*coming/(q*pour.coming()+f*lip.coming()), f*coming/(q*pour.coming()+f*lip.coming())
			for range 400 {
				trial.Step()
				pour.step()
				lip.step()
				require.InDelta(t, trial.StillToCome().Grams(), q*pour.coming()+f*lip.coming(), 0.04*coming)
				require.InDelta(t, (trial.Behind() + trial.StillToCome() - trial.OnItsWay()).Grams(), q*pour.filter+f*lip.filter, 0.08*coming)
			}
		})
	}
}

// Rounded values of a place that moves little share their error. The shares of the variance are those of simulated
// rounding: the mean of rounded noise at each of many places, against the place.
func TestRoundingThatNoiseDoesNotEvenOut(t *testing.T) {
	for _, noise := range []float64{0.05, 0.12, 0.2, 0.3} {
		var shared []float64
		normal := distuv.Normal{Mu: 0, Sigma: noise}
		for place := -0.5; place < 0.5; place += 0.01 {
			mean := 0.0
			for n := -3.0; n <= 3; n++ {
				mean += n * (normal.CDF(n+0.5-place) - normal.CDF(n-0.5-place))
			}
			shared = append(shared, square(mean-place))
		}
		require.InDelta(t, stat.Mean(shared, nil), variance(noise, 2)-variance(noise, 1), 1e-4, "noise %v d", noise)
	}
	require.InDelta(t, 0.3*0.3+1.0/12, variance(0.3, 1), 1e-12)
	require.InDelta(t, 1.0/6, variance(0, 2), 2e-3, "nothing evens out: two values of one place tell as much as one")
}

// The smoother keeps its promise: what is still to land when it is sure is half a division or one last drop, in all but a
// few pours of a hundred. Of a thick liquid in a wide window it is not sure of so little before the pour is over.
func TestTheSmootherIsRightWhenItIsSure(t *testing.T) {
	sure, wrong := 0, 0
	thickTap := "tap 1000 g at 40 g/s, thick, d 1 g 10 Hz lag 0.3 s, reaction 0.273 s" // much more on the lip than the last flow left
	for _, name := range []string{thinJug, thickJug, thickestJug, tap, thickTap} {
		c := cell(t, name)
		habit := pour.FirstHabit(c.Liquid.Viscosity)
		for n := range uint64(40) {
			coming := -1.0
			_, learned, err := c.one(Guided, ReportingSeed+500+n, habit, 0, func(p *run) {
				if p.smooth.ended != 0 && coming < 0 {
					coming = p.t.StillToCome().Grams()
				}
			})
			require.NoError(t, err)
			habit = learned
			if coming >= 0 {
				sure++
			}
			wrong += int(as(coming > max(c.Scale.Division/2, c.Liquid.Drop)))
		}
	}
	require.Greater(t, sure, 80)
	t.Logf("%d of %d sure too early", wrong, sure)
	require.LessOrEqual(t, wrong, 4, "of %d", sure)
}
