package simulator

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// Whatever the hand does, what left the vessel has landed, is on its way or hangs at the lip; and what is said to be still
// to come comes.
func TestATrialLosesNothing(t *testing.T) {
	for _, liquid := range []Liquid{Thin, Thick} {
		trial, err := NewTrial(TrialOptions{Seed: 3, Liquid: liquid})
		require.NoError(t, err)
		trial.Place()
		for _, flow := range []float64{10, 0.05, 3, 25} {
			for end := trial.Now() + 3*time.Second; trial.Now() < end; {
				trial.Pour(flow)
				trial.Step()
				require.Equal(t, trial.jug.released, trial.Landed()+trial.OnItsWay())
			}
		}
		require.InDelta(t, 25, trial.Flow(), 25*0.2)
		trial.Right()
		landed, coming := trial.Landed(), trial.StillToCome()
		require.Greater(t, coming, 2*reading.Gram)
		for range int(30 * time.Second / Step) {
			trial.Step()
		}
		require.InDelta(t, (landed + coming).Grams(), trial.Landed().Grams(), 3*liquid.Drop.Grams())
		require.Less(t, trial.StillToCome(), liquid.Drop)
		require.InDelta(t, 0, trial.Behind().Grams(), 0.001)
	}
}

// A trial's display is the bench's: same scale, same lag, same stable flag.
func TestATrialShowsWhatItsScaleShows(t *testing.T) {
	trial, err := NewTrial(TrialOptions{Seed: 1, Scale: ScaleOptions{RateHz: 20, Division: reading.Gram, NoiseSD: -1}, Cup: 100 * reading.Gram})
	require.NoError(t, err)
	trial.Place()
	values, last := 0, Shown{}
	for trial.Now() < 5*time.Second {
		if shown, fresh := trial.Step(); fresh {
			values, last = values+1, shown
		}
	}
	require.Equal(t, 100, values, "twenty a second")
	require.True(t, last.Stable)
	m, _ := last.Value.Mass()
	require.InDelta(t, trial.cup.mass().Grams(), m.Grams(), 0.5)
	require.Zero(t, last.Value.Decimals)
}

func TestTrialsThatCannotBe(t *testing.T) {
	for name, opt := range map[string]TrialOptions{
		"a scale without a rate":  {Scale: ScaleOptions{RateHz: -1}},
		"a division of no digits": {Scale: ScaleOptions{Division: 1}},
		"a hand that never was":   {Hand: HandOptions{Flow: -1}},
		"a liquid without drops":  {Liquid: Liquid{Max: 1, Slowest: 0.5, Ramp: 1, TailFor: 1}},
	} {
		_, err := NewTrial(opt)
		require.ErrorContains(t, err, "set up the simulated", name)
	}
}
