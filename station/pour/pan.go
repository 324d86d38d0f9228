package pour

import (
	"time"

	"twocup/scaledrv/reading"
)

const (
	// Rest is the least time that a value must stay within its band before it counts as settled.
	Rest = 500 * time.Millisecond
	// restReadings is the least number of readings that must agree.
	restReadings = 3
	// arrival is the time in which half of a cup's weight has come, by common practice, no source. What is poured onto a
	// cup that was tared away before anyone looked comes slower, and is no cup.
	arrival = 1500 * time.Millisecond
	// gap without readings after which nothing seen before speaks for the present motion.
	gap = 2 * time.Second
	// slack is how many divisions a value may differ by without anything having happened: off-centre, a reading each.
	slack = 3
)

// Happening is what a reading shows to have happened at the pan.
type Happening uint8

const (
	Nothing   Happening = iota
	Placed              // a stable load on a pan that was empty
	Lifted              // the load has left the pan
	Keyed               // TARE or ZERO at the scale: the value went from Was to Now, the load did not
	Jumped              // from Was to about zero with no values in between: Lifted or Keyed. Lifted, until Tared is called
	Restarted           // the same across a silence: the scale was off, or the load was taken from it meanwhile
	Sank                // after a Jumped or Restarted: it was a key, and the load has left since
	Put                 // the load grew from PutFrom to PutTo too fast for a stream: something was put in or on, or a ladle emptied
)

// Pan follows the load on one pan. The zero value has seen nothing yet.
type Pan struct {
	Division reading.Mass    // in force: the scale's, or the display's own step where that is coarser
	Now      reading.Reading // the newest reading with a weight
	Before   reading.Reading // the one before it
	Rested   reading.Reading // the newest settled one, its mass the one in the middle of the newest few
	Peak     reading.Mass    // largest value since Rested
	Was      reading.Mass    // of the newest Keyed, Jumped or Restarted: the value before it
	Clean    bool            // of the same: that was at rest, so nothing landed unseen
	Stood    reading.Mass    // of the newest Jumped or Restarted: the load before it
	PutFrom  reading.Mass    // of the newest Put
	PutTo    reading.Mass

	division reading.Mass // the scale's own
	step     reading.Mass // the display's, at rest
	seen     bool
	low      reading.Mass // the band that the values have kept since rest began
	high     reading.Mass
	since    time.Time
	readings int

	place place
	empty reading.Mass // stable value of the empty pan
	load  reading.Mass // last settled load above it, without puts
	puts  reading.Mass // what was put in or on it
	shift reading.Mass // by which keys have moved the display
	zero  reading.Mass // what the newest Jumped or Restarted came to
	jump  reading.Mass // the change of the value then
	leapt bool         // and it is not known what that was
	calm  bool         // the value was at rest before an interruption
	quick reading.Mass // largest value soon after Rested
	noise reading.Mass // see Band

	coming  time.Time    // first reading of a load on the empty pan
	arrived reading.Mass // most of it within arrival of that

	trail    trail
	estimate estimator
	approach approach
	unrest   unrest
}

type place uint8

const (
	unknown place = iota // nothing settled yet
	empty
	loaded
	foreign // a load that nobody saw come, or one that has had its use: its leaving is seen, it is no cup
)

// NewPan is a pan on a scale with this division.
func NewPan(division reading.Mass) Pan { return Pan{Division: division, division: division} }

// Divide says what the scale's division is, where that was not known from the start.
func (p *Pan) Divide(division reading.Mass) {
	p.division, p.Division = division, max(division, p.step)
}

// Threshold is the smallest stable load that counts as a cup: 1 g or 5 divisions.
func (p *Pan) Threshold() reading.Mass { return max(reading.Gram, 5*p.Division) }

// Take follows one reading with a weight and says what it shows to have happened.
func (p *Pan) Take(r reading.Reading) Happening {
	since := r.At.Sub(p.Now.At)
	continued := p.seen && since >= 0 && since < gap
	rested := continued && p.Settled(0)
	if p.readings > 0 {
		p.calm = p.Settled(0)
	}
	p.Before, p.Now = p.Now, r
	p.resolve(r)
	if p.seen {
		if h := p.key(continued, rested); h != Nothing {
			p.follow(r, true)
			return h
		}
	}
	p.seen = true
	put := p.follow(r, continued)
	if h := p.placed(); h != Nothing || !put {
		return h
	}
	return Put
}

// resolve follows the step of the display. A display that leaves its last digit blank while it moves has not changed
// its step.
func (p *Pan) resolve(r reading.Reading) {
	step := r.Value.Step()
	if r.Motion == reading.Moving && (p.step == 0 || step == 10*p.step) {
		return
	}
	p.step, p.Division = step, max(p.division, step)
}

// Interrupt says that the scale shows no weight just now: nothing seen before speaks for the motion after it.
func (p *Pan) Interrupt() {
	if p.readings > 0 {
		p.calm = p.Settled(0)
	}
	p.readings, p.trail = 0, trail{}
	p.estimate.reset()
}

// Silence is an Interrupt after which the scale may have been off, however short it was.
func (p *Pan) Silence() {
	p.Interrupt()
	if p.seen {
		p.Now.At = p.Now.At.Add(-gap)
	}
}

