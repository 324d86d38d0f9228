package plan

import (
	"fmt"

	"twocup/station/material"
	"twocup/station/metrology"
)

// Dose is an addition as a plan keeps it: so many percent of A, B or A + B, by mass.
type Dose struct {
	ID           string  `json:"id"`
	Of           string  `json:"of"` // a, b, ab
	Pct          float64 `json:"pct"`
	When         string  `json:"when"` // before_a, after_a, after_b
	CountsA      float64 `json:"counts_a,omitempty"`
	CountsB      float64 `json:"counts_b,omitempty"` // shares of its mass that count as A, as B
	TolerancePct float64 `json:"tolerance_pct"`
	Density      float64 `json:"density,omitempty"` // g/mL; 0: not stated
}

func newDose(a material.Addition) Dose {
	d := Dose{ID: a.ID, Of: a.Of, Pct: *a.Pct, When: a.When(), TolerancePct: a.TolerancePct()}
	switch a.CountsAs() {
	case "a":
		d.CountsA = a.CountsFraction()
	case "b":
		d.CountsB = a.CountsFraction()
	}
	if a.Density != "" {
		d.Density = a.Density.Float()
	}
	return d
}

// perA and perB are the addition's grams for each gram of A, and of B.
func (d Dose) perA() float64 {
	if d.Of == "b" {
		return 0
	}
	return d.Pct / 100
}

func (d Dose) perB() float64 {
	if d.Of == "a" {
		return 0
	}
	return d.Pct / 100
}

func (d Dose) counts() bool { return d.CountsA > 0 || d.CountsB > 0 }

// grams is the addition's mass for so many grams of A and of B.
func (d Dose) grams(a, b float64) float64 { return d.perA()*a + d.perB()*b }

// mixture is what goes into the cup for one gram of A: b grams of B, and the additions' doses.
type mixture struct {
	ratio float64 // of what counts as B to what counts as A
	b     float64
	doses []Dose
}

// newMixture solves B + Σ f·m = ratio·(A + Σ f·m) for B, with every addition's m a dose of A, of B or of both.
func newMixture(ratio float64, additions []material.Addition) (mixture, error) {
	m := mixture{ratio: ratio}
	aPerA, aPerB, bPerA, bPerB := 1.0, 0.0, 0.0, 1.0 // what counts as A and as B, for a gram of A and for one of B
	for _, addition := range additions {
		d := newDose(addition)
		m.doses = append(m.doses, d)
		aPerA += d.CountsA * d.perA()
		aPerB += d.CountsA * d.perB()
		bPerA += d.CountsB * d.perA()
		bPerB += d.CountsB * d.perB()
	}
	needed, each := ratio*aPerA-bPerA, bPerB-ratio*aPerB
	if !(needed > 0 && each > 0) {
		return m, material.Faults{{Field: "additions",
			Detail: "the additions count for so much of A or B that no B makes the ratio right; check pct, counts_as and counts_fraction"}}
	}
	m.b = needed / each
	return m, nil
}

// totalPerA is the grams of everything in the cup for one gram of A.
func (m mixture) totalPerA() float64 {
	total := 1 + m.b
	for _, d := range m.doses {
		total += d.grams(1, m.b)
	}
	return total
}

// volumePerA is the millilitres of everything for one gram of A, with A + B of the given density in g/mL and each
// addition of its own. The faults name the additions whose density is missing.
func (m mixture) volumePerA(density float64) (float64, material.Faults) {
	var faults material.Faults
	volume := (1 + m.b) / density
	for i, d := range m.doses {
		if d.Density == 0 {
			faults = append(faults, material.Fault{Field: fmt.Sprintf("additions[%d].density", i),
				Detail: fmt.Sprintf("the density of %s is missing: a volume needs it; enter it from the data sheet, or ask for a mass", d.ID)})
			continue
		}
		volume += d.grams(1, m.b) / d.Density
	}
	return volume, faults
}

// mouldDensity is the density of A + B in g/mL as it fills a mould: the card's cast, else that of the liquid. Of a foam
// only cast says anything. The faults name what is missing.
func mouldDensity(card material.Card, mix mixture) (float64, material.Faults) {
	if card.Density.Cast != "" {
		return card.Density.Cast.Float(), nil
	}
	if card.Viscosity() == "foam" {
		return 0, material.Faults{{Field: "density.cast",
			Detail: "the density of the cast foam is missing: a foam's mould can't be filled by its liquid density; enter it from the data sheet, or ask for a mass"}}
	}
	if density := liquidDensity(card, mix); density > 0 {
		return density, nil
	}
	return 0, material.Faults{{Field: "density",
		Detail: "a volume needs density.cast, density.mixed, or both density.a and density.b; enter one from the data sheet, or ask for a mass"}}
}

// liquidDensity is the density of A + B in the cup in g/mL: the card's mixed, else that of ideal mixing,
// (mA + mB)/(mA/ρA + mB/ρB); 0 where it is not known.
func liquidDensity(card material.Card, mix mixture) float64 {
	switch d := card.Density; {
	case d.Mixed != "":
		return d.Mixed.Float()
	case d.A != "" && d.B != "":
		return (1 + mix.b) / (1/d.A.Float() + mix.b/d.B.Float())
	}
	return 0
}

// tolerance is the card's, in percent of the ratio; of a catalysed system it is the range within which B may be.
func tolerance(card material.Card, ratio float64) metrology.Tolerance {
	if b := card.Ratio.BRange; b != nil {
		return metrology.Tolerance{LowPct: min(0, b[0]/ratio-100), HighPct: max(0, b[1]/ratio-100), Range: true}
	}
	low, high := card.Tolerance()
	return metrology.Tolerance{LowPct: low, HighPct: high}
}
