package plan

import (
	"encoding/json"
	"fmt"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

// Plan is the answer to a card and an amount. Its fields are for show, masses to the microgram once they have been
// through JSON; Exact, TolerancePct, AmountTolerancePct, DensityU and Scale are what its methods compute with, and come
// back from JSON as they were.
type Plan struct {
	Material       string        `json:"material"` // the card's id
	Revision       int           `json:"revision"` // of the card
	RatioBPerA     float64       `json:"ratio_b_per_a"`
	TotalG         reading.Mass  `json:"total_g"` // everything in the cup
	ABG            reading.Mass  `json:"ab_g"`    // A + B
	VolumeML       *float64      `json:"volume_ml"`
	Parts          []Part        `json:"parts"`
	UncertaintyPct *float64      `json:"uncertainty_pct"` // U of B/A as planned; nil without a scale
	ProvableG      *reading.Mass `json:"provable_g"`      // smallest A + B; nil without a scale, and where no batch is large enough
	PourableG      *reading.Mass `json:"pourable_g"`
	Checks         []Check       `json:"checks"`
	Assumed        []string      `json:"assumed"`

	TolerancePct       metrology.Tolerance `json:"tolerance_pct"`
	AmountTolerancePct float64             `json:"amount_tolerance_pct"` // of A's target
	DensityU           float64             `json:"density_u"`            // relative standard uncertainty of the ratio from densities
	Scale              *Scale              `json:"scale"`
	Exact              Exact               `json:"exact"`
}

// Exact is what the shown figures were rounded from.
type Exact struct {
	Ratio float64   `json:"ratio_b_per_a"`
	A     Picograms `json:"part_a_pg"`
	B     Picograms `json:"part_b_pg"`
}

// Picograms is a Mass that JSON carries whole.
type Picograms int64

// Scale is what is known of the scale that a plan is for. Division is that of an empty pan.
type Scale struct {
	ID            string
	Division      reading.Mass // step of the display; 0: not known, nothing can be proved
	Capacity      reading.Mass // 0: not stated
	Repeatability reading.Mass // standard deviation of one weighing difference as displayed; 0: not stated. A stated zero is its least mass, 1 pg
	Linearity     reading.Mass // 0: none stated
}

type scaleJSON struct {
	ID            string    `json:"id"`
	Division      Picograms `json:"division_pg"`
	Capacity      Picograms `json:"capacity_pg"`
	Repeatability Picograms `json:"repeatability_pg"`
	Linearity     Picograms `json:"linearity_pg"`
}

// MarshalJSON keeps every mass whole: a division in pounds has more digits than a microgram.
func (s Scale) MarshalJSON() ([]byte, error) {
	return json.Marshal(scaleJSON{s.ID, Picograms(s.Division), Picograms(s.Capacity), Picograms(s.Repeatability), Picograms(s.Linearity)})
}

// UnmarshalJSON is its reverse.
func (s *Scale) UnmarshalJSON(b []byte) error {
	var j scaleJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return fmt.Errorf("read a plan's scale: %w", err)
	}
	*s = Scale{j.ID, reading.Mass(j.Division), reading.Mass(j.Capacity), reading.Mass(j.Repeatability), reading.Mass(j.Linearity)}
	return nil
}

// Make plans A and B in one cup on one scale; scale is nil where none is chosen. The card must be valid. The error is
// material.Faults: what is wrong with the amount, which density is missing, or what is not built yet.
func Make(card material.Card, revision int, amount Amount, scale *Scale) (Plan, error) {
	if reasons := card.NotBuilt(); len(reasons) > 0 {
		var f material.Faults
		for _, reason := range reasons {
			f = append(f, material.Fault{Field: "material", Detail: reason})
		}
		return Plan{}, f
	}
	if f := amount.validate(); f != nil {
		return Plan{}, f
	}
	r, err := card.BPerA()
	if err != nil {
		return Plan{}, err
	}
	grams, err := amount.gramsOfA(card, r)
	if err != nil {
		return Plan{}, err
	}
	low, high := card.Tolerance()
	p := Plan{
		Material: card.ID, Revision: revision, RatioBPerA: rounded(r, 9), Checks: []Check{},
		Assumed:            append([]string{}, card.Assumed()...),
		TolerancePct:       metrology.Tolerance{LowPct: low, HighPct: high},
		AmountTolerancePct: card.AmountTolerancePct(), DensityU: card.DensityU(), Exact: Exact{Ratio: r},
	}
	if scale != nil {
		p.Scale = new(*scale)
	}
	if err := p.setMasses(grams); err != nil {
		return Plan{}, err
	}
	if density, faults := mixDensity(card, r); faults == nil {
		p.VolumeML = new(rounded(reading.Mass(p.Exact.A+p.Exact.B).Grams()/density, 6))
	}
	p.prove()
	return p, nil
}

