package metrology

import (
	"math"
	"slices"
	"sort"

	"twocup/scaledrv/reading"
)

// Window is a range of a part's total mass, both ends included.
type Window struct {
	Target              reading.Mass // where the ratio is right
	Low, High           reading.Mass // where the part may end
	LimitLow, LimitHigh reading.Mass // the card's own limits, without guard and not rounded to a division
}

// Window is the range of the open part's total mass in which the verdict is Within. The open weighing is the last one
// of A or B: its mass does not matter, its readings do. Those behind it are of additions still to come, each taken as
// Mass and Follows say. Low and High are what the open part already holds and a whole number of divisions d more, each
// the last step that is still Within by its own masses and its own uncertainty.
//
// Where no step is Within, provable is false, and Low and High are the limits rounded inwards to such a step; where
// not even the limits hold a step, or d is not positive, they are the limits themselves.
func (m Model) Window(w []Weighing, r float64, t Tolerance, d reading.Mass) (win Window, provable bool) {
	g := newGrid(m, w, r, t)
	win.Target = mass(g.wanted(0))
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

// grid is the open part's total mass x in display steps, and what the other masses make of each: A is a0 + a1·x and B
// is b0 + b1·x, both with what counts as them.
type grid struct {
	m              Model
	v              variance
	r              float64
	t              Tolerance
	w              []Weighing
	open           int
	several        bool         // scales
	held           reading.Mass // of the open part, by its closed weighings
	a0, a1, b0, b1 float64
	first, d       reading.Mass
}

func newGrid(m Model, w []Weighing, r float64, t Tolerance) grid {
	g := grid{m: m, v: m.variance(w), r: r, t: t, w: slices.Clone(w), several: severalScales(w)}
	for i, x := range w {
		if x.Part == "A" || x.Part == "B" {
			g.open = i
		}
	}
	g.w[g.open].Mass = 0
	g.a0, g.b0 = m.Equivalents(g.w)
	a, b := Totals(g.w)
	if w[g.open].Part == "A" {
		g.held, g.a0, g.a1 = a, g.a0-a.Grams(), 1
	} else {
		g.held, g.b0, g.b1 = b, g.b0-b.Grams(), 1
	}
	for _, x := range w[g.open+1:] {
		share := m.share(x.Part)
		g.a1 += share.A * x.Follows
		g.b1 += share.B * x.Follows
	}
	return g
}

// limits are those of the tolerance for the open part. A larger B, and a smaller A, is a larger ratio.
func (g grid) limits() (low, high reading.Mass) {
	low, high = mass(g.wanted(g.t.LowPct)), mass(g.wanted(g.t.HighPct))
	if g.w[g.open].Part == "A" {
		return high, low
	}
	return low, high
}

// wanted is the open part's total for which the error is so many percent: b0 + b1·x = q·(a0 + a1·x). It is infinite where
// no amount is enough.
func (g grid) wanted(errorPct float64) float64 {
	q := g.r * max(0, 1+errorPct/100)
	above, slope := q*g.a0-g.b0, g.b1-q*g.a1
	if g.w[g.open].Part == "A" {
		if math.IsInf(q, 1) {
			return 0
		}
		above, slope = -above, -slope
	}
	if math.IsInf(q, 1) || !(slope > 0) {
		return math.Inf(1)
	}
	return above / slope
}

// mass is the nearest mass between nothing and 4000 kg, so that an open side stays within what a Mass can count.
func mass(g float64) reading.Mass {
	m, _ := reading.FromGrams(max(0, min(g, 4e6)))
	return m
}

func (g grid) at(n int) reading.Mass { return g.first + reading.Mass(n)*g.d }

func (g grid) judge(n int) (errorPct, uPct float64, v Verdict) {
	x := g.at(n)
	a, b := g.a0+g.a1*x.Grams(), g.b0+g.b1*x.Grams()
	return judgement(g.v, g.gain(x, a, b), a, b, g.r, g.t)
}

// gain is Model.gain with the open part's total at x.
func (g grid) gain(x reading.Mass, a, b float64) float64 {
	if !g.several {
		return 0
	}
	w := slices.Clone(g.w)
	w[g.open].Mass = x - g.held
	for i := g.open + 1; i < len(w); i++ {
		more, _ := reading.FromGrams(w[i].Follows * x.Grams())
		w[i].Mass += more
	}
	return g.m.gain(w, a, b)
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
	guard := g.t.guard(e, u)
	return min(e-guard-g.t.LowPct, g.t.HighPct-e-guard)
}

// best is the step in 0…steps with the widest margin. The margin has one peak: in B, and in 1/A, the error is linear
// and the uncertainty convex, so that both of its halves are concave.
func (g grid) best(steps int) int {
	return sort.Search(steps, func(n int) bool { return g.margin(n+1) <= g.margin(n) })
}
