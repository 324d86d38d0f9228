package batch

import (
	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/plan"
)

// accept closes the dosing at hand as it stands and works out what follows: the next part for what was really poured,
// a correction, or the verdict. The error says why a part that should follow has no room; the fact then takes things
// as they are.
func (s *State) accept(by string) (Accepted, error) {
	d, total := s.dosing(), s.total()
	then := *s // what the batch is once this dosing is closed
	then.edit(s.at).Weighings = s.closed(s.Pan.Value())
	f := Accepted{
		At: s.Pan.Now.At, Dosing: s.at, Part: d.Part.Part, By: by, Poured: total, Flow: s.meanFlow(),
		Weighings: then.Dosings[s.at].Weighings,
	}
	next, err := then.next(by, total)
	if next != nil {
		f.Next = next
		return f, err
	}
	errorPct, uPct, verdict := s.Start.Plan.Judge(then.weighings())
	if s.Doubt != "" {
		verdict = metrology.Unproven
	}
	f.ErrorPct, f.UPct, f.Verdict = &errorPct, &uPct, verdict
	return f, err
}

// next is the dosing that follows the one at hand, whose part has this total: the plan's, or the one that makes up for
// too much. It is nil when everything is weighed.
func (s *State) next(by string, total reading.Mass) (*Dosing, error) {
	d, p := s.dosing(), &s.Start.Plan
	planned := s.at+1 < len(s.Dosings) && !s.Dosings[s.at+1].Correction
	above := total > d.High && total > d.Target && by != "accept" // at or below its target nothing makes up for it
	open := metrology.Weighing{FromD: s.Pan.Division, ToD: s.Pan.Division, Shared: true}
	switch {
	case planned, above && d.Part.Part == "A":
		part, provable := p.PartB(s.weighings(), open)
		return &Dosing{Part: part, Provable: provable, Correction: !planned}, s.room(part)
	case above:
		part, provable, err := p.CorrectA(s.weighings(), open, s.Pan.Load())
		if err != nil {
			return nil, err
		}
		return &Dosing{Part: part, Provable: provable, Correction: true}, nil
	}
	return nil, nil
}

// room says why what a part still needs does not fit on the scale.
func (s *State) room(part plan.Part) error {
	more := part.Target
	for i := range s.Dosings {
		if s.Dosings[i].Part.Part == part.Part {
			more = part.Target - s.closedTotal(i)
		}
	}
	return s.Start.Plan.Room(more, s.Pan.Load())
}
