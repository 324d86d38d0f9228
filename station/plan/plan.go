package plan

import (
	"encoding/json"
	"fmt"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

// Plan is the answer to a request: every mass, window and check is that of one cup. The fields down to Assumed are for
// show, masses to the microgram once they have been through JSON; those after it are what its methods compute with, and
// come back from JSON as they were. A plan that was stored before one of them existed has none of what it stands for.
type Plan struct {
	Material       string        `json:"material"` // the card's id
	Revision       int           `json:"revision"` // of the card
	RatioBPerA     float64       `json:"ratio_b_per_a"`
	TotalG         reading.Mass  `json:"total_g"` // everything in the cup
	ABG            reading.Mass  `json:"ab_g"`    // A + B
	VolumeML       *float64      `json:"volume_ml"`
	Cups           int           `json:"cups"`
	BatchTotalG    reading.Mass  `json:"batch_total_g"` // of all cups
	Parts          []Part        `json:"parts"`         // in the order in which they are dosed
	UncertaintyPct *float64      `json:"uncertainty_pct"`
	ProvableG      *reading.Mass `json:"provable_g"` // smallest A + B; nil where no batch is large enough
	PourableG      *reading.Mass `json:"pourable_g"` // these three are nil where no scale weighs both A and B
	Checks         []Check       `json:"checks"`
	Assumed        []string      `json:"assumed"`

	TolerancePct       metrology.Tolerance `json:"tolerance_pct"`
	AmountTolerancePct float64             `json:"amount_tolerance_pct"` // of A's target
	DensityU           float64             `json:"density_u"`            // relative standard uncertainty of the ratio from densities, and from the air where that matters
	Scale              *Scale              `json:"scale"`                // the one under the cup: place 0 of a weighing
	Others             []Scale             `json:"other_scales,omitempty"`
	Exact              Exact               `json:"exact"`
	Doses              []Dose              `json:"doses,omitempty"` // in the card's order
	Cup                *Cup                `json:"cup,omitempty"`
	LiquidDensity      float64             `json:"liquid_density,omitempty"` // of A + B in the cup, g/mL; 0: not known
	TemperatureC       *float64            `json:"temperature_c,omitempty"`
	Hurry              bool                `json:"hurry,omitempty"`
	Apart              bool                `json:"apart,omitempty"`     // B has a cup of its own
	MeasureB           string              `json:"measure_b,omitempty"` // volume, drops; empty: weight
}

// Exact is what the shown figures were rounded from.
type Exact struct {
	Ratio float64   `json:"ratio_b_per_a"` // of what counts as B to what counts as A
	A     Picograms `json:"part_a_pg"`
	B     Picograms `json:"part_b_pg"`
}

// Picograms is a Mass that JSON carries whole.
type Picograms int64

func (p Plan) a() reading.Mass { return reading.Mass(p.Exact.A) }
func (p Plan) b() reading.Mass { return reading.Mass(p.Exact.B) }

// dosed is the planned mass of an addition.
func (p Plan) dosed(d Dose) reading.Mass {
	m, _ := reading.FromGrams(d.grams(p.a().Grams(), p.b().Grams()))
	return m
}

// setMasses plans A for one cup of those that so many grams of A are split over, and all else to it.
func (p *Plan) setMasses(gramsOfA float64, mix mixture) error {
	a, fits := reading.FromGrams(gramsOfA / float64(p.Cups))
	b, fitsToo := reading.FromGrams(mix.b * a.Grams())
	whole, fitsAll := reading.FromGrams(gramsOfA * mix.totalPerA())
	switch {
	case !fits || !fitsToo || !fitsAll || max(a, b) > 1000*reading.Kilogram:
		return material.Faults{{Field: "amount", Detail: "comes to more than a tonne of a part, the most that can be planned: ask for less"}}
	case a < reading.Microgram || b < reading.Microgram:
		return material.Faults{{Field: "amount", Detail: "leaves less than a microgram of a part, the least that can be planned: ask for more"}}
	}
	p.Exact.A, p.Exact.B = Picograms(a), Picograms(b)
	total := a + b
	for _, d := range p.Doses {
		total += p.dosed(d)
	}
	p.ABG, p.TotalG, p.BatchTotalG = toMicrogram(a+b), toMicrogram(total), toMicrogram(whole)
	return nil
}

// toMicrogram is the nearest whole microgram: 1000 g asked for are 1000 g, thirds or not.
func toMicrogram(m reading.Mass) reading.Mass {
	return (m + reading.Microgram/2).FloorTo(reading.Microgram)
}

// model is what the plan knows of its scales and its ratio. A single scale's gain cancels; of several, one that was
// never checked with a weight is taken at assumedGainU.
func (p Plan) model() metrology.Model {
	m := metrology.Model{DensityU: p.DensityU}
	for _, s := range p.scales() {
		gain := s.GainU
		if gain == 0 {
			gain = assumedGainU
		}
		m.Scales = append(m.Scales, metrology.Scale{Repeatability: s.Repeatability, Linearity: s.Linearity, GainU: gain})
	}
	for _, d := range p.Doses {
		if d.counts() {
			if m.Counts == nil {
				m.Counts = map[string]metrology.Share{}
			}
			m.Counts[d.ID] = metrology.Share{A: d.CountsA, B: d.CountsB}
		}
	}
	return m
}

// Judge is the error of B/A in percent of the wanted ratio, its expanded uncertainty in percent, and the verdict; A and
// B with what counts as them.
func (p Plan) Judge(w []metrology.Weighing) (errorPct, uPct float64, v metrology.Verdict) {
	return p.model().Judgement(w, p.Exact.Ratio, p.TolerancePct)
}

// Scale is what is known of the scale that a plan is for. Division is that of an empty pan.
type Scale struct {
	ID            string
	Division      reading.Mass // step of the display; 0: not known, nothing can be proved
	Capacity      reading.Mass // 0: not stated
	Repeatability reading.Mass // standard deviation of one weighing difference as displayed; 0: not stated. A stated zero is its least mass, 1 pg
	Linearity     reading.Mass // 0: none stated
	GainU         float64      // relative standard uncertainty of its gain, from a check with a weight; 0: never checked
}

type scaleJSON struct {
	ID            string    `json:"id"`
	Division      Picograms `json:"division_pg"`
	Capacity      Picograms `json:"capacity_pg"`
	Repeatability Picograms `json:"repeatability_pg"`
	Linearity     Picograms `json:"linearity_pg"`
	GainU         float64   `json:"gain_u,omitempty"`
}

// MarshalJSON keeps every mass whole: a division in pounds has more digits than a microgram.
func (s Scale) MarshalJSON() ([]byte, error) {
	return json.Marshal(scaleJSON{s.ID, Picograms(s.Division), Picograms(s.Capacity), Picograms(s.Repeatability), Picograms(s.Linearity), s.GainU})
}

// UnmarshalJSON is its reverse.
func (s *Scale) UnmarshalJSON(b []byte) error {
	var j scaleJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return fmt.Errorf("read a plan's scale: %w", err)
	}
	*s = Scale{j.ID, reading.Mass(j.Division), reading.Mass(j.Capacity), reading.Mass(j.Repeatability), reading.Mass(j.Linearity), j.GainU}
	return nil
}
