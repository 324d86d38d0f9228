package pour

import (
	"math"
	"time"
)

// approach measures the scale's lag where a load has come at once: after that the display goes to the load as
// 1 − exp(−t/lag), so the area between value and load, from any time on, is lag times what was missing then.
type approach struct {
	from    time.Time // when the value last doubled: then about half of it was missing
	at      time.Time
	first   float64 // g above the empty pan, then
	newest  float64
	area    float64 // under the values since then, g·s
	longest float64 // s between two values since then
}

// leastApproach is the number of divisions that must have been missing to tell a lag from them.
const leastApproach = 10

func (a *approach) take(at time.Time, load float64) {
	if a.from.IsZero() || load > 2*a.first {
		*a = approach{from: at, at: at, first: load, newest: load}
		return
	}
	dt := at.Sub(a.at).Seconds()
	a.area += dt * (a.newest + load) / 2
	a.longest = max(a.longest, dt)
	a.at, a.newest = at, load
}

// lag is what the approach to a load, now at rest, shows; false where it shows none.
func (a *approach) lag(load, d float64) (time.Duration, bool) {
	missing := load - a.first
	if missing < leastApproach*d || a.longest <= 0 {
		return 0, false
	}
	tau := (load*a.at.Sub(a.from).Seconds() - a.area) / missing
	// The chords lie under the curve: the area that they see is h/2·coth(h/2τ), not τ.
	h := a.longest / 2
	if tau <= 1.02*h {
		tau = h / 2
	} else {
		tau = h / math.Atanh(h/tau)
	}
	return time.Duration(max(0.02, min(tau, 2)) * float64(time.Second)), true
}
