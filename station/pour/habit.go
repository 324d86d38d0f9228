package pour

import (
	"math"
	"time"
)

// Habit is how one person pours one part of one material, as far as earlier pours have shown it. The zero value knows
// nothing. It is personal data.
type Habit struct {
	Stop Lag  `json:"stop"` // what leaves the vessel's body after the stop cue, divided by the flow at the cue
	Tail Lag  `json:"tail"` // time constant of what then runs off its lip: what is there, divided by the flow from it
	Lip  Lag  `json:"lip"`  // what a steady flow keeps on the lip, divided by it
	Drop Drop `json:"drop"`
	// Slowest is the last flow that the hand has come to when it was asked for less, in g/s; 0: it has not been seen to.
	Slowest float64 `json:"slowest_g_s"`
}

// Lag is a mass that is still to come, divided by a flow. The scale's own lag is not in it, as far as the scale has shown it.
type Lag struct {
	Seconds float64 `json:"seconds"`
	SD      float64 `json:"sd_seconds"` // of Seconds; 0: nothing is known
	Times   int     `json:"times"`      // it was learned from
}

const (
	onePour = 0.08 // s: by how much the lag of one pour differs from that of the next
	drift   = 0.03 // s: by how much a hand changes from pour to pour
	longest = 6    // s: a lag beyond it is none
	// steadyFor is how long a stream must have flowed before its stop says anything: a ladle's does not.
	steadyFor = 1500 * time.Millisecond
)

// FirstHabit is what may be expected of a hand that nothing is known of, by the viscosity on the card: a reaction of
// 0.27 s (Lin, Drury et al., Ergonomics 57, 2014), the times that such a liquid takes to leave body and lip of a vessel, and
// a sixth of the flow that takes the way along the lip; these are ours, no source. An unknown viscosity is medium.
func FirstHabit(viscosity string) Habit {
	stop, tail := Lag{Seconds: 0.7, SD: 0.35}, Lag{Seconds: 1, SD: 0.5}
	switch viscosity {
	case "thin":
		stop, tail = Lag{Seconds: 0.5, SD: 0.35}, Lag{Seconds: 0.3, SD: 0.35}
	case "thick":
		stop, tail = Lag{Seconds: 0.75, SD: 0.35}, Lag{Seconds: 1.5, SD: 0.5}
	case "paste":
		stop, tail = Lag{Seconds: 1, SD: 0.4}, Lag{Seconds: 2.5, SD: 0.8}
	}
	return Habit{Stop: stop, Tail: tail, Lip: Lag{Seconds: tail.Seconds / 6, SD: tail.Seconds / 10}}
}

// Or is the habit, with another's figures for what it doesn't know.
func (h Habit) Or(first Habit) Habit {
	if h.Stop.SD <= 0 {
		h.Stop = first.Stop
	}
	if h.Tail.SD <= 0 {
		h.Tail = first.Tail
	}
	if h.Lip.SD <= 0 {
		h.Lip = first.Lip
	}
	return h
}

// spread is the standard deviation of the next pour's lag.
func (l Lag) spread() float64 { return math.Hypot(l.SD, onePour) }

// Longest is what hardly any pour's lag exceeds, in seconds: two standard deviations above what is expected.
func (l Lag) Longest() float64 { return l.Seconds + 2*l.SD }

// Learn is the lag after one more pour, whose own lag was so many seconds, with the standard deviation of that figure. A
// pour far from what was expected counts as one at three deviations; what is no number or beyond any lag, not at all.
func (l Lag) Learn(seconds, sd float64) Lag {
	if !(math.Abs(seconds) < longest) || !(sd >= 0 && sd < longest) {
		return l
	}
	mean, one := math.Hypot(l.SD, drift), math.Hypot(onePour, sd)
	far := 3 * math.Hypot(mean, one)
	gain := mean * mean / (mean*mean + one*one)
	return Lag{
		Seconds: max(0, l.Seconds+gain*max(-far, min(seconds-l.Seconds, far))),
		SD:      mean * math.Sqrt(1-gain),
		Times:   l.Times + 1,
	}
}

// Drop is the mass of one drop.
type Drop struct {
	Grams  float64 `json:"grams"`
	TopUps int     `json:"top_ups"` // it was learned from; 0: nothing is known
}

// firstDrop in grams: 2πRγ·f/g with R 1.5 mm, γ 0.040 N/m, f 0.62 (Tate's law with Harkins and Brown's factor, from memory).
const firstDrop = 0.024

func (d Drop) known() float64 {
	if d.TopUps == 0 {
		return firstDrop
	}
	return d.Grams
}

// most is what a drop may weigh, in g: a hand and a lip that have shown theirs give up to a third more, any other up to
// twice what is expected; both ours.
func (d Drop) most() float64 {
	if d.TopUps == 0 {
		return 2 * firstDrop
	}
	return 1.3 * d.Grams
}

// Learn is the drop after so many of them have brought a mass in grams, known to sd. A figure that is no drop's, below a
// fifth or above five times of what was expected, is not believed.
func (d Drop) Learn(grams, sd float64, count int) Drop {
	one := grams / float64(count)
	if count <= 0 || !(one > d.known()/5 && one < 5*d.known()) {
		return d
	}
	// What was known is worth as many drops as it took, at least as many as a display can tell from none.
	gain := one / (one + sd/float64(count) + one*float64(min(d.TopUps, 3)))
	return Drop{Grams: d.known() + gain*(one-d.known()), TopUps: d.TopUps + 1}
}
