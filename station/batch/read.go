package batch

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/plan"
	"twocup/station/pour"
)

// read follows one reading and returns what it decides.
func (s *State) read(r reading.Reading) []Fact {
	if r.State != reading.Normal {
		s.Pan.Interrupt()
		return nil
	}
	happening := s.Pan.Take(r)
	switch {
	case !s.Running():
		return nil
	case !s.OnScale():
		return s.afterwards()
	case !s.cup:
		return s.takeCup()
	}
	if facts := s.moved(happening); facts != nil || s.off {
		return facts
	}
	if s.waiting {
		return s.handOver()
	}
	if s.rises.IsZero() && s.Pan.Now.Mass-s.from >= 2*s.Pan.Division {
		s.rises = r.At
	}
	s.guide.Take(&s.Pan, s.dosing().aim(), s.total())
	return s.decide()
}

// takeCup makes the settled load of a cup the reference, once every check that says stop has been passed.
func (s *State) takeCup() []Fact {
	if !s.Start.Auto.Tare || len(s.openChecks()) > 0 || !s.Pan.Loaded() || !s.Pan.Settled(0) {
		return nil
	}
	return s.atOnce(CupTaken{inForce: now, At: s.Pan.Now.At, Reference: s.value(), Division: s.division()})
}

// value and division are the pan's, as facts keep them.
func (s *State) value() plan.Picograms    { return plan.Picograms(s.Pan.Now.Mass) }
func (s *State) division() plan.Picograms { return plan.Picograms(s.Pan.Division) }

var now = inForce{already: true}

// atOnce applies a fact before it is durable: for what only follows the pan and is shown as it is measured.
func (s *State) atOnce(f Fact) []Fact {
	s.apply(f)
	return []Fact{f}
}

// openChecks are the plan's stops that nobody has passed yet.
func (s *State) openChecks() []string {
	open := s.Start.Plan.OpenChecks()
	if len(open) == 0 {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(open), func(id string) bool { return slices.Contains(s.overridden, id) })
}

// moved follows the cup and the keys of the scale: the reference moves with them, what was poured does not.
func (s *State) moved(h pour.Happening) []Fact {
	switch {
	case h == pour.Keyed && s.off:
		s.from += s.Pan.Now.Mass - s.Pan.Before.Mass
	case h == pour.Keyed:
		return s.reference("key", s.Pan.Before.Mass)
	case h == pour.Lifted:
		s.lift()
	case s.off && s.Pan.Loaded() && s.Pan.Settled(0) && s.Pan.Load() >= s.lifted/2:
		s.off = false
		if !s.moving {
			return s.reference("cup_back", s.rest)
		}
	}
	return nil
}

// lift notes what was on the pan. Values are not compared across a lift, so the part is counted up to where it rested
// and goes on from a fresh reference. Where the cup left in mid-stream there is no such value: then the old reference
// goes on, since what landed last was never shown.
func (s *State) lift() {
	d := s.Pan.Division
	s.off, s.early, s.Question = true, false, Question{}
	s.moving = s.Pan.Peak-s.Pan.Rested.Mass > d && !s.waiting
	s.rest = s.Pan.Rested.Mass
	top := s.rest
	if s.moving {
		top = s.Pan.Peak
	}
	s.frozen = top - s.from
	s.lifted = top - (s.Pan.Now.Mass - s.Pan.Load())
}

// reference counts on from the present value. The weighing up to then ended at the value to.
func (s *State) reference(why string, to reading.Mass) []Fact {
	weighings := s.dosing().Weighings
	if !s.waiting {
		weighings = s.closed(to)
	}
	return s.atOnce(Referenced{
		inForce: now, At: s.Pan.Now.At, Why: why, Weighings: weighings, Reference: s.value(), Division: s.division(),
	})
}

// closed are the weighings of the dosing at hand, the running one ended at the value to.
func (s *State) closed(to reading.Mass) []Weighing {
	w := Weighing{
		From: plan.Picograms(s.from), To: plan.Picograms(to),
		FromD: plan.Picograms(s.fromD), ToD: plan.Picograms(s.Pan.Division), Shared: s.shared,
	}
	return append(slices.Clone(s.dosing().Weighings), w)
}

// decide accepts the part at hand when it is at rest inside its window or above it.
func (s *State) decide() []Fact {
	d := s.dosing()
	if s.taken || s.acting || s.Question.Ask != "" || !s.Start.Auto.Accept {
		return nil
	}
	total := s.total()
	if total < d.Low || !s.Pan.Settled(max(s.Start.Auto.Settle, d.aim().SettleTime(s.Pan.Division))) {
		return nil
	}
	if s.reopened != nil && (total-*s.reopened).Abs() < s.Pan.Division {
		return nil
	}
	fact, room := s.accept("auto")
	if room != nil {
		s.Question = noRoom(room)
		return nil
	}
	s.taken = true
	return []Fact{fact}
}

// afterwards watches the cup once everything is weighed: a last drip takes the verdict back, the cup taken off keeps it.
func (s *State) afterwards() []Fact {
	s.left = s.left || s.Pan.Empty()
	at := s.Pan.Now.At
	if s.left || at.Sub(s.Weighed) > landing || !s.Pan.Settled(0) || s.Pan.Lowest()-s.from <= s.Pan.Division {
		return nil
	}
	last := len(s.Dosings) - 1
	return s.atOnce(Reopened{inForce: now, At: at, Dosing: last, Part: s.Dosings[last].Part.Part, Why: "landed"})
}

// meanFlow of the part at hand from its first rise to where its value came to rest, in g/s. A part taken back keeps
// the flow that it was poured with.
func (s *State) meanFlow() float64 {
	d := s.dosing()
	if s.rises.IsZero() {
		return d.Flow
	}
	poured := s.Pan.Now.Mass - s.from
	for _, w := range d.Weighings {
		poured += w.mass()
	}
	return poured.Grams() / max(time.Second, s.Pan.Since().Sub(s.rises)).Seconds()
}
