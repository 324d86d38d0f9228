package pour

import (
	"time"

	"twocup/scaledrv/reading"
)

// First choices, ours.
const (
	block   = time.Second // the readings of so long are looked at together
	leastOf = 5           // of them are needed to say anything
	blocks  = 3           // in a row with one middle show that the value goes nowhere
	widest  = 5           // divisions: what spreads further is not at rest
)

// unrest follows how far values spread that go nowhere, in a draught or on a bench that shakes. The zero value has seen
// nothing.
type unrest struct {
	since            time.Time
	first, low, high reading.Mass
	sum              reading.Mass // of the differences from first
	n                reading.Mass
	middle, spread   [blocks]reading.Mass // of the newest blocks
	whole            int                  // blocks without an interruption
}

// take follows a reading. At the end of a block it gives the largest spread of the newest blocks, if they have one middle
// to half a division.
func (u *unrest) take(r reading.Reading, d reading.Mass) (spread reading.Mass, known bool) {
	if u.n > 0 && r.At.Sub(u.since) >= block {
		spread, known = u.close(d)
	}
	if u.n == 0 {
		u.since, u.first, u.low, u.high, u.sum = r.At, r.Mass, r.Mass, r.Mass, 0
	}
	u.low, u.high = min(u.low, r.Mass), max(u.high, r.Mass)
	u.sum += r.Mass - u.first
	u.n++
	return spread, known
}

func (u *unrest) close(d reading.Mass) (spread reading.Mass, known bool) {
	if u.n < leastOf {
		*u = unrest{}
		return 0, false
	}
	i := u.whole % blocks
	u.middle[i], u.spread[i] = u.first+u.sum/u.n, u.high-u.low
	u.whole++
	u.n = 0
	if u.whole < blocks {
		return 0, false
	}
	low, high := u.middle[0], u.middle[0]
	for i := range blocks {
		low, high, spread = min(low, u.middle[i]), max(high, u.middle[i]), max(spread, u.spread[i])
	}
	return spread, high-low <= d/2
}

// Band is how far values may spread at rest: one division or, where the newest have spread further and gone nowhere, one
// more than that, up to five.
func (p *Pan) Band() reading.Mass { return max(p.Division, p.noise) }

// unsettle follows the spread of values that the scale does not call moving.
func (p *Pan) unsettle(r reading.Reading, continued bool) {
	if !continued || p.readings == 0 || r.Motion == reading.Moving {
		p.unrest = unrest{}
	}
	spread, known := p.unrest.take(r, p.Division)
	switch {
	case !known:
	case spread <= p.Division:
		p.noise = 0
	case spread <= widest*p.Division:
		p.noise = min(spread+p.Division, widest*p.Division)
	}
}
