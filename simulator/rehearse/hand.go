package rehearse

import (
	"time"

	"twocup/station/pour"
)

// Hands that can be rehearsed, by name.
const (
	Guided    = "guided"    // follows the cues
	Practised = "practised" // sees the digits alone
	Floor     = "floor"     // follows the same cues, worked out from the true mass and flow
)

// How the hands behave, fixed before any tuning; ours, no source.
const (
	lookEvery  = 300 * time.Millisecond // the practised hand looks at the digits; it slows down at slowAt of the target
	slowAt     = 0.9
	slowTo     = 0.25 // of its flow, but never below the slowest steady one
	takes      = 4.0  // s that any hand lets a pour take at least: nobody pours 5 g as fast as 500 g
	meets      = 0.15 // relative sd with which a hand meets a flow that it is asked for
	byEye      = 0.1  // relative sd of a top-up or a scoop judged by eye, which aims at 0.9 of what is missing
	shareByEye = 0.9
	dropRate   = 3.0 // drops a second
	rests      = 2500 * time.Millisecond
	scooping   = 400 * time.Millisecond // in which a ladle is emptied; the next takes filling
	filling    = 3 * time.Second
	settle     = 1500 * time.Millisecond // how long digits must stand before any hand takes them as final
)

// seen is what a hand sees.
type seen struct {
	cue       pour.Cue
	wanted    float64 // g/s
	remaining float64 // g, of the screen
	drops     int
	shown     float64 // g, the digits
	below     bool    // at rest below the window
}

// hand is what a person is about to do.
type hand struct {
	c       Cell
	doing   seen // acted upon
	coming  seen
	due     time.Duration
	waiting bool
	flow    float64 // g/s being poured
	until   time.Duration
	next    time.Duration // of a tip or scoop
}

// notice takes a reaction from a new cue to acting on it. A number that changes is read as it changes.
func (p *run) notice(s seen) {
	h := &p.hand
	newest := h.doing
	if h.waiting {
		newest = h.coming
	}
	if s.cue != newest.cue || s.wanted != newest.wanted {
		h.coming, h.due, h.waiting = s, max(h.due, p.t.Now()+p.t.Reaction()), true
	}
	h.doing.remaining, h.doing.drops, h.doing.shown = s.remaining, s.drops, s.shown
	if h.waiting {
		h.coming.remaining, h.coming.drops, h.coming.shown = s.remaining, s.drops, s.shown
	}
}

// follow is one Step of a hand that follows cues.
func (p *run) follow() {
	h, now := &p.hand, p.t.Now()
	if h.waiting && now >= h.due {
		h.doing, h.waiting = h.coming, false
		p.begin()
	}
	p.pour()
}

// pour does for one Step what is being done.
func (p *run) pour() {
	h := &p.hand
	switch pours := h.doing.cue == pour.CuePour || h.doing.cue == pour.CueEase; {
	case h.doing.cue == pour.CueTopUp, pours && h.c.Job.Scoop > 0:
		p.tip()
	case pours:
		p.t.Pour(h.flow)
	default:
		p.t.Right()
	}
}

// begin chooses a flow for the cue.
func (p *run) begin() {
	h := &p.hand
	switch h.doing.cue {
	case pour.CuePour:
		h.flow = min(h.c.Job.Flow, max(h.c.Slowest, h.doing.remaining/takes))
	case pour.CueEase:
		h.flow = max(h.c.Slowest, min(h.flow, p.t.Judge(h.doing.wanted, meets)))
	}
}

// tip gives what is missing by a short tip, by drops, or by a scoop, then waits for the scale.
func (p *run) tip() {
	h, now := &p.hand, p.t.Now()
	if now < h.until {
		p.t.Pour(h.flow)
		return
	}
	p.t.Right()
	if now < h.next {
		return
	}
	amount, rest := p.t.Judge(shareByEye*h.doing.remaining, byEye), rests
	switch {
	case h.c.Job.Scoop > 0:
		amount, rest = max(0, min(amount, h.c.Job.Scoop)), filling
		h.flow = amount / scooping.Seconds()
	case h.doing.drops > 0:
		h.flow = dropRate * h.c.Liquid.Drop
		amount = float64(h.doing.drops) * h.c.Liquid.Drop
	default:
		h.flow = h.c.Slowest
	}
	if amount < h.c.Liquid.Drop {
		return // not even one drop fits
	}
	h.until = now + seconds(amount/h.flow)
	h.next = h.until + rest
	p.tips++
}

// look is one Step of the practised hand.
func (p *run) look() {
	h, now := &p.hand, p.t.Now()
	if h.waiting && now >= h.due {
		h.doing, h.waiting = h.coming, false
		switch h.doing.cue {
		case pour.CuePour:
			h.flow = p.fastest
		case pour.CueEase:
			h.flow = max(h.c.Slowest, h.flow*slowTo)
		}
	}
	p.pour()
}

// decide is what the practised hand makes of the digits at a look.
func (p *run) decide(s seen) seen {
	target := p.hand.c.Job.Part
	stop := target
	if p.hand.c.Early {
		stop = p.hand.c.Low
	}
	switch last := p.decided; {
	case last == pour.CueTopUp, (last == pour.CueStop || p.hand.c.Job.Scoop > 0) && s.below:
		s.cue = pour.CueTopUp
	case last == pour.CueStop, s.shown >= stop:
		s.cue = pour.CueStop
	case last == pour.CueEase, s.shown >= slowAt*target:
		s.cue = pour.CueEase
	default:
		s.cue = pour.CuePour
	}
	p.decided = s.cue
	return s
}
