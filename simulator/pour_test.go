package simulator

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

// left is what has left a jug, and where all of it is.
func left(b *Bench, part int) (released, found reading.Mass) {
	found = b.cup.contents[part] + b.lost[part]
	for _, m := range b.stream.falling {
		found += m[part]
	}
	return b.jugs[part].released, found
}

func TestNothingPouredIsLostOrMade(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, err := New(Options{Seed: rapid.Uint64().Draw(t, "seed"), A: Thick})
		require.NoError(t, err)
		for range rapid.IntRange(1, 40).Draw(t, "moves") {
			b.See(Sight{Part: rapid.SampledFrom([]string{"A", "B"}).Draw(t, "part"), Phase: rapid.SampledFrom([]string{"cup", "pour"}).Draw(t, "phase")})
			// A cup that is there already or not there at all is refused: nothing else may happen then.
			b.Do(rapid.SampledFrom([]string{"cup", "lift", "tip", "tip", "rest"}).Draw(t, "move"), rapid.Float64Range(0, 1).Draw(t, "tip"))
			b.Advance(time.Duration(rapid.IntRange(0, 3000).Draw(t, "ms")) * time.Millisecond)
			for part := range b.jugs {
				released, found := left(b, part)
				require.Equal(t, released, found)
				require.GreaterOrEqual(t, b.jugs[part].film, reading.Mass(0))
				require.GreaterOrEqual(t, b.jugs[part].hanging, reading.Mass(0))
			}
		}
	})
}

func TestTruthIsTheCupsContentsByPart(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{})})
	require.NoError(t, b.Do("cup", 0))
	require.NoError(t, b.Do("tip", 0.2)) // no screen yet: A
	b.Advance(5 * time.Second)
	b.See(Sight{Part: "B"})
	require.NoError(t, b.Do("tip", 0.1)) // A is righted; what of it still falls is A
	b.Advance(5 * time.Second)
	require.NoError(t, b.Do("rest", 0))
	shown := shownGrams(t, b.Advance(5*time.Second))

	ofA, ofB := b.Truth()
	require.InDelta(t, (b.cup.empty + ofA + ofB).Grams(), shown[len(shown)-1], 0.05+1e-9) // half a division
	require.Equal(t, b.jugs[partA].released, ofA)
	require.Equal(t, b.jugs[partB].released, ofB)
	require.InDelta(t, 0.2*60*5, ofA.Grams(), 0.2) // tilt × Max × time: a linear response gives all of it in the end
	require.InDelta(t, 0.1*60*5, ofB.Grams(), 0.2)

	require.NoError(t, b.Do("lift", 0))
	b.Advance(5 * time.Second)
	liftedA, liftedB := b.Truth()
	require.Equal(t, []reading.Mass{ofA, ofB}, []reading.Mass{liftedA, liftedB})
}

// A linear system in the end gives its input: after a long pour at Max what still comes is Max × Ramp out of the mouth and
// the Tail off the lip (derived), but for less than a drop that stays.
func TestTailOfARightedJugHasTheStatedMassAndTime(t *testing.T) {
	for name, liquid := range map[string]Liquid{"thin": Thin, "thick": Thick} {
		t.Run(name, func(t *testing.T) {
			j := newJug(liquid)
			j.tilt = 1
			for range 4000 {
				j.step()
			}
			require.InEpsilon(t, liquid.Tail.Grams(), j.film.Grams(), 0.02) // a Step over TailFor
			j.tilt = 0
			var late reading.Mass
			var last time.Duration
			for now := time.Duration(0); now < 30*time.Second; now += Step {
				if m := j.step(); m > 0 {
					late, last = late+m, now
				}
			}
			want := liquid.Max*liquid.Ramp.Seconds() + liquid.Tail.Grams()
			require.InEpsilon(t, want, late.Grams(), 0.05)
			require.Greater(t, last, 3*liquid.TailFor, "it drips on for several time constants")
			require.Less(t, j.film+j.hanging, liquid.Drop)
		})
	}
}

func TestThickTailRunsOnLongerThanThin(t *testing.T) {
	tail := func(l Liquid) (late reading.Mass) {
		j := newJug(l)
		j.tilt = j.tip(10)
		for range 2000 {
			j.step()
		}
		j.tilt = 0
		for i := range 2000 {
			if m := j.step(); i > 200 { // a second after it was righted
				late += m
			}
		}
		return late
	}
	require.Zero(t, tail(Thin))
	require.Greater(t, tail(Thick), reading.Gram)
}

func TestBelowTheSlowestSteadyFlowTheStreamFallsInDrops(t *testing.T) {
	j := newJug(Thin)
	j.tilt = j.tip(0.1)
	falls, total := 0, reading.Mass(0)
	for range int(20 * time.Second / Step) {
		m := j.step()
		require.Zero(t, m%Thin.Drop)
		if m > 0 {
			falls++
		}
		total += m
	}
	require.InDelta(t, 0.1*20, total.Grams(), 0.06)
	require.InDelta(t, 83, falls, 4) // 2 g in drops of 24 mg

	j.tilt = j.tip(2)
	for range 400 {
		j.step()
	}
	for range 100 {
		require.Positive(t, j.step(), "a stream does not break")
	}
}

// What falls from rest arrives with v = g·t: a steady stream presses by as much as is on its way (derived).
func TestSteadyStreamPressesByWhatIsInFlight(t *testing.T) {
	var s stream
	for range 100 {
		arriving := s.step(masses{50 * reading.Gram / 1000, 0})
		var flying reading.Mass
		for _, m := range s.falling {
			flying += m[partA]
		}
		if arriving[partA] > 0 {
			require.Equal(t, 30*50*reading.Gram/1000, flying) // 0.15 s of 10 g/s
			require.Equal(t, float64(flying), strike(arriving))
		}
	}
}

func TestPlacedCupKnocksAndComesToRest(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{RateHz: 50, Baud: 115200, Lag: 30 * time.Millisecond})})
	b.Advance(time.Second)
	require.NoError(t, b.Do("cup", 0))
	shown := shownGrams(t, b.Advance(5*time.Second))
	rest := b.cup.empty.Grams()
	highest := 0.0
	for _, g := range shown {
		highest = max(highest, g)
	}
	require.Greater(t, highest, rest+0.5)
	require.InDelta(t, rest, shown[len(shown)-1], 0.05+1e-9)
	require.InDelta(t, 20, rest, 1.2+1e-9) // three times the spread of 2 %
}
