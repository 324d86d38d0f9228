package plan

import (
	"fmt"
	"math"
	"slices"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

// assumedGainU stands in for the gain of a scale that was never checked with a weight, where two scales weigh one
// ratio: relative, ours. The error that OIML R 76-1:2006 table 6 allows a class III scale in service at 1000 divisions,
// 2 in 1000, is 0.12 % over √3.
const assumedGainU = 0.001

// airMatters is the uncertainty in percent below which the lift of the air is no longer left out of it.
const airMatters = 0.1

// scales are the plan's by place: the one under the cup, then the others.
func (p Plan) scales() []Scale {
	if p.Scale == nil {
		return nil
	}
	return append([]Scale{*p.Scale}, p.Others...)
}

func (p Plan) place(id string) int {
	return max(0, slices.IndexFunc(p.scales(), func(s Scale) bool { return s.ID == id }))
}

// division is that of the scale at a place; 0 where it is not known.
func (p Plan) division(place int) reading.Mass {
	if scales := p.scales(); place < len(scales) {
		return scales[place].Division
	}
	return 0
}

// chooseScales lays the parts out on the scales: everything in one cup on the first, unless that speaks against the
// batch and another layout does so less. Of equals the first is taken.
func (p *Plan) chooseScales(card material.Card, scales []Scale) {
	best, least := *p, -1
	best.layOut(0)
	for cup := range scales {
		for b := range scales {
			if b != 0 && p.bUnweighed() {
				continue
			}
			laid := *p
			laid.Scale = new(scales[cup])
			laid.Others = slices.Concat(scales[:cup], scales[cup+1:])
			laid.layOut(b)
			laid.prove(card)
			if bad := laid.speaksAgainst(); least < 0 || bad < least {
				best, least = laid, bad
			}
		}
	}
	*p = best
	p.dropIdleScales()
}

// faults is how much a check speaks against a layout: a load that a scale can't carry above a ratio that it can't prove,
// and either above any caution.
var faults = map[string]map[Level]int{"capacity": {Caution: 1, Stop: 10}, "resolution": {Caution: 1, Stop: 3}}

// speaksAgainst weighs a layout's faults.
func (p *Plan) speaksAgainst() (bad int) {
	for _, c := range p.Checks {
		bad += faults[c.ID][c.Level]
	}
	return bad
}

// layOut puts every part in its order, B on the scale at a place and each addition where it can be weighed.
func (p *Plan) layOut(b int) {
	p.Parts = nil
	additions := func(when string) {
		for _, d := range p.Doses {
			if d.When == when {
				place := p.additionPlace(d)
				p.Parts = append(p.Parts, p.addition(d, place, p.dosed(d), p.division(place)))
			}
		}
	}
	additions("before_a")
	p.Parts = append(p.Parts, p.PartA())
	additions("after_a")
	p.Parts = append(p.Parts, p.part("B", b, p.b(), metrology.Window{}))
	additions("after_b")

	i := p.index("B")
	w := p.sequence()
	if p.bUnweighed() {
		w[i].FromD, w[i].ToD = 0, 0
	}
	p.Parts[i], _ = p.PartB(w[:i], w[i])
}

// additionPlace is under the cup where that scale can weigh the dose to its tolerance, else the scale that comes
// nearest to it.
func (p *Plan) additionPlace(d Dose) (place int) {
	scales := p.scales()
	for i := range scales {
		if p.dosed(d).Grams() >= p.smallestDose(d, place) {
			return place
		}
		if p.smallestDose(d, i) < p.smallestDose(d, place) {
			place = i
		}
	}
	return place
}

// smallestDose is the least of an addition in grams that the scale at a place weighs to its tolerance.
func (p *Plan) smallestDose(d Dose, place int) float64 {
	s := p.scales()[place]
	return metrology.Scale{Repeatability: s.Repeatability}.SmallestWeighing(s.Division, d.TolerancePct)
}

func (p Plan) index(part string) int {
	return slices.IndexFunc(p.Parts, func(x Part) bool { return x.Part == part })
}

// sequence is the weighings of the plan's parts as they are planned. A reading is shared where one part follows another
// in the cup.
func (p Plan) sequence() []metrology.Weighing {
	var w []metrology.Weighing
	for i, part := range p.Parts {
		place := p.placeOf(part.Part)
		d := p.division(place)
		shared := i > 0 && part.Vessel == "cup" && p.Parts[i-1].Vessel == "cup"
		w = append(w, metrology.Weighing{Part: part.Part, Mass: part.Target, FromD: d, ToD: d, Scale: place, Shared: shared})
	}
	return w
}

// prove adds what depends on the scales: uncertainty, smallest batches, and whether they carry and prove it.
func (p *Plan) prove(card material.Card) {
	p.Checks = []Check{}
	w := p.sequence()
	b := p.index("B")
	d := w[b].ToD
	switch {
	case p.bUnweighed():
		p.Checks = append(p.Checks, p.unweighed())
	case d > 0 && p.division(0) > 0:
		_, u, _ := p.Judge(w)
		densityU, airU := p.DensityU, 0.0
		if u < airMatters {
			u, airU = p.takeAir(card, w)
		}
		p.UncertaintyPct = new(rounded(u, 3))
		provableG, pourableG := p.model().SmallestBatch(w, p.Exact.Ratio, p.TolerancePct, d)
		p.ProvableG, p.PourableG = p.smallest(provableG, w), p.smallest(pourableG, w)
		var provable bool
		p.Parts[b], provable = p.PartB(w[:b], w[b])
		p.Checks = append(p.Checks, p.resolution(provable, u, densityU, airU))
	}
	if c, stated := p.capacity(); stated {
		p.Checks = append(p.Checks, c)
	}
}

// takeAir adds the lift of the air to the uncertainty, which it is left out of while it is far below it. airU is
// its share, relative; 0 where the densities are not known.
func (p *Plan) takeAir(card material.Card, w []metrology.Weighing) (uPct, airU float64) {
	if card.Density.A == "" || card.Density.B == "" {
		p.Assumed = append(slices.Clone(p.Assumed), "no lift of the air in the uncertainty: the card states no densities of A and B")
	} else {
		lift := metrology.RatioBuoyancy(card.Density.A.Float(), card.Density.B.Float())
		airU = math.Abs(lift)
		p.DensityU = math.Hypot(p.DensityU, airU)
		p.Assumed = append(slices.Clone(p.Assumed), fmt.Sprintf("the air's lift of %s %% of the ratio stands in the uncertainty, not in the target", short(rounded(100*lift, 4))))
	}
	_, uPct, _ = p.Judge(w)
	return uPct, airU
}

// smallest is a smallest batch as A + B, rounded up to 0.1 g, from one that has in it what counts as either; nil where
// there is none.
func (p *Plan) smallest(grams float64, w []metrology.Weighing) *reading.Mass {
	a, b := p.model().Equivalents(w)
	m, fits := reading.FromGrams(grams * (p.a() + p.b()).Grams() / (a + b))
	if !fits || m > 4000*reading.Kilogram {
		return nil
	}
	return new(m.CeilTo(reading.Gram / 10))
}

// dropIdleScales forgets the scales that nothing is weighed on, and says what was assumed of the others.
func (p *Plan) dropIdleScales() {
	used := func(s Scale) bool {
		return slices.ContainsFunc(p.Parts, func(part Part) bool { return part.Scale != nil && *part.Scale == s.ID })
	}
	p.Others = slices.DeleteFunc(slices.Clone(p.Others), func(s Scale) bool { return !used(s) })
	if len(p.Others) == 0 {
		p.Others = nil
	}
	for _, s := range p.scales() {
		if s.Division > 0 && s.Repeatability == 0 {
			p.Assumed = append(p.Assumed, fmt.Sprintf("repeatability one division (%s): none stated for scale %s", s.Division, s.ID))
		}
		if len(p.Others) > 0 && s.GainU == 0 {
			p.Assumed = append(p.Assumed, fmt.Sprintf("gain of scale %s known to %s %%: no check with a weight is stated", s.ID, short(100*assumedGainU)))
		}
	}
}
