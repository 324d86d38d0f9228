package rehearse

import (
	"time"

	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station/pour"
)

// result is how one pour came out, by the true masses, in grams.
type result struct {
	first   float64 // in the cup once the first stop's last drop had landed, before any top-up
	final   float64
	seconds float64 // from the first cue until digits that anybody would take as final
	topUps  int
	above   bool // the display ended above the window: a correction
	short   bool // it ended as top_up: not even a drop fits
	unended bool

	rested bool    // the guidance called the first stop settled
	delay  float64 // s, from when the truth had settled until then
	ended  float64 // s, from when the smoother was sure of what is to land until then
	stood  float64 // s, from when it was sure of what is to show, too
	late   float64 // landed after that, by the end of all, without anything having been done
}

const (
	// patience is how long a pour may take.
	patience = 20 * time.Minute
	// toPlace is how long the cup may take to be seen.
	toPlace = time.Minute
	// lastDrop is how long what happens after a pour is watched.
	lastDrop = time.Minute
)

// run is one pour under way.
type run struct {
	c       Cell
	who     string
	aim     pour.Aim
	d       reading.Mass
	t       *simulator.Trial
	pan     pour.Pan
	guide   pour.Guide
	hand    hand
	fastest float64 // of the practised hand
	decided pour.Cue
	looks   time.Duration // when it looks next
	began   time.Duration
	from    reading.Mass
	screen  seen
	placed  bool
	started bool
	ended   bool
	stopped bool
	tips    int
	truly   time.Duration // when the truth had settled after the first stop
	smooth  smoother
	settled time.Duration // when the pan said so
	atThat  reading.Mass
	first   reading.Mass
	lag     time.Duration // that the scale was found to have; 0: it was not
	out     result
	trace   func(*run)
}

// epoch is when every rehearsal begins: any instant would do.
var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// one makes one pour and says what the guidance has learned from it.
func (c Cell) one(who string, seed uint64, habit pour.Habit, fastest float64, trace func(*run)) (result, pour.Habit, error) {
	t, err := c.trial(seed)
	if err != nil {
		return result{}, habit, err
	}
	d := grams(c.Scale.Division)
	p := &run{c: c, who: who, aim: c.aim(), d: d, t: t, pan: pour.NewPan(d), guide: pour.NewGuide(habit), hand: hand{c: c}, fastest: fastest, trace: trace}
	for !p.ended {
		p.step()
	}
	return p.out, p.guide.Habit(p.pan.Value()-p.from, d), nil
}

// step is one Step of everything.
func (p *run) step() {
	shown, fresh := p.t.Step()
	now := p.t.Now()
	if fresh {
		p.read(shown)
	}
	if p.stopped && p.tips == 0 && p.smooth.stood == 0 {
		p.smoothen(shown, fresh)
	}
	if !p.placed && p.pan.Empty() {
		p.placed = true
		p.t.Place()
	}
	if !p.started {
		if now > toPlace {
			p.out.unended = true
			p.end()
		}
		return
	}
	tips := p.tips
	if p.who == Practised {
		if now >= p.looks {
			p.looks = now + lookEvery
			p.notice(p.decide(p.screen))
		}
		p.look()
	} else {
		p.follow()
	}
	p.watch(tips)
	if now-p.began > patience {
		p.out.unended = true
		p.end()
	}
}

// read gives a displayed value to the guidance, and the screen to the hand.
func (p *run) read(shown simulator.Shown) {
	m, _ := shown.Value.Mass()
	motion := reading.Moving
	if shown.Stable {
		motion = reading.Stable
	}
	happening := p.pan.Take(reading.Reading{Value: shown.Value, Mass: m, Motion: motion, At: epoch.Add(shown.At)})
	if happening == pour.Placed && !p.started {
		p.started, p.from, p.began = true, p.pan.Value(), p.t.Now()
		p.lag, _ = p.pan.Lag()
	}
	if !p.started {
		return
	}
	poured := p.pan.Value() - p.from
	p.guide.Take(&p.pan, p.aim, poured, p.estimate(poured))
	p.screen = seen{
		cue: p.guide.Cue(), wanted: p.guide.Wanted(), remaining: (p.aim.Target - poured).Grams(), shown: poured.Grams(),
		drops: p.guide.Drops(), below: p.pan.Settled(settle) && poured < p.aim.Low && poured >= p.d,
	}
	if p.who != Practised {
		p.notice(p.screen)
	}
	p.judge(poured)
}

