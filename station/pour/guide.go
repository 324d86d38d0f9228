package pour

import (
	"time"

	"twocup/scaledrv/reading"
)

// Cue is the one thing the person should do now, in the words of the live snapshot.
type Cue string

const (
	CuePlace      Cue = "place"
	CueWait       Cue = "wait"
	CuePour       Cue = "pour"
	CueEase       Cue = "ease"
	CueStop       Cue = "stop"
	CueHold       Cue = "hold"
	CueTopUp      Cue = "top_up"
	CueChangeOver Cue = "change_over"
	CueCorrect    Cue = "correct"
	CueAnswer     Cue = "answer"
	CueReconnect  Cue = "reconnect"
	CueDone       Cue = "done"
)

// Band is where the poured mass lies against its window.
type Band string

const (
	Below  Band = "below"
	Near   Band = "near" // below, from the first ease on
	Inside Band = "inside"
	Above  Band = "above"
)

// First choices, by common practice and the simulator; no source but for the reaction.
const (
	// stopLag is the time from the cue until the last gram shows: a scale's filter of 0.3 s, a hand's reaction of
	// 0.27 s (Lin, Drury et al., Ergonomics 57, 2014), a stream in flight, and a tail of 0.4 s, between thin and thick.
	stopLag = 1150 * time.Millisecond
	// easeLead is how much sooner than the stop the hand is asked to throttle, so that it has slowed when the stop comes.
	easeLead = 1200 * time.Millisecond
	// aimSpread is by how much of the flow the aim lies below the target: a gram short costs seconds, a gram over a
	// correction.
	aimSpread = 300 * time.Millisecond
	// pause is how long a value below the window must rest before the first ease until more is asked for: a jug set down,
	// not a hand that hesitates.
	pause = 2 * time.Second
	// tailTime is the stretch in which the batch can bear a tail of a quarter of the window.
	tailTime = 10 * time.Second
)

// Aim is what one part should reach, as masses counted from the part's own start.
type Aim struct {
	Target, Low, High reading.Mass
}

// Band of a poured mass; eased says that the ease cue has been given.
func (a Aim) Band(poured reading.Mass, eased bool) Band {
	switch {
	case poured > a.High:
		return Above
	case poured >= a.Low:
		return Inside
	case eased:
		return Near
	}
	return Below
}

// SettleTime is how long a value must not change by a division before a tail can be called over: d/q, with q a quarter
// of the window in 10 s.
func (a Aim) SettleTime(division reading.Mass) time.Duration {
	width := a.High - a.Low
	if width <= 0 {
		return tailTime
	}
	return min(tailTime, time.Duration(4*float64(division)/float64(width)*float64(tailTime)))
}

// Guide holds how far one part's guidance has got. It only goes forward, so a cue never flickers; the ways back are from
// rest below the window to a top-up, and from a pause before the first ease. The zero value is a part not begun.
type Guide struct {
	stage stage
	eased bool
}

type stage uint8

const (
	pouring stage = iota
	easing
	stopping
	holding
	toppingUp
	paused // at rest before the first ease
)

// Take moves the guidance on by the pan's newest reading, with poured the mass of the part so far.
func (g *Guide) Take(p *Pan, a Aim, poured reading.Mass) {
	flow := max(0, p.Flow())
	at := poured.Grams()
	target := min(a.Target, (a.Low+a.High)/2).Grams() // a one-sided tolerance has its target at the edge
	aim := max(a.Low.Grams(), target-flow*aimSpread.Seconds())
	rested := p.Settled(a.SettleTime(p.Division))
	streaming := flow > p.Division.Grams() // more than one division a second
	reaches := at+flow*stopLag.Seconds() >= aim
	switch {
	case poured > a.High, poured >= a.Low && !streaming:
		g.stage = holding
	case g.stage == holding && rested, g.stage == easing && rested:
		g.stage = toppingUp
	case g.stage == stopping && !streaming:
		g.stage = holding
	case g.stage != holding && streaming && (reaches || g.stage == toppingUp && poured >= a.Low):
		g.stage = stopping
	case g.stage == pouring && p.Settled(pause) && poured >= 2*p.Division:
		g.stage = paused
	case g.stage == paused && streaming:
		g.stage = pouring
	case g.stage == pouring && streaming && at+flow*(stopLag+easeLead).Seconds() >= target:
		g.stage = easing
	}
	g.eased = g.eased || g.stage != pouring && g.stage != paused
}

// Eased says whether the part has come to its first ease.
func (g *Guide) Eased() bool { return g.eased }

// Hold sets the guidance to hands off: for a part that was taken back.
func (g *Guide) Hold() { g.stage, g.eased = holding, true }

// Settling says whether the stream is over and the value is waited for.
func (g *Guide) Settling() bool { return g.stage == holding }

// Cue is what the hand should do.
func (g *Guide) Cue() Cue {
	return [...]Cue{pouring: CuePour, easing: CueEase, stopping: CueStop, holding: CueHold, toppingUp: CueTopUp, paused: CueTopUp}[g.stage]
}
