package batch

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/plan"
	"twocup/station/pour"
)

// apply changes the state by a fact. It works out nothing: what a fact decided stands in it, so that an old ledger
// replays to what was shown, whatever the formulas have become since.
func (s *State) apply(f Fact) {
	switch f := f.(type) {
	case Started:
		*s = State{Pan: s.Pan, Start: &f, Dosings: dosings(f.Plan), habits: f.Habits}
		s.guide = s.guideTo(0)
	case CupTaken:
		s.cup, s.Question = true, Question{}
		s.count(f.Reference, f.Division, false)
	case Referenced:
		s.referenced(f)
	case Jumped: // what it was is not known yet
	case Answered:
		s.answered(f)
	case Doubted:
		s.Doubt = f.Why
	case Begun:
		s.waiting, s.early, s.rises, s.Question = false, false, f.At, Question{}
		if f.Part == "B" && s.Contact.IsZero() {
			s.Contact = f.At
		}
	case Accepted:
		s.accepted(f)
	case Reopened:
		s.reopen(f)
	case ClockDoubted:
		s.Clock = f.Why
	case Overridden:
		s.overridden = append(slices.Clone(s.overridden), f.Check)
	case Ended:
		s.Ended, s.Question = f, Question{}
		if f.Weighings != nil {
			s.edit(f.Dosing).Weighings = f.Weighings
		}
	case Noted: // stands in the record; changes nothing
	}
}

// dosings are the plan's parts in the plan's order.
func dosings(p plan.Plan) []Dosing {
	list := make([]Dosing, len(p.Parts))
	for i, part := range p.Parts {
		list[i] = Dosing{Part: part, Provable: provable(&p)}
	}
	return list
}

// provable says whether the scale can prove the planned ratio.
func provable(p *plan.Plan) bool { return !slices.Contains(p.OpenChecks(), "resolution") }

// count starts a weighing from this value.
func (s *State) count(from, division plan.Picograms, shared bool) {
	s.from, s.fromD, s.shared = reading.Mass(from), reading.Mass(division), shared
	s.highest, s.display, s.low = s.from, s.fromD, time.Time{}
}

// referenced moves the reference. A dosing that was accepted meanwhile keeps its own weighings.
func (s *State) referenced(f Referenced) {
	s.count(f.Reference, f.Division, false)
	s.level, s.Question = f.At, Question{}
	s.settlePan(f.Why)
	s.in = reading.Mass(f.Foreign)
	s.shifted = f.already && (s.taken || s.acting)
	if f.Why == "same_cup" && s.Doubt == "" {
		s.Doubt = "the cup came back with another weight than it left with"
	}
	for i, left := range f.Left {
		s.edit(i).Weighings = left
	}
	if f.Dosing != s.at {
		return
	}
	d := s.edit(s.at)
	d.Weighings, d.Provable = f.Weighings, f.Provable
	if f.Part != nil {
		d.Part = *f.Part
	}
}

// settlePan brings what is known of the pan in line with why the reference has moved.
func (s *State) settlePan(why string) {
	s.off = false
	switch {
	case s.jump != nil && why == "tared":
		s.put = s.put.shifted(reading.Mass(s.jump.To - s.jump.From))
		s.Pan.Tared()
		s.off = s.Pan.Empty() // it has been lifted since
		s.rest, s.top, s.lifted = s.from, s.from, s.Pan.Stood
	case why == "put_in":
		s.put = nil
	}
	s.jump = nil
}

// answered takes an open question away.
func (s *State) answered(f Answered) {
	s.Question = Question{}
	switch f.Answer {
	case "lifted":
		s.jump = nil
	case "poured":
		s.put, s.ladle = nil, true
	}
}

func (s *State) accepted(f Accepted) {
	s.learn(f)
	d := s.edit(f.Dosing)
	d.Weighings, d.Accepted, d.AcceptedAt, d.Flow = f.Weighings, true, f.At, f.Flow
	last := f.Weighings[len(f.Weighings)-1]
	s.at, s.rises = f.Dosing+1, time.Time{}
	s.taken, s.early, s.fastest, s.reopened, s.Question = false, false, 0, nil, Question{}
	s.put, s.ladle = nil, false
	if !s.shifted { // else the value has moved on since this was decided
		s.count(last.To, last.ToD, true)
	}
	s.shifted, s.done = false, time.Time{}
	switch {
	case f.Next == nil:
		s.Error, s.U, s.Verdict, s.Weighed, s.guide = f.ErrorPct, f.UPct, f.Verdict, f.At, pour.Guide{}
		return
	case s.at < len(s.Dosings) && !f.Next.Correction:
		*s.edit(s.at) = *f.Next
	default:
		s.Dosings = slices.Insert(slices.Clone(s.Dosings), s.at, *f.Next)
	}
	s.waiting, s.level, s.guide = true, f.At, s.guideTo(s.at)
}

func (s *State) reopen(f Reopened) {
	if !s.Dosings[f.Dosing].Accepted {
		return // it is open already
	}
	if f.Why == "reopen" {
		accepted := s.closedTotal(f.Dosing)
		s.reopened = &accepted
	}
	d := s.edit(f.Dosing)
	d.Accepted = false
	if n := len(d.Weighings) - 1; s.shared { // the value has gone on from where the part was accepted
		s.count(d.Weighings[n].From, d.Weighings[n].FromD, d.Weighings[n].Shared)
		d.Weighings = slices.Clone(d.Weighings[:n])
	}
	if next := f.Dosing + 1; next < len(s.Dosings) && s.Dosings[next].Correction {
		s.Dosings = slices.Delete(s.Dosings, next, next+1) // what was to mend the part that is open again
	}
	s.at, s.waiting, s.early, s.taken, s.Question = f.Dosing, false, false, false, Question{}
	s.Error, s.U, s.Verdict, s.Weighed, s.done = nil, nil, "", time.Time{}, time.Time{}
	s.guide = s.guideTo(s.at)
	s.guide.Hold()
}
