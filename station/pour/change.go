package pour

import (
	"math"
	"time"

	"twocup/scaledrv/reading"
)

// change is one of the flow, as it was asked for: from what flowed to what was wanted; the stop wants 0.
type change struct {
	at    float64 // g poured when it was asked for, with what was then on the lip
	sd    float64 // of at
	flow  float64 // g/s before
	to    float64
	more  float64 // g that will land above what the new flow brings, by the stop lag
	since time.Time
	until time.Time // when it has been answered, or was not heard
	open  bool      // nothing has been learned from it
}

// nominal is what would be poured by now had the new flow come at once, in g.
func (c *change) nominal(now time.Time) float64 { return c.at + c.to*now.Sub(c.since).Seconds() }

// coming is what is still to land above what the new flow brings, in g.
func (c *change) coming(now time.Time, at float64) float64 { return max(0, c.more-(at-c.nominal(now))) }

// lip is what runs off a vessel from the fast flow before the first ease: at first at most a share of it, then dying away.
type lip struct {
	flow  float64 // g/s, before
	since time.Time
}

// lipShare is the largest share of a flow that takes the slow way along the lip; ours.
const lipShare = 0.3

// stream is what flows, in g/s: what the vessel is tipped for, and what runs off its lip.
type stream struct{ tipped, lip float64 }

// most is the most that can still run off it, in g/s.
func (l lip) most(now time.Time, tail Lag) float64 {
	return lipShare * l.flow * math.Exp(-now.Sub(l.since).Seconds()/max(tail.Seconds, 0.05))
}

// parted tells a flow's two parts. What it has above what was wanted can be the lip's, as long as that lasts.
func (l lip) parted(now time.Time, flow, wanted float64, tail Lag) stream {
	if l.flow == 0 {
		return stream{tipped: flow}
	}
	lip := max(0, min(flow-wanted, l.most(now, tail)))
	return stream{tipped: flow - lip, lip: lip}
}

// comes is what lands if the vessel is righted at a word given now, in g.
func (s stream) comes(h *Habit) float64 { return s.tipped*h.Stop.Seconds + s.lip*h.Tail.Seconds }

// spread is the standard deviation of what comes, in g.
func (s stream) spread(h *Habit) float64 {
	return math.Hypot(s.tipped*h.Stop.spread(), s.lip*h.Tail.spread())
}

// teach is the lag with what the answer to the change shows, s being what flows after it.
func (c *change) teach(h Habit, now time.Time, at float64, s stream, sd, flowSD float64) Habit {
	took, by := now.Sub(c.since).Seconds(), c.flow-s.tipped
	if by < c.flow/3 {
		return h // it was not answered, or it was hardly one
	}
	seconds := (at + s.lip*h.Tail.Seconds - c.at - s.tipped*took) / by
	h.Stop = h.Stop.Learn(seconds, math.Hypot(math.Hypot(c.sd, sd), math.Hypot(flowSD*took, s.lip*h.Tail.SD))/by)
	return h
}

// held takes in, once the lip has all but run off, the flow that a hand holds when it was asked for another: where that
// is a third more, the hand can't do with less.
func (l lip) held(h *Habit, now time.Time, flow, asked float64) {
	if l.most(now, h.Tail) > flow/4 || flow < asked/2 {
		return
	}
	if flow > 1.33*asked || flow < h.Slowest {
		h.Slowest = flow
	}
}

// Habit is the hand's, with what this part has shown now that it is at rest at so much poured. d is the division.
func (g *Guide) Habit(poured, d reading.Mass) Habit {
	h, at, sd := g.habit.or(FirstHabit("")), poured.Grams(), flicker*d.Grams()
	if g.change.open {
		h = g.change.teach(h, g.change.since, at, stream{}, sd, 0)
	}
	if g.tail.flow > 0 {
		h.Tail = h.Tail.Learn((at-g.tail.at)/g.tail.flow, math.Hypot(g.tail.sd, sd)/g.tail.flow)
	}
	return h
}
