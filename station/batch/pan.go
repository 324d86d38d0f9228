package batch

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

const (
	// slack is how many divisions a load may differ by without anything having happened to it: off-centre, a reading each.
	slack = 3
	// grab is how long a hand may press on a cup at rest before it lifts it; a stream is longer in motion.
	grab = 1500 * time.Millisecond
)

// moved follows the cup and the keys of the scale: the reference moves with them, what was poured does not.
func (s *State) moved(h pour.Happening) []Fact {
	switch {
	case h == pour.Keyed:
		return s.keyed()
	case h == pour.Jumped && !s.off, h == pour.Restarted && !s.off:
		return s.jumped(h)
	case s.jump == nil && (h == pour.Lifted || h == pour.Jumped || h == pour.Restarted):
		return s.lift()
	case s.jump != nil:
		return s.sinceJump(h)
	case s.off && s.Pan.Loaded() && s.Pan.Settled(0) && s.Pan.Load() >= s.lifted/2:
		return s.cupBack()
	case s.display != 0 && s.display != s.Pan.Division && !s.off && s.Pan.Settled(0):
		return s.reference("division", s.Pan.Value())
	}
	return nil
}

// lift notes what was on the pan. Values are not compared across a lift: the part is counted up to where it rested and
// goes on from a fresh reference. Where the cup left in mid-stream there is no such value; then the old reference goes
// on, since what landed last was never shown, and nobody can vouch for it.
func (s *State) lift() []Fact {
	s.Question = Question{}
	if s.off {
		return nil // it was set back for a moment
	}
	moving := !s.waiting && s.Pan.Now.At.Sub(s.Pan.Rested.At) > grab
	rest := s.Pan.Rested.Mass
	top := rest
	if moving {
		top = s.Pan.Peak
	}
	return s.takenOff(rest, top, top-(s.Pan.Now.Mass-s.Pan.Load()), moving)
}

// takenOff has the cup leave the pan at a value, the part at hand having come up to top; load is the cup with its
// contents.
func (s *State) takenOff(rest, top, load reading.Mass, moving bool) []Fact {
	unclaimed := s.unclaimed(rest)
	s.off, s.early, s.moving = true, false, moving
	s.rest, s.top, s.lifted = rest, top, load
	switch {
	case s.moving:
		return s.doubtful("the cup was lifted while liquid was landing in it")
	case unclaimed:
		return s.doubtful("the cup was lifted before it was said which part had landed in it")
	}
	return nil
}

// unclaimed says whether what has landed since the part before was accepted is nobody's yet.
func (s *State) unclaimed(value reading.Mass) bool {
	return s.waiting && s.early && value-s.from >= 2*s.Pan.Division
}

// cupBack takes a fresh reference. A cup that has become a little lighter has lost some of its mix on a stick or a wall:
// that is taken from everything in it in proportion. One that is heavier, or much lighter, may be another one.
func (s *State) cupBack() []Fact {
	if s.moving {
		s.off = false
		return nil
	}
	change, rest, put, in := s.Pan.Load()-s.lifted, s.rest, s.put, s.in
	if gone := s.foreign(); gone > 0 && (change+gone).Abs() < change.Abs() { // it was taken out meanwhile
		change += gone
		rest -= put.size()
		put, in = nil, 0
	}
	f, same := s.newReference("cup_back", rest, s.Pan.Value(), -change)
	if !same {
		s.Question = cupChanged(change)
		return nil
	}
	s.put, f.Foreign = put.shifted(s.Pan.Value()-rest), plan.Picograms(in)
	return s.refer(f)
}

// fell follows a settled value that has become smaller with the cup on the pan: what was not poured has left, or else
// something was taken out, or something that was counted as poured was none, and nobody knows what is in the cup.
func (s *State) fell() []Fact {
	if !s.Pan.Settled(0) {
		return nil
	}
	value, from := s.Pan.Value(), s.highest
	if from-value <= slack*s.Pan.Division {
		s.highest = max(s.highest, value)
		return nil
	}
	s.highest = value
	if facts, known := s.takenOut(from, value); known {
		return facts
	}
	facts := s.doubtful("the weight fell while the cup stood on the pan")
	if s.waiting && value < s.from {
		facts = append(facts, s.reference("fell", s.from)...)
	}
	return facts
}

