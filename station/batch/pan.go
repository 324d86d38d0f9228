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
	unclaimed := s.unclaimed(s.Pan.Rested.Mass)
	s.off, s.early = true, false
	s.moving = !s.waiting && s.Pan.Now.At.Sub(s.Pan.Rested.At) > grab
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

// unclaimed says whether what has landed since the part before was accepted is nobody's yet.
func (s *State) unclaimed(value reading.Mass) bool {
	return s.waiting && s.early && value-s.from >= 2*s.Pan.Division
}

// cupBack takes a fresh reference. A cup that has become heavier, or much lighter, may be another one.
func (s *State) cupBack() []Fact {
	if s.moving {
		s.off = false
		return nil
	}
	change, few := s.Pan.Load()-s.lifted, slack*s.Pan.Division
	if change > few || -change > max(few, s.contents()/20) {
		s.Question = cupChanged(change)
		return nil
	}
	s.off = false
	facts := s.reference("cup_back", s.rest)
	if -change > few {
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
	value := s.Pan.Value()
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
	if s.unclaimed(to) || s.taken || s.acting {
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
