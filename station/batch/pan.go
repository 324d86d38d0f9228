package batch

import (
	"slices"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// slack is how many divisions a load may differ by without anything having happened to it: off-centre, a reading each.
const slack = 3

// moved follows the cup and the keys of the scale: the reference moves with them, what was poured does not.
func (s *State) moved(h pour.Happening) []Fact {
	switch {
	case h == pour.Keyed && s.off:
		s.from += s.Pan.Now.Mass - s.Pan.Before.Mass
		s.rest += s.Pan.Now.Mass - s.Pan.Before.Mass
	case h == pour.Keyed:
		facts := s.reference("key", s.Pan.Before.Mass)
		if !s.Pan.Clean {
			facts = append(facts, s.doubtful("TARE was pressed at the scale while its value was moving")...)
		}
		return facts
	case h == pour.Lifted:
		return s.lift()
	case s.off && s.Pan.Loaded() && s.Pan.Settled(0) && s.Pan.Load() >= s.lifted/2:
		return s.cupBack()
	case s.display != 0 && s.display != s.Pan.Division && !s.off:
		return s.reference("division", s.Pan.Now.Mass)
	}
	return nil
}

// lift notes what was on the pan. Values are not compared across a lift: the part is counted up to where it rested and
// goes on from a fresh reference. Where the cup left in mid-stream there is no such value; then the old reference goes
// on, since what landed last was never shown, and nobody can vouch for it.
func (s *State) lift() []Fact {
	unclaimed := s.waiting && s.risen() != 0 && s.unclaimed(s.Pan.Peak)
	s.off, s.early, s.Question = true, false, Question{}
	s.moving = s.Pan.Peak-s.Pan.Rested.Mass > s.Pan.Division && !s.waiting
	s.rest = s.Pan.Rested.Mass
	top := s.rest
	if s.moving {
		top = s.Pan.Peak
	}
	s.frozen = top - s.from
	s.lifted = top - (s.Pan.Now.Mass - s.Pan.Load())
	switch {
	case s.moving:
		return s.doubtful("the cup was lifted while liquid was landing in it")
	case unclaimed:
		return s.doubtful("the cup was lifted before it was said which part had landed in it")
	}
	return nil
}

// unclaimed says whether something has landed since the part before was accepted that is nobody's yet.
func (s *State) unclaimed(value reading.Mass) bool {
	return s.waiting && value-s.from >= s.Pan.Division && s.early
}

// cupBack takes a fresh reference. A cup that has become heavier, or much lighter, may be another one.
func (s *State) cupBack() []Fact {
	if s.moving {
		s.off = false
		return nil
	}
	change := s.Pan.Load() - s.lifted
	contents := s.contents()
	switch {
	case change > slack*s.Pan.Division, -change > max(slack*s.Pan.Division, contents/20):
		s.Question = cupChanged(change)
		return nil
	}
	s.off = false
	facts := s.reference("cup_back", s.rest)
	if -change > slack*s.Pan.Division {
		facts = append(facts, s.doubtful("the cup came back lighter than it left")...)
	}
	return facts
}

// contents of the cup by every weighing.
func (s *State) contents() reading.Mass {
	sum := s.risen()
	for i := range s.Dosings {
		for _, w := range s.Dosings[i].Weighings {
			sum += w.mass()
		}
	}
	return sum
}

// fell says so where a settled value has become smaller with the cup on the pan: something was taken out, or something
// that was counted as poured was none.
func (s *State) fell() []Fact {
	if !s.Pan.Settled(0) {
		return nil
	}
	value := s.Pan.Now.Mass
	if s.highest-value <= slack*s.Pan.Division {
		s.highest = max(s.highest, value)
		return nil
	}
	s.highest = value
	facts := s.doubtful("the weight fell while the cup stood on the pan")
	if s.waiting && value < s.from {
		facts = append(facts, s.reference("fell", s.from)...)
	}
	return facts
}

// reference counts on from the present value. The weighing up to then ended at the value to. A part whose window
// depends on the readings gets it anew.
func (s *State) reference(why string, to reading.Mass) []Fact {
	f := Referenced{
		inForce: now, At: s.Pan.Now.At, Why: why, Dosing: s.at, Weighings: s.dosing().Weighings,
		Reference: s.value(), Division: s.division(),
	}
	var facts []Fact
	if s.waiting && s.unclaimed(to) || s.taken || s.acting {
		facts = s.doubtful("the reference moved before it was recorded which part had landed")
	}
	if !s.waiting {
		f.Weighings = s.closed(to)
	}
	f.Part, f.Provable = s.rewindow(f.Weighings)
	return append(facts, s.atOnce(f)...)
}

// rewindow is B's window for one more reference; nil for a part whose window does not depend on the readings.
func (s *State) rewindow(weighings []Weighing) (*plan.Part, bool) {
	d := s.dosing()
	if d.Part.Part != "B" {
		return nil, d.Provable
	}
	then := *s
	then.edit(s.at).Weighings = weighings
	part, provable := s.Start.Plan.PartB(then.weighings(), metrology.Weighing{FromD: s.Pan.Division, ToD: s.Pan.Division})
	return &part, provable
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
