package metrology

import (
	"math"
	"sort"

	"twocup/scaledrv/reading"
)

// Window is a range of a part's total mass, both ends included.
type Window struct {
	Low, High           reading.Mass // where the part may end
	LimitLow, LimitHigh reading.Mass // the card's own limits, without guard and not rounded to a division
}

// Window is the range of the open part's total mass in which the verdict is Within. The last weighing is the open
// one: its mass does not matter, its readings do. Low and High are what that part already holds and a whole number
// of divisions d more, each the last step that is still Within by its own masses and its own uncertainty.
//
// Where no step is Within, provable is false, and Low and High are the limits rounded inwards to such a step; where
// not even the limits hold a step, or d is not positive, they are the limits themselves.
func (m Model) Window(w []Weighing, r float64, t Tolerance, d reading.Mass) (win Window, provable bool) {
	g := newGrid(m, w, r, t)
	win.LimitLow, win.LimitHigh = g.limits()
	win.Low, win.High = win.LimitLow, win.LimitHigh
	if d <= 0 {
		return win, false
	}
	g.first, g.d = g.held+(win.LimitLow-g.held).CeilTo(d), d
	last := g.held + (win.LimitHigh - g.held).FloorTo(d)
	if g.first > last {
		return win, false
	}
	win.Low, win.High = g.first, last
	steps := int((last - g.first) / d)
	best := g.best(steps)
	if !g.within(best) {
		return win, false
	}
	low := sort.Search(best, g.within)
	beyond := sort.Search(steps-best, func(n int) bool { return !g.within(best + 1 + n) })
	win.Low, win.High = g.at(low), g.at(best+beyond)
	return win, true
}

// grid is the open part's total mass in display steps, and what the other masses make of each.
type grid struct {
	v        variance
	r        float64
	t        Tolerance
	open     byte
	held     reading.Mass // of the open part, by its closed weighings
	other    float64      // the other part, g
	first, d reading.Mass
}

func newGrid(m Model, w []Weighing, r float64, t Tolerance) grid {
	g := grid{v: m.variance(w), r: r, t: t, open: w[len(w)-1].Part}
	a, b := Totals(w[:len(w)-1])
	if g.open == 'A' {
		g.held, g.other = a, b.Grams()
	} else {
		g.held, g.other = b, a.Grams()
	}
	return g
}

// limits are those of the tolerance for the open part: B = r·A·(1 + t), or A = B/(r·(1 + t)).
func (g grid) limits() (low, high reading.Mass) {
	if g.open == 'A' {
		return mass(g.other / (g.r * (1 + g.t.HighPct/100))), mass(g.other / (g.r * max(0, 1+g.t.LowPct/100)))
	}
	return mass(g.r * g.other * (1 + g.t.LowPct/100)), mass(g.r * g.other * (1 + g.t.HighPct/100))
}

// mass is the nearest mass between nothing and 4000 kg, so that an open side stays within what a Mass can count.
func mass(g float64) reading.Mass {
	m, _ := reading.FromGrams(max(0, min(g, 4e6)))
	return m
}

func (g grid) at(n int) reading.Mass { return g.first + reading.Mass(n)*g.d }

func (g grid) judge(n int) (errorPct, uPct float64, v Verdict) {
	open := g.at(n).Grams()
	if g.open == 'A' {
		return judgement(g.v, open, g.other, g.r, g.t)
	}
	return judgement(g.v, g.other, open, g.r, g.t)
}

func (g grid) within(n int) bool {
	_, _, v := g.judge(n)
	return v == Within
}

// margin is by how much a step is Within, in percent; negative where it is not.
func (g grid) margin(n int) float64 {
	e, u, _ := g.judge(n)
	if math.IsInf(u, 1) {
		return math.Inf(-1)
	}
	return min(e-u-g.t.LowPct, g.t.HighPct-e-u)
}

// best is the step in 0…steps with the widest margin. The margin has one peak: in B, and in 1/A, the error is linear
// and the uncertainty convex, so that both of its halves are concave.
func (g grid) best(steps int) int {
	return sort.Search(steps, func(n int) bool { return g.margin(n+1) <= g.margin(n) })
}
