package plan

import (
	"fmt"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// masters are the shares of an addition in a master batch that are suggested, one in so many.
var masters = []reading.Mass{5, 10, 20, 50, 100, 200, 500, 1000}

// additions is whether each addition is enough to weigh: caution below the least that the scale gives to its tolerance,
// stop where it is no more than a division. It is stated where a scale weighs any.
func (p Plan) additions(card material.Card) (c Check, stated bool) {
	c = Check{ID: "addition", Level: OK}
	var figures, limits, advice []string
	for _, d := range p.Doses {
		place := p.placeOf(d.ID)
		step := p.division(place)
		if step == 0 {
			continue
		}
		dose := p.dosed(d)
		least := p.leastDose(d, place)
		figures = append(figures, d.ID+" "+toMicrogram(dose).String())
		limits = append(limits, fmt.Sprintf("at least %s for ±%s %% of %s", least, short(d.TolerancePct), d.ID))
		if dose >= least {
			continue
		}
		if c.Level == OK {
			c.Level = Caution
		}
		if dose <= step {
			c.Level = Stop
		}
		advice = append(advice, p.enough(addition(card, d.ID), d, dose, least, step))
	}
	c.Figure, c.Limit, c.Do = join(figures), join(limits), join(advice)
	return c, len(figures) > 0
}

// leastDose is smallestDose as the display shows it, rounded up.
func (p Plan) leastDose(d Dose, place int) reading.Mass {
	m, _ := reading.FromGrams(p.smallestDose(d, place))
	return m.CeilTo(p.division(place))
}

// enough is how an addition becomes enough to weigh. A master batch is suggested for what merely colours or fills: what
// starts or drives the reaction is not to be handled more than it has to be.
func (p Plan) enough(a material.Addition, d Dose, dose, least, step reading.Mass) string {
	advice := fmt.Sprintf("%s is too little for this scale: use a finer one, or make a larger batch", d.ID)
	if p.scales()[p.placeOf(d.ID)].Repeatability == 0 {
		advice += ", or measure this one's repeatability"
	}
	if a.Role == "accelerator" || a.Role == "catalyst" {
		return advice
	}
	if master := p.master(d, dose, least, step); master != "" {
		return advice + ", or " + master
	}
	return advice
}

// master is a master batch of an addition in A, or in B for what is dosed by B, with its arithmetic: one in n, so that
// the dose with its carrier is enough to weigh, and the carrier no more than half of what is poured anyway.
func (p Plan) master(d Dose, dose, least, step reading.Mass) string {
	carrier, available := "A", p.a()
	if d.Of == "b" {
		carrier, available = "B", p.b()
	}
	for _, n := range masters {
		taken := (n * dose).FloorTo(step)
		if taken < least {
			continue
		}
		if brought := taken - taken/n; brought <= available/2 {
			return fmt.Sprintf("a master batch 1 in %d: stir %s of %s well into %s of %s; %s of that brings about %s of %s and %s of %s, which is then poured less",
				n, least, d.ID, (n-1)*least, carrier, taken, toMicrogram(taken/n), d.ID, toMicrogram(brought), carrier)
		}
	}
	return ""
}