// follow keeps the band that the newest values share, and the trail for the flow. It says whether a load has come to rest
// that no stream brought.
func (p *Pan) follow(r reading.Reading, continued bool) (put bool) {
	low, high := min(p.low, r.Mass), max(p.high, r.Mass)
	if !continued {
		p.trail = trail{}
	}
	p.unsettle(r, continued)
	if !continued || p.readings == 0 || high-low > p.Band() || r.Motion == reading.Moving {
		low, high = r.Mass, r.Mass
		p.since, p.readings = r.At, 0
	}
	p.low, p.high = low, high
	p.readings++
	p.trail.add(r.At, r.Mass)
	p.watch(r, continued)
	if r.At.Sub(p.Rested.At) <= p.soon() {
		p.quick = max(p.quick, r.Mass)
	}
	if p.Settled(0) {
		value := p.trail.median()
		put = p.putIn(value)
		p.Rested, p.Peak, p.quick = r, r.Mass, value
		p.Rested.Mass = value
	}
	p.Peak = max(p.Peak, r.Mass)
	return put
}

// placed judges whether the pan is loaded. A load leaves at once, it comes only settled, and a cup comes in one go.
func (p *Pan) placed() Happening {
	load, settled := p.Now.Mass-p.empty, p.Settled(Rest)
	if p.place == empty {
		p.arrive(load)
	}
	switch {
	case p.place == loaded && load < p.load/2, p.place == foreign && load < p.load/4:
		p.place, p.arrived, p.puts = empty, 0, 0
		return Lifted
	case p.sunk():
		p.empty, p.leapt = p.zero-p.Stood, false
		return Sank
	case !settled:
		return Nothing
	case p.place == loaded, p.place == foreign:
		p.puts = max(0, min(p.puts, load-p.load)) // what falls is first of all what was put in
		p.load = load - p.puts
	case load < p.Threshold():
		p.place, p.empty = empty, p.Now.Mass
	case p.place == unknown, p.arrived < load/2: // nobody saw it come, or it was poured
		p.place, p.load = foreign, load
	default:
		if lag, seen := p.approach.lag(load.Grams(), p.Division.Grams()); seen {
			p.estimate.lag = lag
		}
		if !p.Settled(Rest) {
			return Nothing
		}
		p.place, p.load, p.leapt = loaded, load, false
		p.estimate.reset() // the cup was no stream
		p.estimate.dry()
		return Placed
	}
	return Nothing
}

// arrive keeps how much of a load had come within a moment of its first line.
func (p *Pan) arrive(load reading.Mass) {
	if load >= p.Threshold() {
		p.approach.take(p.Now.At, load.Grams())
	}
	switch {
	case load < p.Threshold():
		p.arrived, p.approach = 0, approach{}
	case p.arrived == 0:
		p.coming, p.arrived = p.Now.At, load
	case p.Before.At.Sub(p.coming) <= arrival: // by the line before: there may have been none for a while
		p.arrived = max(p.arrived, load)
	}
}

// Settled says whether the value has stayed within one division for at least Rest, three readings and the time given,
// and the scale itself doesn't call it moving. A scale that was seen to lag may keep to one division on its way: after
// twice its lag there, less than a sixth of one is still to come.
func (p *Pan) Settled(atLeast time.Duration) bool {
	return p.readings >= restReadings && p.Still() >= max(Rest, atLeast, 2*p.estimate.lag)
}

// Still is how long the value has stayed within one division.
func (p *Pan) Still() time.Duration {
	if p.readings == 0 {
		return 0
	}
	return p.Now.At.Sub(p.since)
}

// Lowest is the lowest value of the stretch that Still measures.
func (p *Pan) Lowest() reading.Mass { return p.low }

// Since is when the value came to where it has stayed.
func (p *Pan) Since() time.Time { return p.since }

// Empty says whether the pan is known to carry nothing.
func (p *Pan) Empty() bool { return p.place == empty }

// Value is what the pan shows: the newest value or, at rest, the one in the middle of the newest few. A display flickers
// between two steps; one line on the far side of an edge must not decide anything.
func (p *Pan) Value() reading.Mass {
	if p.Settled(0) {
		return p.Rested.Mass
	}
	return p.Now.Mass
}

// Arriving says whether a load is coming onto a pan that was empty, and not yet at rest.
func (p *Pan) Arriving() bool {
	return (p.place == empty || p.place == unknown) && p.Load() >= p.Threshold() && !p.Settled(0)
}

// Loaded says whether a settled load has come onto a pan that was seen empty.
func (p *Pan) Loaded() bool { return p.place == loaded }

// Load is what is on the pan by the newest reading, above the value of the empty pan.
func (p *Pan) Load() reading.Mass { return p.Now.Mass - p.empty }

// Disown makes the pan forget that what stands on it came onto an empty one: a cup that a batch has used is not the
// next one's.
func (p *Pan) Disown() {
	if p.place == loaded {
		p.place = foreign
	}
}

// Flow is the mean flow over the last readings, in grams per second; 0 at rest.
func (p *Pan) Flow() float64 {
	if p.Settled(0) {
		return 0
	}
	return p.trail.slope()
}
