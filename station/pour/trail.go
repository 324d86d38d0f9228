package pour

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
)

// window is the stretch of readings that the flow is taken over: long enough that one division of flicker is a small
// slope, short enough to follow a hand.
const window = 600 * time.Millisecond

// trail is the newest readings, as far back as window, at most what a 50 Hz scale sends in it.
type trail struct {
	at    [32]time.Time
	mass  [32]reading.Mass
	first int
	n     int
}

func (t *trail) add(at time.Time, m reading.Mass) {
	for t.n > 0 && (t.n == len(t.at) || at.Sub(t.at[t.first]) > window && t.n > 2) {
		t.first = (t.first + 1) % len(t.at)
		t.n--
	}
	last := (t.first + t.n) % len(t.at)
	t.at[last], t.mass[last] = at, m
	t.n++
}

// median is the middle one of the trail's masses, the later of two; one that the scale showed. The trail must not be empty.
func (t *trail) median() reading.Mass {
	sorted := t.mass // the ring's order does not matter
	if t.n < len(sorted) {
		for i := range t.n {
			sorted[i] = t.mass[(t.first+i)%len(t.mass)]
		}
	}
	slices.Sort(sorted[:t.n])
	return sorted[t.n/2]
}

// slope is that of the least-squares line through the trail, in grams per second; 0 with fewer than three readings.
func (t *trail) slope() float64 {
	if t.n < restReadings {
		return 0
	}
	var sx, sy, sxx, sxy float64
	for i := range t.n {
		j := (t.first + i) % len(t.at)
		x, y := t.at[j].Sub(t.at[t.first]).Seconds(), (t.mass[j] - t.mass[t.first]).Grams()
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	n := float64(t.n)
	spread := n*sxx - sx*sx
	if spread <= 0 {
		return 0
	}
	return (n*sxy - sx*sy) / spread
}