// estimate is the pan's or, for the floor, the truth.
func (p *run) estimate(poured reading.Mass) pour.Estimate {
	if p.who != Floor {
		return p.pan.Estimate()
	}
	return pour.Estimate{Ahead: (p.t.Landed() + p.t.OnItsWay() + p.t.OnLip() - poured).Grams(), Flow: p.t.Tipped()}
}

// judge notes the first settling and ends the pour once its digits are final.
func (p *run) judge(poured reading.Mass) {
	if p.stopped && p.settled == 0 && p.tips == 0 && p.guide.Rested(&p.pan, p.aim) {
		p.settled, p.atThat = p.t.Now(), p.t.Landed()
	}
	wait := settle
	if p.who != Practised {
		wait = max(settle, p.aim.SettleTime(p.d))
	}
	idle := p.t.Now() >= p.hand.until
	if poured >= p.aim.Low && idle && p.pan.Settled(wait) {
		p.out.above = poured > p.aim.High
		p.end()
	}
}

// watch notes what the truth does after the first stop. tips is how many had been given before this Step.
func (p *run) watch(tips int) {
	cue := p.hand.doing.cue
	if !p.stopped && (cue == pour.CueStop || cue == pour.CueHold || cue == pour.CueTopUp) {
		p.stopped, p.smooth = true, newSmoother(p.c, p.t.Flow())
	}
	if p.stopped {
		p.rest()
	}
	if p.tips > tips && p.first == 0 && p.c.Job.Scoop == 0 {
		p.first = p.t.Landed()
		p.late()
	}
	if cue == pour.CueTopUp && p.tips == tips && p.t.Now() >= p.hand.next && p.t.Now() >= p.hand.until {
		p.out.short = true
		p.end()
	}
	if p.trace != nil {
		p.trace(p)
	}
}

// smoothen lets the smoother see what the display shows after the first stop.
func (p *run) smoothen(shown simulator.Shown, fresh bool) {
	p.smooth.step()
	if fresh {
		m, _ := shown.Value.Mass()
		p.smooth.take(p.t.Now(), m.Grams())
	}
}

// rest notes when the truth has settled after the first stop.
func (p *run) rest() {
	if p.truly == 0 && p.t.StillToCome() < p.d/2 && p.t.Behind().Abs() < p.d/2 {
		p.truly = p.t.Now()
	}
}

// late works out what has landed since the first settling without a top-up, or will, and how late that was. A truth or
// smoother that had not settled when the top-up began, or in lastDrop, is taken to have done so then.
func (p *run) late() {
	if p.settled == 0 {
		return
	}
	after := func(sure time.Duration) float64 {
		if sure == 0 {
			sure = p.t.Now()
		}
		return (p.settled - sure).Seconds()
	}
	p.out.rested, p.out.delay, p.out.late = true, after(p.truly), (p.first - p.atThat).Grams()
	p.out.ended, p.out.stood = after(p.smooth.ended), after(p.smooth.stood)
}

func (p *run) end() {
	p.ended = true
	final := p.t.Landed() + p.t.StillToCome()
	p.out.final, p.out.seconds, p.out.topUps = final.Grams(), (p.t.Now() - p.began).Seconds(), p.tips
	if p.first == 0 {
		p.first = final
		p.outlast()
		p.late()
	}
	p.out.first = p.first.Grams()
	if p.c.Job.Scoop > 0 {
		p.out.topUps = 0
	}
}

// outlast waits, the pour being over, until truth and smoother have settled.
func (p *run) outlast() {
	for end := p.t.Now() + lastDrop; p.settled != 0 && (p.truly == 0 || p.smooth.stood == 0) && p.t.Now() < end; {
		p.t.Right()
		shown, fresh := p.t.Step()
		p.smoothen(shown, fresh)
		p.rest()
	}
}