// reference counts on from the present value. The weighing up to then ended at the value to.
func (s *State) reference(why string, to reading.Mass) []Fact {
	f, _ := s.newReference(why, to, s.Pan.Value(), 0)
	if s.unclaimed(to) {
		return append(s.doubtful(movedTooSoon), s.refer(f)...)
	}
	return s.refer(f)
}

const movedTooSoon = "the reference moved before it was recorded which part had landed"

// refer puts a new reference in force.
func (s *State) refer(f Referenced) (facts []Fact) {
	f.inForce = now
	if s.taken || s.acting {
		facts = s.doubtful(movedTooSoon)
	}
	return append(facts, s.atOnce(f)...)
}

// newReference is the part at hand counted on from the value from, the weighing up to then having ended at the value to,
// and a loss since then taken from all that was poured. A part whose window depends on readings or masses gets it anew.
// It is false where the loss is too large to be one, or negative by more than a flicker.
func (s *State) newReference(why string, to, from, loss reading.Mass) (f Referenced, plausible bool) {
	f = Referenced{
		At: s.Pan.Now.At, Why: why, Dosing: s.at, Weighings: s.dosing().Weighings,
		Reference: plan.Picograms(from), Division: s.division(), Foreign: s.foreignIn(),
	}
	if !s.waiting {
		f.Weighings = s.closed(to)
	}
	then := *s
	then.edit(s.at).Weighings = f.Weighings
	left, plausible := plan.Parked(then.weighings(), loss, s.Pan.Division)
	if !plausible {
		return f, false
	}
	if loss > slack*s.Pan.Division {
		f.Left = then.lose(left)
		f.Weighings = f.Left[s.at]
	}
	f.Part, f.Provable = then.rewindow()
	return f, true
}

// lose has every weighing come down to what is left of it, and gives all of them.
func (s *State) lose(left []metrology.Weighing) (all [][]Weighing) {
	n := 0
	for i := range s.Dosings {
		d := s.edit(i)
		d.Weighings = slices.Clone(d.Weighings)
		for j := range d.Weighings {
			d.Weighings[j].Lost += plan.Picograms(d.Weighings[j].mass() - left[n].Mass)
			n++
		}
		all = append(all, d.Weighings)
	}
	return all
}

// rewindow is the window of the part at hand for the readings and masses there are now; nil where it does not depend on
// them.
func (s *State) rewindow() (*plan.Part, bool) {
	d, p := s.dosing(), &s.Start.Plan
	open := metrology.Weighing{FromD: s.Pan.Division, ToD: s.Pan.Division}
	switch {
	case d.Part.Part == "B":
		part, provable := p.PartB(s.weighings(), open)
		return &part, provable
	case d.Part.Part != "A":
		part := p.PartAddition(d.Part.Part, s.weighings(), s.Pan.Division)
		return &part, d.Provable
	case d.Correction:
		if part, provable, err := p.CorrectA(s.weighings(), open, s.Pan.Load()); err == nil {
			return &part, provable
		}
	}
	return nil, d.Provable
}

// closed are the weighings of the dosing at hand, the running one ended at the value to.
func (s *State) closed(to reading.Mass) []Weighing {
	w := Weighing{
		From: plan.Picograms(s.from), To: plan.Picograms(to),
		FromD: plan.Picograms(s.fromD), ToD: plan.Picograms(s.Pan.Division), Shared: s.shared,
	}
	return append(slices.Clone(s.dosing().Weighings), w)
}

// doubtful notes once that the contents of the cup are in doubt.
func (s *State) doubtful(why string) []Fact {
	if s.Doubt != "" {
		return nil
	}
	return s.atOnce(Doubted{inForce: now, At: s.Pan.Now.At, Why: why})
}
