package batch

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
)

// dropwise is a scale of 0.1 g, noisy by 0.3 of that, onto which drops fall. One that tracks its zero moves it after a
// load within half a division of it, by half a division a second (OIML R 76-1, from memory: 0.5 d a second at most, only
// at zero and in equilibrium).
type dropwise struct {
	*bench
	random *rand.Rand
	load   float64 // g on the pan, without what the display is net of
	zero   float64
	tracks bool
	shown  []float64
}

func (w *dropwise) run(d time.Duration, grams float64, every time.Duration) (drops int) {
	next := time.Duration(0)
	for now := time.Duration(0); now < d; now += 100 * time.Millisecond {
		if every > 0 && now >= next {
			w.load += grams
			next += every
			drops++
		}
		net := w.load - w.zero
		value := math.Round(10*(net+0.03*w.random.NormFloat64())) / 10
		w.shown = append(w.shown, value)
		motion := reading.Stable
		for _, v := range w.shown[max(0, len(w.shown)-6):] {
			if math.Abs(v-value) > 0.11 {
				motion = reading.Moving
			}
		}
		if w.tracks && motion == reading.Stable && math.Abs(net) <= 0.05 {
			w.zero += max(-0.005, min(net, 0.005))
		}
		w.line(value, motion)
	}
	return drops
}

// drops lets forty of them fall into the cup that the bench has, and leaves them at rest.
func (w *dropwise) drops(grams float64, every time.Duration) float64 {
	n := w.run(40*every, grams, every)
	require.Equal(w.t, 40, n)
	w.run(3*time.Second, 0, 0)
	return 40 * grams
}

func TestFortyDropsAreCountedToOneDivision(t *testing.T) {
	for _, every := range []time.Duration{300 * time.Millisecond, time.Second, 3 * time.Second} {
		for seed := range uint64(20) {
			b := benchWith(t, "302.5 g", paste()).part("A", 200)
			b.handedOver()
			w := &dropwise{bench: b, random: rand.New(rand.NewPCG(seed, 'D')), load: 250, tracks: true}
			poured := w.drops(0.03, every)
			require.Equal(t, "paste", *b.view().Part)
			require.InDelta(t, poured, grams(b.view().Poured), 0.1+1e-9, "a drop each %v, seed %d", every, seed)
			require.True(t, b.view().Provable)
		}
	}
}

func TestDropsOntoAScaleThatWasTaredAtItsOwnKey(t *testing.T) {
	tared := func(t *testing.T) *dropwise {
		b := benchWith(t, "302.5 g", paste()).part("A", 200)
		b.kind = reading.Net
		b.rest(0, 5*time.Second)
		return &dropwise{bench: b, random: rand.New(rand.NewPCG(1, 'D')), tracks: true}
	}
	t.Run("what a zero that is tracked swallows leaves a doubt", func(t *testing.T) {
		w := tared(t)
		poured := w.drops(0.04, 700*time.Millisecond)
		require.Less(t, grams(w.view().Poured), poured-0.05, "some was swallowed, else nothing is tested")
		require.Contains(t, w.state.Doubt, "tared at its own key")
		require.NoError(t, w.act(Act{Action: "accept"}))
		require.Equal(t, metrology.Unproven, w.finished())
	})
	t.Run("where all of it is swallowed nothing is accepted, and it is said why", func(t *testing.T) {
		w := tared(t)
		w.drops(0.03, time.Second)
		require.NoError(t, w.act(Act{Action: "b_begins"}))
		require.ErrorContains(t, w.act(Act{Action: "accept"}), "tared at its own key")
	})
	t.Run("a stream is too fast to be swallowed", func(t *testing.T) {
		w := tared(t)
		w.part("paste", 2)
		require.Empty(t, w.state.Doubt)
		require.Equal(t, metrology.Within, w.finished())
	})
	t.Run("an addition that the ratio does not depend on leaves no doubt", func(t *testing.T) {
		b := benchWith(t, "302 g", addition("black", "a", 1, "after_a", "none")).part("A", 200)
		b.kind = reading.Net
		b.rest(0, 5*time.Second)
		w := &dropwise{bench: b, random: rand.New(rand.NewPCG(1, 'D')), tracks: true}
		w.drops(0.04, 700*time.Millisecond)
		require.Empty(t, b.state.Doubt)
	})
}
