package pour

import "twocup/scaledrv/reading"

// inALine is more than a stream brings from one line to the next: 200 g/s from a tap, ten lines a second.
const inALine = 20 * reading.Gram

// key judges whether the display went over to another zero. Keys work at rest: a line that is called moving shows none.
// Where a line says gross or net, TARE shows by that; elsewhere a key is a jump from one stable value to another, with no
// values in between. An empty pan that shows zero looks like a load that was tared.
func (p *Pan) key(continued, rested bool) Happening {
	if !continued && p.place == empty && p.Now.Mass.Abs() <= p.Division {
		p.empty, p.shift = p.Now.Mass, 0 // it may have been off: a load set on it meanwhile must be lifted to be seen
	}
	was, clean := p.before(continued, rested)
	h := p.keyed(was, clean, continued)
	if h != Nothing {
		p.Was, p.Clean = was, clean
		p.rebase(h)
	}
	return h
}

func (p *Pan) keyed(was reading.Mass, clean, continued bool) Happening {
	now, d := p.Now, p.Division
	change := now.Mass - was
	zeroed := now.Mass.Abs() <= d
	switch {
	case !continued && zeroed && p.place == loaded && change.Abs() > slack*d && now.Kind != reading.Net: // an off scale forgets its tare
		return Restarted
	case rekinded(p.Before, now):
		return Keyed
	case !continued || now.Motion == reading.Moving || change.Abs() <= slack*d:
		return Nothing
	case p.place == empty && clean && zeroed: // a load would not come to rest in one line, and at zero
		return Keyed
	case p.place != loaded:
		return Nothing
	case clean && (change+p.shift).Abs() <= d && (now.Motion == reading.Stable || change > inALine): // the tare is cleared
		return Keyed
	case !zeroed || change > 0: // up to zero something may be put in
		return Nothing
	case now.Kind == reading.Net && p.Before.Kind == reading.KindUnknown: // some mark net lines alone
		return Keyed
	case now.Mass-p.empty < p.Threshold():
		return Jumped
	case clean: // the empty pan reads far below zero
		return Keyed
	}
	return Nothing
}

// before is the value that a key may have changed, and whether it was at rest.
func (p *Pan) before(continued, rested bool) (was reading.Mass, clean bool) {
	clean = rested || !continued && p.calm && p.Before.Kind == p.Now.Kind
	if clean {
		return p.Rested.Mass, true
	}
	return p.Before.Mass, false
}

// rekinded tells TARE from a load by the kind of weight, which only a key changes. ZERO changes no kind.
func rekinded(before, now reading.Reading) bool {
	return before.Kind != now.Kind && before.Kind != reading.KindUnknown && now.Kind != reading.KindUnknown
}

// rebase carries what is known of the pan over to the display's new zero.
func (p *Pan) rebase(h Happening) {
	change := p.Now.Mass - p.Was
	switch h {
	case Keyed:
		p.empty += change
		p.shift += change
		p.zero += change
	case Jumped, Restarted:
		p.Stood, p.zero, p.jump = p.Was-p.empty, p.Now.Mass, change
		p.place, p.empty, p.arrived, p.puts, p.leapt = empty, p.Now.Mass, 0, 0, true
	}
	if h == Restarted { // there is nothing left to clear
		p.shift, p.jump = 0, 0
	}
	p.Rested.Mass += change
	p.Peak, p.quick = p.Rested.Mass, p.Rested.Mass
	p.Interrupt()
}

// Tared says that the newest Jumped was a key, or that the newest Restarted found the load where it was. A load that has
// left since is off.
func (p *Pan) Tared() {
	p.shift += p.jump
	if !p.leapt {
		return
	}
	p.place, p.empty, p.leapt = loaded, p.zero-p.Stood, false
	p.load = p.Now.Mass - p.empty
}

// Back says whether a load that has come after a Jumped or Restarted is the one that stood there.
func (p *Pan) Back() bool {
	return p.place == loaded && (p.load-p.Stood).Abs() <= max(slack*p.Division, p.Stood/20)
}

// Streamed says whether what has come after a Jumped or Restarted is a stream, and no load set back.
func (p *Pan) Streamed() bool {
	return p.place == foreign ||
		p.place == empty && p.arrived > 0 && p.Now.At.Sub(p.coming) > arrival && p.Load() > p.arrived+p.arrived/4
}

// sunk says whether after a Jumped or Restarted the value is far below zero: what stood there has left.
func (p *Pan) sunk() bool {
	return p.leapt && p.zero-p.Now.Mass > max(p.Threshold(), p.Stood/2)
}
