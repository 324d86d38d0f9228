package pour

import (
	"math"
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

const (
	// pause is how long a value below the window must rest before the first ease until more is asked for: a jug set down,
	// not a hand that hesitates.
	pause = 2 * time.Second
	// scoopTime is how long a ladle's rise shows on a scale without lag, at most.
	scoopTime = 1500 * time.Millisecond
	// sure is how many times wider the spread is taken where a pour must not reach the window's end at all.
	sure = 4.0 / 3
	// dropwise is the most that is topped up by drops, in grams.
	dropwise = 1
	// rounding is the standard deviation of a difference of two values that the display rounds, in divisions: 1/√6 (JCGM
	// 100, F.2.2.1, twice).
	rounding = 0.41
)

// How a pour is slowed down. Found by simulated pours, on seeds kept for that; no source.
const (
	// fine is the last flow wanted, in halves of the window a second: what a stop lag misjudged by a third of a second
	// then carries is a tenth of the half.
	fine = 0.35
	// lower is the share of a hand's slowest flow that it is asked for: it may do better this time.
	lower = 0.8
	// steep is the ratio of flows above which a hand is slowed down in two steps. It is not asked to slow down at all where
	// the flow is below worthwhile times the last one that the window wants, or within times what the hand can.
	steep      = 6
	worthwhile = 1.5
	within     = 1.2
	// more is by how much a flow must be above the one asked for to show that the hand can't do with less.
	more = 1.33
	// stranger is for how many seconds more a hand may go on with the flow it had that has not been seen to come to another,
	// until so many of its answers are known.
	stranger  = 0.35
	seenOften = 4
	// So many stop lags and so many seconds after an ease a hand has come to the new flow, or has not heard.
	answered = 1.3
	least    = 0.4
	// A first step is held for so many seconds, the last one for so many, and for so many times the vessel's tail and the
	// scale's lag: until the lip has run off and the display has caught up.
	between = 1
	last    = 2.5
	dry     = 1.5
	shows   = 3
)

// Guide holds how far one part's guidance has got. It only goes forward, so a cue never flickers; the ways back are from
// rest below the window to a top-up, and from a pause before the first ease. The zero value is a part not begun, poured by
// a hand that nothing is known of.
type Guide struct {
	habit   Habit
	stage   stage
	started bool // the part's first reading has been taken
	lips    int  // that had been learned from by then
	eased   bool
	wanted  float64 // g/s of the newest ease; 0: as the hand likes
	final   bool    // that is the last one
	change  change  // of the flow that was asked for last
	righted bool    // that was the stop, and it has been answered
	runOff  runOff  // since then
	drops   drops
	begun   time.Time    // of the stream; zero while none flows
	before  reading.Mass // poured then
	scoop   reading.Mass // that the rise before brought, if it was a ladle's
}

// drops are those of a top-up that were asked for, and the mass poured then.
type drops struct {
	asked int
	from  reading.Mass
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

// NewGuide is the guidance of a part not begun, for a hand with these habits.
func NewGuide(h Habit) Guide { return Guide{habit: h.Or(FirstHabit(""))} }

// Take moves the guidance on by the pan's newest reading, with poured the mass of the part so far and e what has left the
// vessel by now.
func (g *Guide) Take(p *Pan, a Aim, poured reading.Mass, e Estimate) {
	g.begin(p)
	left := e.left(p, poured)
	streaming := p.Flow() > p.Division.Grams() // more than one division a second
	g.follow(p, poured, streaming)
	g.learn(p, poured, left, e)
	reaches := g.reaches(p, a, left, poured, e)
	rested := g.Rested(p, a)
	trickling := g.stage == easing && !p.Settled(g.dribble(p.Division))
	switch {
	case poured > a.High, poured >= a.Low && !streaming && !trickling:
		g.stage = holding
	case (g.stage == holding || g.stage == easing) && rested && poured < a.Low:
		g.habit = g.Habit(poured, p.Division)
		g.change.open, g.righted, g.runOff = false, false, runOff{}
		g.stage = toppingUp
	case g.stage == stopping && !streaming:
		g.stage = holding
	case g.stage < stopping && reaches && poured >= 2*p.Division,
		g.stage == toppingUp && streaming && (reaches || poured >= a.Low):
		g.stop(p, left, e)
	case g.stage == pouring && g.scoop > 0 && p.Settled(0) && poured+g.scoop > a.High:
		g.stage = toppingUp // the next ladle would be too much
	case g.stage == pouring && g.scoop == 0 && p.Settled(pause) && poured >= 2*p.Division:
		g.stage = paused
	case g.stage == paused && streaming:
		g.stage = pouring
	case g.stage <= easing && streaming && !g.ladled(p):
		g.ease(p, a, left, e)
	}
	g.eased = g.eased || g.stage != pouring && g.stage != paused
	g.count(p, a, poured, left)
}

// begin has the pan's estimate follow what this hand pours, and takes over what that shows of the vessel.
func (g *Guide) begin(p *Pan) {
	if !g.started {
		g.habit = g.habit.Or(FirstHabit(""))
		p.pourFrom(g.habit)
		g.started, g.lips = true, g.habit.Lip.Times
	}
	if lip, shown := p.lip(); shown {
		lip.Times += g.lips
		g.habit.Lip = lip
	}
}

// left is what has left the vessel's body of the part, in g. At the start of a stream an estimate may fall behind the display,
// which itself is never ahead of what is there.
func (e Estimate) left(p *Pan, poured reading.Mass) float64 {
	return poured.Grams() + max(e.Ahead, -2*p.Division.Grams())
}

// Rested says whether what was poured has come to rest: the value has stood for the settle time or, after a stop, the
// newest three agree and it is 99 % sure that less than half a division, or than a twentieth of the window, is still to
// show. Where a tenth of the window is finer than a drop, of which nobody knows when it falls, it must have stood longer.
func (g *Guide) Rested(p *Pan, a Aim) bool {
	const (
		agree   = 200 * time.Millisecond
		rights  = 0.3  // s in which a hand that holds still rights what it has tipped
		sureSDs = 2.33 // quantile of the normal distribution at 0.99
	)
	window, settled := (a.High - a.Low).Grams(), a.SettleTime(p.Division)
	switch {
	case window/10 < g.habit.Drop.most():
		return p.Settled(settled * 5 / 4)
	case g.stage < stopping || p.readings < restReadings || p.Still() < agree:
		return p.Settled(settled)
	}
	mean, sd := p.toCome(rights)
	return p.Settled(settled) || mean+sureSDs*sd <= max(p.Division.Grams()/2, window/20)
}

// dribble is how long a value must stand until a hand that was asked for a dribble has ended it: twice what the dribble
// takes to fill a division.
func (g *Guide) dribble(division reading.Mass) time.Duration {
	return seconds(min(4, 2*division.Grams()/g.wanted))
}

// reaches says whether a stop said now would bring the part nearer to where it should land than one said at the next
// reading: short of the middle by half of the spread of what lands late, and below the window's end by three times that.
// The doubt about what has left already counts there once: while the stream goes on it becomes less.
func (g *Guide) reaches(p *Pan, a Aim, left float64, poured reading.Mass, e Estimate) bool {
	stop, next := g.habit.Stop, p.Now.At.Sub(p.Before.At).Seconds()
	late, sd := math.Hypot(e.Flow*stop.spread(), rounding*p.Division.Grams()), e.sdAfter(stop.Seconds)
	spread := math.Hypot(late, sd)
	lands := left + g.comes(p.Now.At, left, e) + max(0, e.Flow)*next/2
	switch {
	case g.ladled(p):
		return poured.Grams() >= a.middle()
	case a.narrow(p.Division): // drops will do the rest
		return lands >= a.point(sure*spread, 3*sure*spread)
	case p.Now.At.Before(g.change.until): // what is not known yet will be
		return lands >= a.middle()-e.SD/2
	case g.stage == pouring: // an ease is still to come
		return lands >= a.middle()-spread
	}
	return lands >= a.point(late/2, 3*late+sd)
}

// comes is what is still to leave the vessel if the stop is said now, in g. While a hand is on its way to another flow, the
// flow it had tells little: what it was asked for does. But the less the hand is known, the more of that flow may stay.
func (g *Guide) comes(now time.Time, left float64, e Estimate) float64 {
	stop := g.habit.Stop
	if !now.Before(g.change.until) {
		return max(0, e.Flow) * stop.Seconds
	}
	doubt := 2*stop.SD + 0.05
	if g.habit.Slowest == 0 && stop.Times < seenOften {
		doubt = max(doubt, stranger)
	}
	return max(g.change.coming(now, left), (e.Flow-g.change.to)*doubt) + g.change.to*stop.Seconds
}

// follow keeps since when the stream has been flowing, and whether it comes by the ladle: in rises too short for a jug.
func (g *Guide) follow(p *Pan, poured reading.Mass, streaming bool) {
	now := p.Now.At
	switch {
	case streaming && g.begun.IsZero():
		g.begun, g.before = now, poured
	case !streaming && !g.begun.IsZero():
		g.scoop = 0
		if rise := poured - g.before; now.Sub(g.begun) < scoopTime+3*p.estimate.scaleLag() && rise >= 5*p.Division {
			g.scoop = rise
		}
		g.begun = time.Time{}
	}
}

// ladled says whether what flows now is a ladle's, or came from one: it ends by itself, so its flow tells nothing.
func (g *Guide) ladled(p *Pan) bool {
	return g.scoop > 0 && (g.begun.IsZero() || p.Now.At.Sub(g.begun) < scoopTime+3*p.estimate.scaleLag())
}

// ease asks for less flow once what is left is no more than it takes to slow down and to hold the flows asked for. The
// hand and the vessel answer a change of flow as they answer the stop: after it leaves the stop lag times the change.
func (g *Guide) ease(p *Pan, a Aim, left float64, e Estimate) {
	lag, flow := g.habit.Stop, e.Flow
	if p.Now.At.Before(g.change.until) {
		flow = g.change.to // all but poured
	}
	finest := fine * (a.High - a.Low).Grams() / 2
	final := max(finest, lower*g.habit.Slowest)
	if g.final || flow < worthwhile*finest || flow < within*final {
		return
	}
	next, reserve := final, final*(lag.Seconds+last+dry*g.habit.Tail.Seconds+shows*p.estimate.scaleLag().Seconds())
	if flow > steep*final && g.wanted == 0 {
		next = math.Sqrt(flow * final)
		reserve += (next-final)*lag.Seconds + next*between
	}
	leaves := g.comes(p.Now.At, left, e) - next*lag.Seconds
	if left+leaves+(flow-next)*math.Hypot(2*lag.SD, onePour)+reserve < a.middle() {
		return
	}
	g.ask(p, left, e, max(next, min(g.habit.Slowest, flow)))
	g.stage, g.wanted, g.final = easing, next, next == final
}

// stop says so. The flow that the last ease has come to is the slowest that this hand has held.
func (g *Guide) stop(p *Pan, left float64, e Estimate) {
	if g.stage == easing && g.final && !p.Now.At.Before(g.change.until) && e.FlowSD < e.Flow/4 {
		g.habit.Slowest = e.Flow
	}
	g.ask(p, left, e, 0)
	g.stage = stopping
}

// ask notes what a new flow was asked for on. One that comes before the one before it was answered goes on from that.
func (g *Guide) ask(p *Pan, left float64, e Estimate, next float64) {
	now, lag := p.Now.At, g.habit.Stop.Seconds
	until := now.Add(seconds(answered*lag + least))
	c := change{left: left, flow: e.Flow, to: next, sd: e.SD, more: (e.Flow - next) * lag, since: now, until: until}
	if before := &g.change; now.Before(before.until) {
		c.more = before.coming(now, left) + (before.to-next)*lag
		c.left, c.flow, c.sd = before.nominal(now), before.flow, before.sd
	}
	c.open = g.stage < stopping && !g.begun.IsZero() && now.Sub(g.begun) >= steadyFor && c.flow > 0
	g.change = c
	p.estimate.asked = asked{by: until, to: next, lag: max(lag, 0.1), heeds: g.habit.Slowest > 0}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// learn takes in how an ease was answered, once it has been; after the stop it tells the pan that nothing leaves the vessel's
// body any more, and follows what still runs off its lip.
func (g *Guide) learn(p *Pan, poured reading.Mass, left float64, e Estimate) {
	now, c := p.Now.At, &g.change
	switch {
	case now.Before(c.until):
	case g.stage == easing:
		if c.open {
			g.habit = c.teach(g.habit, now, left, e.Flow, e.SD, e.FlowSD)
			c.open = false
		}
		if e.Flow-2*e.FlowSD > more*g.wanted {
			g.habit.Slowest = e.Flow
		}
	case c.open && c.to == 0:
		if !g.righted {
			p.righted(c.flow / 20)
			g.righted = true
		}
		if now.Sub(c.since) > seconds(2*g.habit.Stop.Seconds+0.5) { // nothing but the lip gives any more
			g.runOff.take(now, poured.Grams())
		}
	}
}

// Eased says whether the part has come to its first ease.
func (g *Guide) Eased() bool { return g.eased }

// Wanted is the flow that the ease asks for, in g/s; 0 where the hand may pour as it likes.
func (g *Guide) Wanted() float64 { return g.wanted }

// Drops is how many drops the top-up takes, as it was counted at rest; 0 where it is more than a gram, which is poured,
// or where not even one fits.
func (g *Guide) Drops() int { return g.drops.asked }

// count asks for drops at rest below the window, as many as go to its middle and as it bears, and learns from what those
// asked for before have brought. What is known to have left the vessel already is not asked for.
func (g *Guide) count(p *Pan, a Aim, poured reading.Mass, left float64) {
	left = max(left, poured.Grams())
	missing, d := a.middle()-left, p.Division.Grams()
	switch {
	case g.stage != toppingUp:
		g.drops.asked = 0
	case !p.Settled(0):
	case missing > dropwise:
		g.drops.asked = 0
	case g.drops.asked == 0 || poured >= g.drops.from+p.Division:
		if rise := poured - g.drops.from; g.drops.asked > 0 && rise > 2*p.Division {
			g.habit.Drop = g.habit.Drop.Learn(rise.Grams(), rounding*d, g.drops.asked)
		}
		drop := g.habit.Drop.known()
		fit := min(missing/drop+0.5, (a.High.Grams()-left-d/2)/g.habit.Drop.most())
		g.drops = drops{asked: max(0, int(fit)), from: poured}
	}
}

// Hold sets the guidance to hands off: for a part that was taken back.
func (g *Guide) Hold() { g.stage, g.eased = holding, true }

// Settling says whether the stream is over and the value is waited for.
func (g *Guide) Settling() bool { return g.stage == holding }

// Cue is what the hand should do.
func (g *Guide) Cue() Cue {
	return [...]Cue{pouring: CuePour, easing: CueEase, stopping: CueStop, holding: CueHold, toppingUp: CueTopUp, paused: CueTopUp}[g.stage]
}
