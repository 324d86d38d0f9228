package batch

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/plan"
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
		s.came(happening)
		return s.afterwards()
	case !s.cup:
		return s.takeCup()
	}
	if facts := s.moved(happening); facts != nil || s.off {
		return facts
	}
	if facts := s.fell(); facts != nil {
		return facts
	}
	s.came(happening)
	facts := s.swallowed()
	if s.waiting {
		return append(facts, s.handOver()...)
	}
	if s.rises.IsZero() && s.Pan.Now.Mass-s.from >= 2*s.Pan.Division {
		s.rises = r.At
	}
	s.guide.Take(&s.Pan, s.aim(s.dosing()), s.total(), s.Pan.Estimate())
	return append(facts, s.decide()...)
}

// swallowed says so where a part is counted from the display's own zero and leaves it slowly, in drops: a scale that tracks
// its zero takes these for a drift there.
func (s *State) swallowed() []Fact {
	at, d, rise := s.Pan.Now.At, s.Pan.Division, s.Pan.Now.Mass-s.from
	switch {
	case s.from.Abs() > d:
		return nil
	case rise < d:
		s.low = at
		return nil
	case s.low.IsZero(), rise < 5*d && at.Sub(s.low) < 5*time.Second: // known, or not yet
		return nil
	}
	slow := rise < 5*d
	s.low = time.Time{}
	if !slow || !s.counts(s.part()) {
		return nil
	}
	return s.doubtful("a part came in drops onto a scale that was tared at its own key: if it tracks its zero, it has swallowed some of them")
}

// unseen says why something that was poured may not show.
func (s *State) unseen() string {
	if s.from.Abs() > s.Pan.Division {
		return ""
	}
	return " (the scale was tared at its own key: one that tracks its zero swallows slow drops there)"
}

// counts says whether the ratio depends on a part.
func (s *State) counts(part string) bool {
	for _, d := range s.Start.Plan.Doses {
		if d.ID == part {
			return d.CountsA > 0 || d.CountsB > 0
		}
	}
	return true
}

// takeCup makes the settled load of a cup the reference, once every check that says stop has been passed and the scale
// has room for what is to come. Another cup may: taking this one off takes the question away.
func (s *State) takeCup() []Fact {
	if !s.Pan.Loaded() {
		s.Question = Question{}
	}
	if !s.Start.Auto.Tare || len(s.openChecks()) > 0 || !s.Pan.Loaded() || !s.Pan.Settled(0) || s.acting || s.Question.Ask != "" {
		return nil
	}
	if err := s.Start.Plan.Room(s.Start.Plan.TotalG, s.Pan.Load()); err != nil {
		s.Question = noRoom("Too heavy with this cup", err)
		return nil
	}
	return s.atOnce(CupTaken{inForce: now, At: s.Pan.Now.At, Reference: s.value(), Division: s.division()})
}

// value and division are the pan's, as facts keep them.
func (s *State) value() plan.Picograms    { return plan.Picograms(s.Pan.Value()) }
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

// decide accepts the part at hand when it is at rest inside its window or above it.
func (s *State) decide() []Fact {
	d, total := s.dosing(), s.total()
	if s.Question.kind == noRoomQuestion && (total-s.asked).Abs() >= s.Pan.Division {
		s.Question = Question{} // it was about another mass
	}
	if s.taken || s.acting || s.Question.Ask != "" {
		return nil
	}
	if total < d.Low || !s.Pan.Settled(max(s.Start.Auto.Settle, s.aim(d).SettleTime(s.Pan.Division))) {
		return nil
	}
	if s.reopened != nil && (total-*s.reopened).Abs() < s.Pan.Division {
		return nil
	}
	if s.askPut() || !s.Start.Auto.Accept {
		return nil
	}
	fact, room := s.accept("auto")
	if room != nil {
		s.Question, s.asked = noRoom("No room to put it right", room), total
		return nil
	}
	s.taken = true
	return []Fact{fact}
}

// afterwards watches the cup once everything is weighed: a rise that begins within the first seconds takes the verdict
// back, the cup taken off keeps it.
func (s *State) afterwards() []Fact {
	at, d := s.Pan.Now.At, s.Pan.Division
	s.left = s.left || s.Pan.Empty()
	if s.done.IsZero() { // counted from when the verdict could be seen, be the ledger as slow as it likes
		s.done, s.level = at, at
	} else if s.Pan.Now.Mass-s.from <= d {
		s.level = at
	}
	if s.left || s.acting || s.level.Sub(s.done) > landing || !s.Pan.Settled(0) || s.Pan.Lowest()-s.from <= d {
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
	poured := s.Pan.Value() - s.from
	for _, w := range d.Weighings {
		poured += w.mass()
	}
	return poured.Grams() / max(time.Second, s.Pan.Since().Sub(s.rises)).Seconds()
}
