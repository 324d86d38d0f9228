package pour

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// shaken is a pan whose values are noisy by so many divisions about a mass in grams that goes by a law, for 20 s, and how
// long it was settled.
func shaken(t *testing.T, sd float64, seed uint64, grams func(time.Duration) float64) (p Pan, settled time.Duration) {
	p = NewPan(d)
	random := rand.New(rand.NewPCG(seed, 'N'))
	for now := time.Duration(0); now < 20*time.Second; now += 100 * time.Millisecond {
		v := reading.Value{Digits: int64(math.Round(10*grams(now) + sd*random.NormFloat64())), Decimals: 1, Unit: reading.UnitG}
		m, ok := v.Mass()
		require.True(t, ok)
		p.Take(reading.Reading{Value: v, Mass: m, At: start.Add(now)})
		if p.Settled(0) {
			settled += 100 * time.Millisecond
		}
	}
	return p, settled
}

func TestTheBandOfRestFollowsTheNoiseSeen(t *testing.T) {
	still := func(time.Duration) float64 { return 50 }
	for seed := range uint64(20) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			quiet, _ := shaken(t, 0.1, seed, still)
			require.Equal(t, d, quiet.Band())
			noisy, settled := shaken(t, 0.7, seed, still)
			require.Greater(t, noisy.Band(), d)
			require.LessOrEqual(t, noisy.Band(), 5*d)
			require.Greater(t, settled, 8*time.Second, "else nothing could ever be accepted there")
			pan, settled := shaken(t, 0.7, seed, func(now time.Duration) float64 { return 50 + 0.5*now.Seconds() })
			require.Equal(t, d, pan.Band(), "five divisions a second are a pour, no noise")
			require.Less(t, settled, 2*time.Second, "by chance")
			storm, settled := shaken(t, 4, seed, still)
			require.Equal(t, d, storm.Band(), "what spreads further is not at rest")
			require.Less(t, settled, time.Second)
		})
	}
}

func TestOfAFewLinesASecondNoNoiseIsKnown(t *testing.T) {
	s := newScript(t)
	for range 10 {
		s.lines("+300ms 50.0u +300ms 50.2u +300ms 50.1u")
	}
	require.Equal(t, d, s.Band())
}

func TestTheBandNarrowsAgain(t *testing.T) {
	s := newScript(t)
	for range 20 {
		s.lines("50.0u 50.2u 50.1u 49.9u 50.1u")
	}
	require.Equal(t, 4*d, s.Band(), "three divisions of spread and one")
	require.True(t, s.Settled(0))
	for range 50 {
		s.lines("50.1u")
	}
	require.Equal(t, d, s.Band())
}
