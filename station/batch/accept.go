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

// next is the dosing that follows the one at hand, whose part has this total: one that makes up for too much, unless
// the part was taken as it stands, or else the plan's. It is nil when everything is weighed.
func (s *State) next(by string, total reading.Mass) (*Dosing, error) {
	mend, err := s.mend(by, total)
	if mend != nil || s.at+1 == len(s.Dosings) {
		return mend, err
	}
	next := s.planned(s.at + 1)
	if err == nil {
		err = s.room(next.Part)
	}
	return &next, err
}

// planned is a dosing of the plan's for what has been poured so far.
func (s *State) planned(i int) Dosing {
	d, p := s.Dosings[i], &s.Start.Plan
	switch name := d.Part.Part; name {
	case "A":
	case "B":
		d.Part, d.Provable = p.PartB(s.weighings(), s.open())
	default:
		d.Part = p.PartAddition(name, s.weighings(), s.Pan.Division)
	}
	return d
}

// open is a weighing that goes on from the reading that ended the one before it.
func (s *State) open() metrology.Weighing {
	return metrology.Weighing{FromD: s.Pan.Division, ToD: s.Pan.Division, Shared: true}
}

// mend is the dosing that makes up for too much of the part at hand, which has this total: A for too much B, B for the A
// of a correction, what an addition lacks after one. The error says why there is none although it is wanted.
func (s *State) mend(by string, total reading.Mass) (*Dosing, error) {
	d := s.dosing()
	above := total > d.High && total > d.Target // at or below its target nothing makes up for it
	high, low := false, false
	if d.Part.Part != "A" && d.Part.Part != "B" && s.counts(d.Part.Part) && s.at+1 == len(s.Dosings) {
		errorPct, _, _ := s.Start.Plan.Judge(s.weighings())
		high, low = errorPct > s.Start.Plan.TolerancePct.HighPct, errorPct < s.Start.Plan.TolerancePct.LowPct
	}
	switch {
	case by == "accept":
	case d.Part.Part == "B" && above, high:
		return s.correctA()
	case d.Correction && d.Part.Part == "A" && above, low:
		return s.correctB()
	case d.Correction:
		return s.lacking(), nil
	}
	return nil, nil
}

func (s *State) correctA() (*Dosing, error) {
	part, provable, err := s.Start.Plan.CorrectA(s.weighings(), s.open(), s.Pan.Load())
	if err == nil {
		err = s.inTime()
	}
	if err != nil {
		return nil, err
	}
	return &Dosing{Part: part, Provable: provable, Correction: true}, nil
}

func (s *State) correctB() (*Dosing, error) {
	part, provable := s.Start.Plan.PartB(s.weighings(), s.open())
	err := s.room(part)
	if err == nil {
		err = s.inTime()
	}
	return &Dosing{Part: part, Provable: provable, Correction: true}, err
}

// lacking is the first addition of which the cup, after a correction, has less than its window allows. One that counts must
// have its whole dose: the correction was worked out with it.
func (s *State) lacking() *Dosing {
	for _, dose := range s.Start.Plan.Doses {
		poured, begun := reading.Mass(0), false
		for _, w := range s.weighings() {
			if w.Part == dose.ID {
				poured, begun = poured+w.Mass, true
			}
		}
		if !begun {
			continue // it comes as planned
		}
		part := s.Start.Plan.PartAddition(dose.ID, s.weighings(), s.Pan.Division)
		if d := s.Pan.Division; s.counts(dose.ID) {
			part.Low = max(part.Low, min(part.Target.FloorTo(d), part.High))
		}
		if poured < part.Low {
			return &Dosing{Part: part, Provable: s.dosing().Provable, Correction: true}
		}
	}
	return nil
}

// room says why what a part still needs, and what is to follow it, does not fit on the scale or into the cup.
func (s *State) room(part plan.Part) error {
	more := part.Target
	for _, w := range s.weighings() {
		if w.Part == part.Part {
			more -= w.Mass
		}
	}
	for i := s.at + 1; i < len(s.Dosings); i++ {
		if d := s.planned(i); d.Part.Part != part.Part {
			more += d.Target
		}
	}
	if err := s.Start.Plan.Room(more, s.Pan.Load()); err != nil {
		return err
	}
	return s.Start.Plan.CupRoom(more, s.weighings())
}

// inTime says why the pot life leaves no time for a correction.
func (s *State) inTime() error {
	switch life := s.potLife(); {
	case life.Ends != nil:
		return plan.InTime(life.Ends.Sub(s.Pan.Now.At))
	case life.Started != nil && s.Start.Card.PotLife != nil:
		return plan.InTime(0) // unknown counts as over
	}
	return nil
}
