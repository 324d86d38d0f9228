package pour

import (
	"time"

	"twocup/scaledrv/reading"
)

const (
	// Rest is the least time that a value must stay within one division before it counts as settled.
	Rest = 500 * time.Millisecond
	// restReadings is the least number of readings that must agree.
	restReadings = 3
	// arrival is the time in which half of a cup's weight has come, by common practice, no source. What is poured onto a
	// cup that was tared away before anyone looked comes slower, and is no cup.
	arrival = 1500 * time.Millisecond
	// gap without readings after which nothing seen before speaks for the present motion.
	gap = 2 * time.Second
)

// Happening is what a reading shows to have happened at the pan.
type Happening uint8

const (
	Nothing Happening = iota
	Placed            // a stable load on a pan that was empty
	Lifted            // the load has left the pan
	Keyed             // TARE at the scale: the value went from Before to Now, the load did not
)

// Pan follows the load on one pan. The zero value has seen nothing yet.
type Pan struct {
	Division reading.Mass    // in force: the scale's, or the display's own step where that is coarser
	Now      reading.Reading // the newest reading with a weight
	Before   reading.Reading // the one before it
	Rested   reading.Reading // the newest settled one, its mass the one in the middle of the newest few
	Peak     reading.Mass    // largest value since Rested
	Clean    bool            // of the newest Keyed: the value was at rest before it, so nothing landed unseen

	division reading.Mass // the scale's own
	seen     bool
	low      reading.Mass // the band that the values have kept since rest began
	high     reading.Mass
	since    time.Time
	readings int

	place place
	empty reading.Mass // stable value of the empty pan
	load  reading.Mass // last settled load above it

	coming  time.Time    // first reading of a load on the empty pan
	arrived reading.Mass // most of it within arrival of that

	trail trail
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

// Threshold is the smallest stable load that counts as a cup: 1 g or 5 divisions.
func (p *Pan) Threshold() reading.Mass { return max(reading.Gram, 5*p.Division) }

// Take follows one reading with a weight and says what it shows to have happened.
func (p *Pan) Take(r reading.Reading) Happening {
	continued := p.seen && r.At.Sub(p.Now.At) < gap
	rested := continued && p.Settled(0)
	p.Before, p.Now = p.Now, r
	p.Division = max(p.division, r.Value.Step())
	if p.seen && rekinded(p.Before, r) {
		p.Clean = rested
		p.empty += r.Mass - p.Before.Mass
		p.Interrupt()
		p.follow(r, true)
		return Keyed
	}
	p.seen = true
	p.follow(r, continued)
	return p.placed()
}

// Interrupt says that the scale shows no weight just now: nothing seen before speaks for the motion after it.
func (p *Pan) Interrupt() { p.readings, p.trail = 0, trail{} }

// rekinded tells TARE from a load by the kind of weight, which only a key changes. ZERO changes no kind: on these lines it
// can't be told from a cup that was lifted, and is taken for that.
func rekinded(before, now reading.Reading) bool {
	return before.Kind != now.Kind && before.Kind != reading.KindUnknown && now.Kind != reading.KindUnknown
}

// follow keeps the band of one division that the newest values share, and the trail for the flow.
func (p *Pan) follow(r reading.Reading, continued bool) {
	low, high := min(p.low, r.Mass), max(p.high, r.Mass)
	if !continued {
		p.trail = trail{}
	}
	if !continued || p.readings == 0 || high-low > p.Division || r.Motion == reading.Moving {
		low, high = r.Mass, r.Mass
		p.since, p.readings = r.At, 0
	}
	p.low, p.high = low, high
	p.readings++
	p.trail.add(r.At, r.Mass)
	if p.Settled(0) {
		p.Rested, p.Peak = r, r.Mass
		p.Rested.Mass = p.trail.median()
	}
	p.Peak = max(p.Peak, r.Mass)
}

// placed judges whether the pan is loaded. A load leaves at once, it comes only settled, and a cup comes in one go.
func (p *Pan) placed() Happening {
	load, settled := p.Now.Mass-p.empty, p.Settled(Rest)
	if p.place == empty {
		p.arrive(load)
	}
	switch {
	case p.place == loaded && load < p.load/2, p.place == foreign && load < p.load/4:
		p.place, p.arrived = empty, 0
		return Lifted
	case !settled:
		return Nothing
	case p.place == loaded, p.place == foreign:
		p.load = load
	case load < p.Threshold():
		p.place, p.empty = empty, p.Now.Mass
	case p.place == unknown, p.arrived < load/2: // nobody saw it come, or it was poured
		p.place, p.load = foreign, load
	default:
		p.place, p.load = loaded, load
		return Placed
	}
	return Nothing
}

// arrive keeps how much of a load had come within a moment of its first line.
func (p *Pan) arrive(load reading.Mass) {
	switch {
	case load < p.Threshold():
		p.arrived = 0
	case p.arrived == 0:
		p.coming, p.arrived = p.Now.At, load
	case p.Before.At.Sub(p.coming) <= arrival: // by the line before: there may have been none for a while
		p.arrived = max(p.arrived, load)
	}
}

// Settled says whether the value has stayed within one division for at least Rest, three readings and the time given,
// and the scale itself doesn't call it moving.
func (p *Pan) Settled(atLeast time.Duration) bool {
	return p.readings >= restReadings && p.Still() >= max(Rest, atLeast)
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
