package plan

import (
	"fmt"
	"math/big"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
)

// Part is one part's target and where it may end. Masses are of the whole part, also in a correction.
type Part struct {
	Part       string       `json:"part"`
	Scale      *string      `json:"scale"` // id; nil where none is chosen
	Vessel     string       `json:"vessel"`
	MeasuredBy string       `json:"measured_by"`
	Target     reading.Mass `json:"target_g"`
	Low        reading.Mass `json:"low_g"` // window, both ends included
	High       reading.Mass `json:"high_g"`
	LimitLow   reading.Mass `json:"limit_low_g"` // the card's own limits, neither guarded nor rounded
	LimitHigh  reading.Mass `json:"limit_high_g"`
}

func (p Plan) part(name string, target reading.Mass, win metrology.Window) Part {
	part := Part{Part: name, Vessel: "cup", MeasuredBy: "weight", Target: target,
		Low: win.Low, High: win.High, LimitLow: win.LimitLow, LimitHigh: win.LimitHigh}
	if p.Scale != nil {
		part.Scale = new(p.Scale.ID)
	}
	return part
}

// PartA is A as planned. Its window is about the amount, so it is not guarded, only rounded inwards to the scale's
// division; where that leaves nothing it is the limits themselves.
func (p Plan) PartA() Part {
	target := reading.Mass(p.Exact.A)
	half := percentOf(target, p.AmountTolerancePct)
	low, high := target-half, target+half
	win := metrology.Window{Low: low, High: high, LimitLow: low, LimitHigh: high}
	if p.Scale != nil && p.Scale.Division > 0 {
		if d := p.Scale.Division; low.CeilTo(d) <= high.FloorTo(d) {
			win.Low, win.High = low.CeilTo(d), high.FloorTo(d)
		}
	}
	return p.part("A", target, win)
}

// percentOf is so many percent of a mass, rounded down to a picogram. It is exact, so that a limit on a step of the
// display stays on it.
func percentOf(m reading.Mass, pct float64) reading.Mass {
	share, _ := new(big.Rat).SetString(short(pct))
	share.Mul(share, big.NewRat(int64(m), 100))
	return reading.Mass(new(big.Int).Quo(share.Num(), share.Denom()).Int64())
}

// PartB is B for the A that was poured: its target exactly ratio × A, its window guarded, in steps of open.ToD. done
// holds all weighings so far, A's and, after a lift or a tare in the middle of B, B's; open is the one going on, of
// which only the readings count, not the mass. Where provable is false no step proves the ratio, and the window is the
// limits rounded inwards.
func (p Plan) PartB(done []metrology.Weighing, open metrology.Weighing) (part Part, provable bool) {
	open.Part = 'B'
	a, _ := metrology.Totals(done)
	target, _ := reading.FromGrams(p.Exact.Ratio * a.Grams())
	win, provable := p.window(done, open)
	return p.part("B", target, win), provable
}

// CorrectA is the correction of too much B: A's new total B/ratio, and the range of A for which B as it stands is
// within. done and open are as for PartB, with open a weighing of A; pan is as for Room. It is an error where there is
// not too much B, or no room.
func (p Plan) CorrectA(done []metrology.Weighing, open metrology.Weighing, pan reading.Mass) (part Part, provable bool, err error) {
	open.Part = 'A'
	a, b := metrology.Totals(done)
	target, fits := reading.FromGrams(b.Grams() / p.Exact.Ratio)
	if !fits || target <= a {
		return Part{}, false, fmt.Errorf("correct with A: %s of B to %s of A is not too much B, so nothing is to be added; pour B, or accept it", b, a)
	}
	if err := p.Room(target-a, pan); err != nil {
		return Part{}, false, fmt.Errorf("correct with A: %w", err)
	}
	win, provable := p.window(done, open)
	return p.part("A", target, win), provable, nil
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

func (p Plan) window(done []metrology.Weighing, open metrology.Weighing) (metrology.Window, bool) {
	w := append(done[:len(done):len(done)], open)
	return p.model().Window(w, p.Exact.Ratio, p.TolerancePct, open.ToD)
}
