package simulator

import (
	"fmt"
	"time"

	"twocup/scaledrv/reading"
)

const (
	partA = iota
	partB
	partOther // an addition, whichever it is
	partNone  // no jug
)

// partOf is the jug of a part's name.
func partOf(name string) int {
	switch name {
	case "A":
		return partA
	case "B":
		return partB
	case "":
		return partNone
	}
	return partOther
}

// masses are of A, of B and of all additions.
type masses [partNone]reading.Mass

func (m masses) sum() (sum reading.Mass) {
	for _, part := range m {
		sum += part
	}
	return sum
}

func (m *masses) add(more masses) {
	for i := range m {
		m[i] += more[i]
	}
}

// Liquid is how a liquid leaves its jug. Flows are grams per second. All figures of Thin and Thick are ours but the
// drop, which is derived: 2πRγ·f/g with R 1.5 mm, γ 0.040 N/m, f 0.62 (Tate's law with Harkins and Brown's factor, from memory).
type Liquid struct {
	Max     float64       // flow of the jug tipped as far as it goes
	Slowest float64       // slowest steady flow: below it the stream breaks into drops
	Ramp    time.Duration // time constant with which the flow follows the tilt
	Drop    reading.Mass  // mass of a drop
	Tail    reading.Mass  // what still runs off the lip after the jug is righted from Max; in proportion at less
	TailFor time.Duration // time constant with which the tail dies away
}

// Thin is like water to light oil, Thick like honey.
var (
	Thin = Liquid{Max: 60, Slowest: 0.8, Ramp: 120 * time.Millisecond, Drop: 24 * reading.Gram / 1000,
		Tail: 6 * reading.Gram / 10, TailFor: 250 * time.Millisecond}
	Thick = Liquid{Max: 40, Slowest: 0.2, Ramp: 350 * time.Millisecond, Drop: 24 * reading.Gram / 1000,
		Tail: 12 * reading.Gram, TailFor: 1500 * time.Millisecond}
)

// LipShare is the part of the flow that runs along the lip and falls later. A steady flow q then keeps q·share·TailFor on
// the lip, which is Tail at Max.
func (l Liquid) LipShare() float64 { return l.Tail.Grams() / (l.Max * l.TailFor.Seconds()) }

func (l Liquid) check() error {
	if !(l.Slowest > 0 && l.Max > l.Slowest) || l.Ramp <= 0 || l.Drop <= 0 || l.TailFor <= 0 || l.Tail < 0 {
		return fmt.Errorf("liquid %+v: flows, times and drop must be positive, and Max above Slowest", l)
	}
	if l.LipShare() >= 1 {
		return fmt.Errorf("liquid %+v: a tail of %v is more than flows over the lip at Max in %v", l, l.Tail, l.TailFor)
	}
	return nil
}

// jug holds more than will ever be poured. What has left it is a whole number of picograms.
type jug struct {
	liquid   Liquid
	tilt     float64 // 0 upright, 1 as far as it goes
	mouth    lowPass // flow out of the body, picograms per second
	share    float64 // of the mouth's flow that takes the way along the lip
	drain    float64 // of the film on the lip, in one step
	film     reading.Mass
	hanging  reading.Mass // at the edge: falls with the stream, or as the next drop
	released reading.Mass // all that has fallen so far
}

func newJug(l Liquid) jug {
	return jug{liquid: l, mouth: newLowPass(l.Ramp), share: l.LipShare(), drain: approach(l.TailFor)}
}

// tip is the tilt at which a jug gives a flow in grams per second.
func (j *jug) tip(flow float64) float64 { return min(flow/j.liquid.Max, 1) }

// step is the mass that falls from the jug within one Step.
func (j *jug) step() reading.Mass {
	j.mouth.step(j.tilt * j.liquid.Max * float64(reading.Gram))
	out := reading.Mass(j.mouth.y * Step.Seconds())
	toFilm := reading.Mass(float64(out) * j.share)
	drained := reading.Mass(float64(j.film) * j.drain)
	j.film += toFilm - drained
	arriving := out - toFilm + drained
	j.hanging += arriving
	falling := j.hanging
	if arriving.Grams() < j.liquid.Slowest*Step.Seconds() {
		falling = j.hanging.FloorTo(j.liquid.Drop)
	}
	j.hanging -= falling
	j.released += falling
	return falling
}

// FallTime is how long what has left the lip takes to the cup, from a height of 11 cm.
const FallTime = 150 * time.Millisecond

const fallSteps = int(FallTime / Step)

// stream is what is between lip and cup, by the step in which it left.
type stream struct {
	falling [fallSteps]masses
	at      int
}

// step puts in what leaves the lips and takes out what arrives.
func (s *stream) step(leaving masses) (arriving masses) {
	arriving, s.falling[s.at] = s.falling[s.at], leaving
	s.at = (s.at + 1) % fallSteps
	return arriving
}

// strike is the force of an arriving stream as a mass. What falls from rest for a time t arrives with v = g·t, so that a
// flow q presses with q·v/g = q·t: as much as is on its way.
func strike(arriving masses) float64 {
	return float64(arriving.sum()) * float64(fallSteps)
}
