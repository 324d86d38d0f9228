package pour

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// An exponential of 20 divisions, rounded to them and seen five times a second for so many of its time constants.
func TestTheTailOfARunOff(t *testing.T) {
	for _, tt := range []struct {
		name    string
		tail    float64
		seen    float64 // in time constants
		brings  float64 // divisions by then
		known   bool
		correct float64 // to so much of itself
	}{
		{"seen to its end", 1.5, 6, 20, true, 0.1},
		{"a long one seen to its end", 4, 6, 20, true, 0.1},
		{"cut off after two time constants", 3, 2, 20, true, 0.35},
		{"cut off before it can be told from a straight line", 3, 0.5, 20, false, 0},
		{"of a few divisions", 1.5, 6, 8, false, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			const d = 0.1
			random := rand.New(rand.NewPCG(1, 2))
			all := tt.brings * d / -math.Expm1(-tt.seen)
			var sum, n float64
			for range 40 {
				var r runOff
				phase := random.Float64() * d
				for at := 0.0; at <= tt.seen*tt.tail; at += 0.2 {
					r.take(start.Add(seconds(at)), math.Round((phase-all*math.Expm1(-at/tt.tail))/d)*d)
				}
				tail, sd, known := r.tail(d)
				require.Equal(t, tt.known, known)
				if known {
					require.Positive(t, sd)
					require.InDelta(t, tt.tail, tail, 4*sd+0.05)
					sum, n = sum+tail, n+1
				}
			}
			if tt.known {
				require.InEpsilon(t, tt.tail, sum/n, tt.correct)
			}
		})
	}
}

func TestARunOffOfNothingTellsNothing(t *testing.T) {
	var r runOff
	_, _, known := r.tail(0.1)
	require.False(t, known)
	r.take(start, 5)
	r.take(start.Add(time.Second), 5)
	_, _, known = r.tail(0.1)
	require.False(t, known)
}
