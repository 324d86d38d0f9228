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

// Band is where the poured mass lies against its window.
type Band string

const (
	Below  Band = "below"
	Near   Band = "near" // below, from the first ease on
	Inside Band = "inside"
	Above  Band = "above"
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

// Aim is what one part should reach, as masses counted from the part's own start.
type Aim struct {
	Target, Low, High reading.Mass
	Tail              float64 // s: the longest time constant that the vessel's tail may have; 0: a medium liquid's
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

// Goal is where a part should end: the target, unless a one-sided tolerance has it at the window's edge or, less the
// uncertainty, outside. Then it is the middle of a window below the target, and the end of the lowest quarter of one above.
func (a Aim) Goal() reading.Mass {
	return max(min(a.Target, (a.Low+a.High)/2), a.Low+(a.High-a.Low)/4)
}

func (a Aim) middle() float64 { return a.Goal().Grams() }

// point is where a pour should land: below the middle by the spread of what lands late, and below the window's end by
// three times that. A window too narrow for it is not entered by a pour, but by drops.
func (a Aim) point(spread float64) float64 {
	return min(a.middle()-spread, a.High.Grams()-3*spread)
}

// narrow says whether the window is finer than two divisions either side: no pour can be trusted to end in it.
func (a Aim) narrow(division reading.Mass) bool { return a.High-a.Low < 4*division }

// SettleTime is how long a value must not change by a division before a tail can be called over: in it two divisions may
// land unseen, one that brings the value to the edge of the next and one that takes it there. So of a tail that dies away
// with its time constant no more is then to come than a tenth of the window or, where that is more, a division.
func (a Aim) SettleTime(division reading.Mass) time.Duration {
	tail := a.Tail
	if tail == 0 {
		tail = FirstHabit("").Tail.Longest()
	}
	return seconds(2 * tail * float64(division) / float64(max(division, (a.High-a.Low)/10)))
}

// How a pour is slowed down. Found by simulated pours, on seeds kept for that; no source.
const (
	// fine is the last flow wanted, in halves of the window a second: what a stop lag misjudged by a third of a second
	// then carries is a tenth of the half.
	fine = 0.35
	// lower is the share of a hand's slowest flow that it is asked for: it may do better this time.
	lower = 0.8
	// steep is the ratio of flows above which a hand is slowed down in two steps, worthwhile the one below which it is
	// not asked to slow down at all.
	steep      = 6
	worthwhile = 1.5
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
	habit  Habit
	stage  stage
	eased  bool
	wanted float64 // g/s of the newest ease; 0: as the hand likes
	change change  // of the flow that was asked for last
	lip    lip
	tail   tail
	drops  drops
	begun  time.Time    // of the stream; zero while none flows
	before reading.Mass // poured then
	scoop  reading.Mass // that the rise before brought, if it was a ladle's
}

// tail is what was seen running off the vessel once the stop had been answered.
type tail struct{ at, sd, flow float64 }

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
func NewGuide(h Habit) Guide { return Guide{habit: h.or(FirstHabit(""))} }

// Take moves the guidance on by the pan's newest reading, with poured the mass of the part so far and e what is on the
// pan now.
func (g *Guide) Take(p *Pan, a Aim, poured reading.Mass, e Estimate) {
	at, now := poured.Grams()+e.Ahead, p.Now.At
	streaming := p.Flow() > p.Division.Grams() // more than one division a second
	g.habit = g.habit.or(FirstHabit(""))
	g.follow(p, poured, streaming)
	s := g.parted(now, e)
	g.learn(p, at, s, e)
	reaches := g.reaches(p, a, at, s, e)
	rested := p.Settled(a.SettleTime(p.Division))
	trickling := g.stage == easing && !p.Settled(g.dribble(p.Division))
	switch {
	case poured > a.High, poured >= a.Low && !streaming && !trickling:
		g.stage = holding
	case g.stage == holding && rested, g.stage == easing && rested:
		g.habit = g.Habit(poured, p.Division)
		g.change.open, g.tail = false, tail{}
		g.stage = toppingUp
	case g.stage == stopping && !streaming:
		g.stage = holding
	case g.stage < stopping && reaches && poured >= 2*p.Division,
		g.stage == toppingUp && streaming && (reaches || poured >= a.Low):
		g.ask(p, at, s, e, 0)
		g.stage = stopping
	case g.stage == pouring && g.scoop > 0 && p.Settled(0) && poured+g.scoop > a.High:
		g.stage = toppingUp // the next ladle would be too much
	case g.stage == pouring && g.scoop == 0 && p.Settled(pause) && poured >= 2*p.Division:
		g.stage = paused
	case g.stage == paused && streaming:
		g.stage = pouring
	case g.stage <= easing && streaming && !g.ladled(p):
		g.ease(p, a, at, s, e)
	}
	g.eased = g.eased || g.stage != pouring && g.stage != paused
	g.count(p, a, poured)
}

// dribble is how long a value must stand until a hand that was asked for a dribble has ended it: twice what the dribble
// takes to fill a division.
func (g *Guide) dribble(division reading.Mass) time.Duration {
	return seconds(min(4, 2*division.Grams()/g.wanted))
}

// parted tells what the vessel is tipped for from what runs off its lip.
func (g *Guide) parted(now time.Time, e Estimate) stream {
	if g.stage == easing && !now.Before(g.change.until) {
		g.lip.held(&g.habit, now, e.Flow, g.wanted)
	}
	return g.lip.parted(now, max(0, e.Flow), g.wanted, g.habit.Tail)
}

// reaches says whether a stop said now would bring the part to where it should land.
func (g *Guide) reaches(p *Pan, a Aim, at float64, s stream, e Estimate) bool {
	spread := math.Hypot(s.spread(&g.habit), math.Hypot(e.SD, rounding*p.Division.Grams()))
	comes := g.comes(p.Now.At, at, s)
	switch {
	case g.ladled(p):
		return at-e.Ahead >= a.middle()
	case a.narrow(p.Division): // drops will do the rest
		return at+comes >= a.point(sure*spread)
	case p.Now.At.Before(g.change.until): // what is not known yet will be
		return at+comes >= a.middle()-e.SD/2
	case g.stage == pouring: // an ease is still to come
		return at+comes >= a.middle()-spread
	}
	return at+comes >= a.point(spread)
}

// comes is what lands if the stop is said now. While a hand is on its way to another flow, the flow it had tells little:
// what it was asked for does. But the less its lag is known, the more of that flow may stay for longer.
func (g *Guide) comes(now time.Time, at float64, s stream) float64 {
	if !now.Before(g.change.until) {
		return s.comes(&g.habit)
	}
	doubt := 2*g.habit.Stop.SD + 0.05
	return max(g.change.coming(now, at), (s.tipped-g.change.to)*doubt) + g.change.to*g.habit.Stop.Seconds
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

// ladled says whether what flows now is a ladle's: it ends by itself, so its flow tells nothing.
func (g *Guide) ladled(p *Pan) bool {
	return g.scoop > 0 && p.Now.At.Sub(g.begun) < scoopTime+3*p.estimate.scaleLag()
}

// ease asks for less flow once what is left is no more than it takes to slow down and to hold the flows asked for. The
// hand, the lip and the air answer a change of flow as they answer the stop: after it lands the stop lag times the change.
func (g *Guide) ease(p *Pan, a Aim, at float64, s stream, e Estimate) {
	lag, flow := g.habit.Stop, s.tipped
	if p.Now.At.Before(g.change.until) {
		flow = g.change.to // all but poured
	}
	final := max(fine*(a.High-a.Low).Grams()/2, lower*g.habit.Slowest)
	if flow < worthwhile*final || g.wanted > 0 && g.wanted <= final {
		return
	}
	next, reserve := final, final*(lag.Seconds+last+dry*g.habit.Tail.Seconds+shows*p.estimate.scaleLag().Seconds())
	if flow > steep*final {
		next = math.Sqrt(flow * final)
		reserve += (next-final)*lag.Seconds + next*between
	}
	more := g.comes(p.Now.At, at, s) - next*lag.Seconds
	if at+more+(flow-next)*math.Hypot(2*lag.SD, onePour)+reserve < a.middle() {
		return
	}
	g.ask(p, at, s, e, max(next, min(g.habit.Slowest, flow)))
	g.stage, g.wanted = easing, next
}

// ask notes what a new flow was asked for on. One that comes before the one before it was answered goes on from that.
func (g *Guide) ask(p *Pan, at float64, s stream, e Estimate, next float64) {
	now, lag := p.Now.At, g.habit.Stop.Seconds
	within := seconds(answered*lag + least)
	c := change{at: at + s.lip*g.habit.Tail.Seconds, flow: s.tipped, to: next, sd: e.SD, more: (s.tipped - next) * lag, since: now, until: now.Add(within)}
	if before := &g.change; now.Before(before.until) {
		c.more = before.coming(now, at) + (before.to-next)*lag
		c.at, c.flow, c.sd = before.nominal(now), before.flow, before.sd
	}
	c.open = g.stage < stopping && !g.begun.IsZero() && now.Sub(g.begun) >= steadyFor && c.flow > 0
	if next > 0 && g.lip.flow == 0 {
		g.lip = lip{flow: s.tipped, since: now}
	}
	g.change = c
	p.Expect(within)
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// learn takes in how an ease was answered, once it has been; after the stop it notes what still runs off the vessel.
func (g *Guide) learn(p *Pan, at float64, s stream, e Estimate) {
	now := p.Now.At
	switch {
	case !g.change.open || now.Before(g.change.until):
	case g.change.to > 0:
		g.habit = g.change.teach(g.habit, now, at, s, e.SD, e.FlowSD)
		g.change.open = false
	case g.tail.flow == 0 && s.tipped+s.lip > 2*p.Division.Grams():
		g.tail = tail{at: at, sd: e.SD, flow: s.tipped + s.lip}
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
// asked for before have brought.
func (g *Guide) count(p *Pan, a Aim, poured reading.Mass) {
	missing, d := a.middle()-poured.Grams(), p.Division.Grams()
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
		fit := min(missing/drop+0.5, (a.High.Grams()-poured.Grams()-d/2)/g.habit.Drop.most())
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
