package plan

import (
	"math/big"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
)

// Part is the target of A, of B or of an addition, and where it may end. Masses are of the whole part, also in a
// correction.
type Part struct {
	Part       string       `json:"part"`        // A, B, or an addition's id
	Scale      *string      `json:"scale"`       // id; nil where none is chosen, and of what no scale weighs
	Vessel     string       `json:"vessel"`      // cup; own: weighed or measured in one of its own, then emptied into the cup
	MeasuredBy string       `json:"measured_by"` // weight, volume, drops
	Target     reading.Mass `json:"target_g"`
	Low        reading.Mass `json:"low_g"` // window, both ends included
	High       reading.Mass `json:"high_g"`
	LimitLow   reading.Mass `json:"limit_low_g"` // the card's own limits, neither guarded nor rounded
	LimitHigh  reading.Mass `json:"limit_high_g"`
}

// part is a part on the scale at a place.
func (p Plan) part(name string, place int, target reading.Mass, win metrology.Window) Part {
	part := Part{Part: name, Vessel: "cup", MeasuredBy: "weight", Target: target,
		Low: win.Low, High: win.High, LimitLow: win.LimitLow, LimitHigh: win.LimitHigh}
	if name == "B" && p.bUnweighed() {
		part.Vessel, part.MeasuredBy = "own", p.MeasureB
		return part
	}
	if place > 0 || name == "B" && p.Apart {
		part.Vessel = "own"
	}
	if scales := p.scales(); place < len(scales) {
		part.Scale = &scales[place].ID
	}
	return part
}

// bUnweighed says that B is measured by volume or drops.
func (p Plan) bUnweighed() bool { return p.MeasureB == "volume" || p.MeasureB == "drops" }

// PartA is A as planned. Its window is about the amount, so it is not guarded, only rounded inwards to the scale's
// division; where that leaves nothing it is the limits themselves.
func (p Plan) PartA() Part {
	target := p.a()
	half := percentOf(target, p.AmountTolerancePct)
	low, high := target-half, target+half
	win := metrology.Window{Low: low, High: high, LimitLow: low, LimitHigh: high}
	if d := p.division(0); d > 0 && low.CeilTo(d) <= high.FloorTo(d) {
		win.Low, win.High = low.CeilTo(d), high.FloorTo(d)
	}
	return p.part("A", 0, target, win)
}

// percentOf is so many percent of a mass, rounded down to a picogram. It is exact, so that a limit on a step of the
// display stays on it.
func percentOf(m reading.Mass, pct float64) reading.Mass {
	share, _ := new(big.Rat).SetString(short(pct))
	share.Mul(share, big.NewRat(int64(m), 100))
	return reading.Mass(new(big.Int).Quo(share.Num(), share.Denom()).Int64())
}

// PartB is B for the A that was poured: its target makes the ratio right, with what counts as A or B taken in, as
// poured or, where it is still to come, as dosed. Its window is guarded, in steps of open.ToD. done holds all weighings
// so far, A's, the additions' and, after a lift or a tare in the middle of B, B's; open is the one going on, of which
// only the readings count, not the mass. Where provable is false no step proves the ratio, and the window is the limits
// rounded inwards.
func (p Plan) PartB(done []metrology.Weighing, open metrology.Weighing) (part Part, provable bool) {
	open.Part = "B"
	a, _ := metrology.Totals(done)
	var pending []metrology.Weighing
	for before, i := open, 0; i < len(p.Doses); i++ {
		if d := p.Doses[i]; !weighed(done, d.ID) {
			dose, _ := reading.FromGrams(d.perA() * a.Grams())
			before = p.toCome(d, before, dose, d.perB())
			pending = append(pending, before)
		}
	}
	win, provable := p.window(done, open, pending)
	return p.part("B", open.Scale, win.Target, win), provable
}

// toCome is an addition still to be weighed, after the weighing before, of a mass that follows the open part's.
func (p Plan) toCome(d Dose, before metrology.Weighing, m reading.Mass, follows float64) metrology.Weighing {
	w := metrology.Weighing{Part: d.ID, Mass: m, Follows: follows, Scale: p.placeOf(d.ID), FromD: before.ToD, ToD: before.ToD}
	w.Shared = w.Scale == 0 && before.Scale == 0 && !(p.Apart && before.Part == "B")
	if w.Scale != before.Scale {
		w.FromD, w.ToD = p.division(w.Scale), p.division(w.Scale)
	}
	return w
}

// PartAddition is an addition for what has been poured: its dose of the A and the B in the cup, and of those that are
// still to come as they are planned for it. Its window is ± its tolerance, at least ± one division d, rounded inwards
// to it and not guarded. done is as for PartB; d is 0 where no scale weighs it. The plan must have the addition.
func (p Plan) PartAddition(id string, done []metrology.Weighing, d reading.Mass) Part {
	a, b := metrology.Totals(done)
	if !weighed(done, "A") {
		a, b = p.a(), p.b()
	} else if !weighed(done, "B") {
		next, _ := p.PartB(done, metrology.Weighing{})
		b = next.Target
	}
	dose := p.dose(id)
	target, _ := reading.FromGrams(dose.grams(a.Grams(), b.Grams()))
	return p.addition(dose, p.placeOf(id), target, d)
}

func (p Plan) addition(dose Dose, place int, target, d reading.Mass) Part {
	half := percentOf(target, dose.TolerancePct)
	win := metrology.Window{Low: target - half, High: target + half, LimitLow: target - half, LimitHigh: target + half}
	if d > 0 {
		wide := max(half, d)
		win.Low, win.High = max(d, (target-wide).CeilTo(d)), (target + wide).FloorTo(d) // never nothing at all
	}
	return p.part(dose.ID, place, target, win)
}

func (p Plan) dose(id string) Dose {
	for _, d := range p.Doses {
		if d.ID == id {
			return d
		}
	}
	panic("plan: no addition " + id)
}

// placeOf is where the plan has a part weighed; 0 before its parts are laid out.
func (p Plan) placeOf(name string) int {
	for _, part := range p.Parts {
		if part.Part == name && part.Scale != nil {
			return p.place(*part.Scale)
		}
	}
	return 0
}

func weighed(w []metrology.Weighing, part string) bool {
	for _, x := range w {
		if x.Part == part {
			return true
		}
	}
	return false
}

func (p Plan) window(done []metrology.Weighing, open metrology.Weighing, pending []metrology.Weighing) (metrology.Window, bool) {
	w := append(done[:len(done):len(done)], open)
	return p.model().Window(append(w, pending...), p.Exact.Ratio, p.TolerancePct, open.ToD)
}
