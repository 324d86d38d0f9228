package pour

import (
	"math"
	"time"
)

// leastRunOff is the number of divisions that must have run off to tell a time constant from them.
const leastRunOff = 10

// runOff measures the tail of a vessel that has been righted: what is missing dies away with its time constant.
type runOff struct {
	from, at      time.Time
	first, newest float64 // g
	area          float64 // under the values since then, g·s
}

func (r *runOff) take(at time.Time, poured float64) {
	if r.from.IsZero() {
		r.from, r.first = at, poured
	} else {
		r.area += at.Sub(r.at).Seconds() * (r.newest + poured) / 2
	}
	r.at, r.newest = at, poured
}

// tail in s, and its standard deviation: an exponential with time constant τ that is seen for a time T has, between its
// values and the last one, the area R·(τ − T/(exp(T/τ) − 1)), with R what it brought.
func (r *runOff) tail(d float64) (seconds, sd float64, known bool) {
	brought, took := r.newest-r.first, r.at.Sub(r.from).Seconds()
	if brought < leastRunOff*d {
		return 0, 0, false
	}
	const rounds = 30 // of a fixed point that halves what is wrong, where the figure can be trusted
	mean := (r.newest*took - r.area) / brought
	seconds = mean
	for range rounds {
		seconds = mean + took/math.Expm1(took/seconds)
	}
	x := took / seconds
	sure := 1 - square(x/math.Expm1(x))*math.Exp(x)
	return seconds, rounding * d * (took + seconds) / brought / sure, sure > 0.1
}