// setMasses plans A at so many grams, and B to it.
func (p *Plan) setMasses(gramsOfA float64) error {
	a, fits := reading.FromGrams(gramsOfA)
	b, fitsToo := reading.FromGrams(p.Exact.Ratio * a.Grams())
	switch {
	case !fits || !fitsToo || max(a, b) > 1000*reading.Kilogram:
		return material.Faults{{Field: "amount", Detail: "comes to more than a tonne of a part, the most that can be planned: ask for less"}}
	case a < reading.Microgram || b < reading.Microgram:
		return material.Faults{{Field: "amount", Detail: "leaves less than a microgram of a part, the least that can be planned: ask for more"}}
	}
	p.Exact.A, p.Exact.B = Picograms(a), Picograms(b)
	p.ABG = (a + b + reading.Microgram/2).FloorTo(reading.Microgram) // 1000 g asked for are 1000 g, thirds or not
	p.TotalG = p.ABG
	return nil
}

// prove adds what depends on the scale: parts with their windows, uncertainty, smallest batches and checks.
func (p *Plan) prove() {
	var d reading.Mass
	if p.Scale != nil {
		d = p.Scale.Division
	}
	a := metrology.Weighing{Part: 'A', Mass: reading.Mass(p.Exact.A), FromD: d, ToD: d}
	b := metrology.Weighing{Part: 'B', Mass: reading.Mass(p.Exact.B), FromD: d, ToD: d, Shared: true}
	partB, provable := p.PartB([]metrology.Weighing{a}, b)
	p.Parts = []Part{p.PartA(), partB}
	if d == 0 {
		return
	}
	if p.Scale.Repeatability == 0 {
		p.Assumed = append(p.Assumed, fmt.Sprintf("repeatability one division (%s): none stated for scale %s", d, p.Scale.ID))
	}
	sequence := []metrology.Weighing{a, b}
	_, u, _ := p.Judge(sequence)
	p.UncertaintyPct = new(rounded(u, 3))
	provableG, pourableG := p.model().SmallestBatch(sequence, p.Exact.Ratio, p.TolerancePct, d)
	p.ProvableG, p.PourableG = smallest(provableG), smallest(pourableG)
	p.Checks = append(p.Checks, p.resolution(provable, u))
	if p.Scale.Capacity > 0 {
		p.Checks = append(p.Checks, p.capacity())
	}
}

// smallest is a smallest batch rounded up to 0.1 g; nil where there is none.
func smallest(grams float64) *reading.Mass {
	m, fits := reading.FromGrams(grams)
	if !fits || m > 4000*reading.Kilogram {
		return nil
	}
	return new(m.CeilTo(reading.Gram / 10))
}

// model is what the plan knows of its scale and its ratio.
func (p Plan) model() metrology.Model {
	m := metrology.Model{DensityU: p.DensityU}
	if p.Scale != nil {
		m.Repeatability, m.Linearity = p.Scale.Repeatability, p.Scale.Linearity
	}
	return m
}

// Judge is the error of B/A in percent of the card's ratio, its expanded uncertainty in percent, and the verdict.
func (p Plan) Judge(w []metrology.Weighing) (errorPct, uPct float64, v metrology.Verdict) {
	return p.model().Judgement(w, p.Exact.Ratio, p.TolerancePct)
}
