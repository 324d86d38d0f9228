package pour

import (
	"math"
	"time"

	"twocup/scaledrv/reading"
)

// change is one of the flow, as it was asked for: from what flowed to what was wanted; the stop wants 0.
type change struct {
	left  float64 // g that had left the vessel's body when it was asked for
	sd    float64 // of left
	flow  float64 // g/s before
	to    float64
	more  float64 // g that will land above what the new flow brings, by the stop lag
	since time.Time
	until time.Time // when it has been answered, or was not heard
	open  bool      // nothing has been learned from it
}

// nominal is what would have left by now had the new flow come at once, in g.
func (c *change) nominal(now time.Time) float64 { return c.left + c.to*now.Sub(c.since).Seconds() }

// coming is what is still to leave above what the new flow brings, in g.
func (c *change) coming(now time.Time, left float64) float64 {
	return max(0, c.more-(left-c.nominal(now)))
}

// teach is the lag with what the answer to the change shows: what has left by now, and the flow after it, give or take sd.
func (c *change) teach(h Habit, now time.Time, left, flow, sd, flowSD float64) Habit {
	took, by := now.Sub(c.since).Seconds(), c.flow-flow
	if by < c.flow/3 {
		return h // it was not answered, or it was hardly one
	}
	h.Stop = h.Stop.Learn((left-c.left-flow*took)/by, math.Hypot(math.Hypot(c.sd, sd), flowSD*took)/by)
	return h
}

// Habit is the hand's, with what this part has shown now that it is at rest at so much poured. d is the division.
func (g *Guide) Habit(poured, d reading.Mass) Habit {
	h := g.habit.Or(FirstHabit(""))
	if g.change.open {
		h = g.change.teach(h, g.change.since, poured.Grams(), 0, flicker*d.Grams(), 0)
	}
	if tail, sd, known := g.runOff.tail(d.Grams()); known {
		h.Tail = h.Tail.Learn(tail, sd)
	}
	return h
}
