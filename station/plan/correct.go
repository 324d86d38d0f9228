package plan

import (
	"errors"
	"fmt"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
)

// CorrectA is the correction of too much B: A's new total, and the range of A for which B as it stands is within. Each
// addition then has its dose of what is in the cup; what it lacks of that is worked out along with A, and PartAddition
// gives it once A is poured. done and open are as for PartB, with open a weighing of A; pan is as for Room. It is an
// error where there is not too much B, where A can't make up for it, or where there is no room. Whether there is time
// says InTime.
func (p Plan) CorrectA(done []metrology.Weighing, open metrology.Weighing, pan reading.Mass) (part Part, provable bool, err error) {
	open.Part = "A"
	a, b := metrology.Totals(done)
	errorPct, _, _ := p.Judge(done)
	switch {
	case errorPct <= 0:
		return Part{}, false, fmt.Errorf("correct with A: %s of B to %s of A is not too much B, so nothing is to be added; pour B, or accept it", b, a)
	case p.Hurry:
		return Part{}, false, errors.New("correct with A: the system is too fast for a correction (hurry: true); accept the batch as it is, or scrap it")
	case p.TolerancePct.Range && errorPct > p.TolerancePct.HighPct:
		return Part{}, false, fmt.Errorf("correct with A: %s of B to %s of A is above the range that the card allows; scrap the batch", b, a)
	case !p.aOutweighsItsDoses():
		return Part{}, false, errors.New("correct with A: the additions that A needs bring in at least as much B as it takes, so more A never makes up for too much B; accept the batch as it is, or scrap it")
	}
	win, provable, more := p.corrected(done, open, b)
	if win.Target <= a {
		return Part{}, false, fmt.Errorf("correct with A: %s of B to %s of A needs no more A; accept it", b, a)
	}
	if err := p.Room(win.Target-a+more, pan); err != nil {
		return Part{}, false, fmt.Errorf("correct with A: %w", err)
	}
	if err := p.CupRoom(win.Target-a+more, done); err != nil {
		return Part{}, false, fmt.Errorf("correct with A: %w", err)
	}
	return p.part("A", open.Scale, win.Target, win), provable, nil
}

// aOutweighsItsDoses says whether a gram of A with its doses takes more B than it brings.
func (p Plan) aOutweighsItsDoses() bool {
	takes, brings := 1.0, 0.0
	for _, d := range p.Doses {
		takes += d.CountsA * d.perA()
		brings += d.CountsB * d.perA()
	}
	return p.Exact.Ratio*takes > brings
}

// corrected is A's window with every addition at its dose of the A and B that are then in the cup, and how much more of
// the additions that takes at the target. What was poured of an addition beyond that stays in: it is fixed, and the
// rest solved again.
func (p Plan) corrected(done []metrology.Weighing, open metrology.Weighing, b reading.Mass) (win metrology.Window, provable bool, more reading.Mass) {
	growing := map[string]bool{}
	for _, d := range p.Doses {
		growing[d.ID] = true
	}
	for {
		var pending []metrology.Weighing
		before := open
		for _, d := range p.Doses {
			if growing[d.ID] {
				lacks, _ := reading.FromGrams(d.perB()*b.Grams() - weighedOf(done, d.ID).Grams())
				before = p.toCome(d, before, lacks, d.perA())
				pending = append(pending, before)
			}
		}
		win, provable = p.window(done, open, pending)
		more = 0
		fixed := false
		for _, w := range pending {
			lacks, _ := reading.FromGrams(w.Mass.Grams() + w.Follows*win.Target.Grams())
			if lacks < 0 {
				growing[w.Part], fixed = false, true
				continue
			}
			more += lacks
		}
		if !fixed {
			return win, provable, more
		}
	}
}

// weighedOf is the mass of a part over all of its weighings.
func weighedOf(w []metrology.Weighing, part string) (m reading.Mass) {
	for _, x := range w {
		if x.Part == part {
			m += x.Mass
		}
	}
	return m
}

// Room is an error where the scale can't take so much more; pan is what it carries now, cup and all (the gross load).
// A scale whose capacity is not stated takes everything.
func (p Plan) Room(more, pan reading.Mass) error {
	if p.Scale == nil || p.Scale.Capacity == 0 || pan+more <= p.Scale.Capacity {
		return nil
	}
	return fmt.Errorf("no room for %s more on scale %q: it carries %s and has a capacity of %s; accept the batch as it is, or scrap it",
		more, p.Scale.ID, pan, p.Scale.Capacity)
}

// CupRoom is an error where the cup would run over with so much more in it; done is everything that is in it now. A cup
// or a mix whose volume is not known takes everything. It is about the brim, not about headroom for foam.
func (p Plan) CupRoom(more reading.Mass, done []metrology.Weighing) error {
	if p.Cup == nil || p.Cup.VolumeML == nil {
		return nil
	}
	perGram, known := p.volumePerGram()
	mass := more
	for _, w := range done {
		mass += w.Mass
	}
	if volume := mass.Grams() * perGram; known && volume > *p.Cup.VolumeML {
		return fmt.Errorf("no room for %s more in the cup: the mix would be about %s mL, and the cup holds %s mL; accept the batch as it is, or scrap it",
			more, short(rounded(volume, 0)), short(*p.Cup.VolumeML))
	}
	return nil
}

// volumePerGram is the volume of the mix in the cup in mL/g, for everything in its planned proportions; false where a
// density is missing.
func (p Plan) volumePerGram() (mlPerG float64, known bool) {
	mix := mixture{b: p.b().Grams() / p.a().Grams(), doses: p.Doses}
	if p.LiquidDensity == 0 {
		return 0, false
	}
	volume, faults := mix.volumePerA(p.LiquidDensity)
	return volume / mix.totalPerA(), faults == nil
}

// InTime is an error where the pot life that is left, as its clock shows it, is no time for a correction.
func InTime(left time.Duration) error {
	if left > 0 {
		return nil
	}
	return errors.New("no time for a correction: the pot life is over; accept the batch as it is, or scrap it")
}

// The loss that a parked batch may come back with, by the contract: more than parkedSteps divisions is taken from
// everything, more than parkedPct of it is a question.
const (
	parkedSteps = 3
	parkedPct   = 5
)

// Parked is what is left of the weighings of a batch that came back to the scale lighter by loss (a stick, the wall):
// within three divisions d everything; a larger loss is taken from every weighing in proportion, to the picogram.
// It is false where that is no answer, and somebody must say whether it is the same cup: a loss above 5 % of all that
// was in it, or a gain of more than three divisions.
func Parked(w []metrology.Weighing, loss, d reading.Mass) (left []metrology.Weighing, same bool) {
	var all reading.Mass
	for _, x := range w {
		all += x.Mass
	}
	switch {
	case loss.Abs() <= parkedSteps*d:
		return w, true
	case loss < 0 || loss > percentOf(all, parkedPct):
		return nil, false
	}
	left = append(left, w...)
	for i, x := range w {
		left[i].Mass, _ = reading.FromGrams(x.Mass.Grams() * (1 - loss.Grams()/all.Grams()))
	}
	return left, true
}
