package material

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

// Bounds of ours, far outside what a card can mean: beyond them it is a slip of the pen, or a unit that is not the
// card's.
const (
	maxDensity = 25   // g/mL; osmium, the densest element, has 22.6 (from memory)
	maxRatio   = 1e4  // parts of the larger to one of the smaller
	maxFigure  = 1e6  // parts
	minFigure  = 1e-6 // parts
	maxPct     = 1000 // of an addition
)

var idPattern = regexp.MustCompile(`^[a-z0-9-]{1,64}$`)

// Validate checks all that a card can say wrong by itself. The error is Faults, all of them at once.
func (c Card) Validate() error {
	var f Faults
	if !idPattern.MatchString(c.ID) {
		f.add("id", "must be 1 to 64 of a-z, 0-9 and -, is %q", c.ID)
	}
	f.required("name", c.Name)
	c.validateDensity(&f)
	c.validateRatio(&f)
	c.validateTolerances(&f)
	f.oneOf("measure_b", c.StatedMeasureB, "weight", "volume", "drops")
	f.oneOf("combine", c.StatedCombine, "in_cup", "apart")
	f.oneOf("viscosity", c.StatedViscosity, "thin", "medium", "thick", "thick_thin", "paste", "foam")
	c.PotLife.validate(&f)
	for i, s := range c.Steps {
		s.validate(&f, fmt.Sprintf("steps[%d]", i))
	}
	for i, a := range c.Additions {
		a.validate(&f, fmt.Sprintf("additions[%d]", i))
		if slices.IndexFunc(c.Additions, func(b Addition) bool { return b.ID == a.ID }) < i {
			f.add(fmt.Sprintf("additions[%d].id", i), "%q is the id of an earlier addition too", a.ID)
		}
	}
	c.validateOrder(&f)
	c.Codes.validate(&f)
	for i, caution := range c.Cautions {
		f.required(fmt.Sprintf("cautions[%d]", i), caution)
	}
	return f.orNil()
}

func (f *Faults) required(field, text string) {
	if strings.TrimSpace(text) == "" {
		f.add(field, "is required")
	}
}

// oneOf accepts an empty text: not stated.
func (f *Faults) oneOf(field, text string, words ...string) {
	if text != "" && !slices.Contains(words, text) {
		f.add(field, "is %q, must be one of %s", text, strings.Join(words, ", "))
	}
}

// between checks a number that may be nil: not stated. Bounds belong to the range.
func (f *Faults) between(field string, n *float64, low, high float64) {
	if n != nil && !(*n >= low && *n <= high) {
		f.add(field, "is %s, must be from %s to %s", short(*n), short(low), short(high))
	}
}

// positive checks a number that may be nil: not stated.
func (f *Faults) positive(field string, n *float64) {
	if n != nil && !(*n > 0 && *n <= math.MaxFloat64) {
		f.add(field, "is %s, must be more than 0", short(*n))
	}
}

// celsius checks a temperature that may be nil: absolute zero to where no resin is a liquid.
func (f *Faults) celsius(field string, n *float64) { f.between(field, n, -273.15, 1000) }

func (f *Faults) duration(field string, d Duration) {
	if d < 0 {
		f.add(field, "is %s, must be more than 0", d)
	}
}

func (f *Faults) density(field string, n Number) {
	switch rho := n.Float(); {
	case n == "":
	case !(rho > 0):
		f.add(field, "is %s, must be more than 0 g/mL", n)
	case rho > maxDensity:
		f.add(field, "is %s, must be at most %d g/mL: is it in kg/m³?", n, maxDensity)
	}
}

func (c Card) validateDensity(f *Faults) {
	f.density("density.a", c.Density.A)
	f.density("density.b", c.Density.B)
	f.density("density.mixed", c.Density.Mixed)
	f.density("density.cast", c.Density.Cast)
	f.celsius("density.at_c", c.Density.AtC)
}

func (c Card) validateRatio(f *Faults) {
	before := len(*f) // a contradiction is only looked for between sound figures
	r := c.Ratio
	if r.Weight == nil && r.Volume == nil {
		f.add("ratio", "must be by weight, by volume, or both: a ratio without its basis is none")
	}
	r.Weight.validate(f, "ratio.weight")
	r.Volume.validate(f, "ratio.volume")
	if b := r.BRange; b != nil && !(len(b) == 2 && b[0] > 0 && b[0] < b[1] && b[1] <= maxFigure) {
		f.add("ratio.b_range", "must be two positive numbers, the lower first")
	} else if p, basis := r.inForce(); b != nil && basis == "weight" {
		if per100 := 100 * p.B.Float() / p.A.Float(); per100 < b[0] || per100 > b[1] {
			f.add("ratio.weight", "%s parts of B per 100 of A are not within b_range", fourDigits(per100))
		}
	}
	if len(*f) > before || r.Weight == nil || r.Volume == nil || (*f).near("density") || c.Density.A == "" || c.Density.B == "" {
		return
	}
	if reason := c.contradiction(); reason != "" {
		f.add("ratio", "%s", reason)
	}
}

func (p *Parts) validate(f *Faults, field string) {
	if p == nil {
		return
	}
	before := len(*f)
	figure := func(field string, n Number) {
		switch x := n.Float(); {
		case n == "":
			f.add(field, "is missing")
		case !(x >= minFigure && x <= maxFigure):
			f.add(field, "is %s, must be more than 0 and at most %s parts", n, short(maxFigure))
		}
	}
	figure(field+".a", p.A)
	figure(field+".b", p.B)
	if r := p.B.Float() / p.A.Float(); len(*f) == before && !(r >= 1/maxRatio && r <= maxRatio) {
		f.add(field, "A %s : B %s is beyond 1 : %s", p.A, p.B, short(maxRatio))
	}
}

func (c Card) validateTolerances(f *Faults) {
	if t := c.StatedTolerance; t != nil && !(t.Low <= 0 && t.Low > -100 && t.High >= 0 && t.High <= 100 && t.Low < t.High) {
		f.add("tolerance_pct", "must be more than 0 and less than 100, or low ≤ 0 ≤ high and not both 0")
	}
	if a := c.StatedAmountTolerancePct; a != nil && !(*a > 0 && *a < 100) {
		f.add("amount_tolerance_pct", "is %s, must be more than 0 and less than 100", short(*a))
	}
}

func (p *PotLife) validate(f *Faults) {
	if p == nil {
		return
	}
	if p.Time == 0 {
		f.add("pot_life.time", "is missing")
	}
	f.duration("pot_life.time", p.Time)
	f.positive("pot_life.mass_g", p.MassG)
	f.celsius("pot_life.temperature_c", p.TemperatureC)
	f.positive("pot_life.activation_kj_mol", p.ActivationKJPerMol)
	if p.Table != nil && p.ActivationKJPerMol != nil {
		f.add("pot_life", "has a table and an activation energy, must have one of them")
	}
	for i, row := range p.Table {
		field := fmt.Sprintf("pot_life.table[%d]", i)
		if row.Time == 0 || row.TemperatureC == nil {
			f.add(field, "must have temperature_c and time")
		}
		f.duration(field+".time", row.Time)
		f.celsius(field+".temperature_c", row.TemperatureC)
		f.positive(field+".mass_g", row.MassG)
	}
}

func (s Step) validate(f *Faults, field string) {
	f.required(field+".step", s.Kind)
	f.oneOf(field+".step", s.Kind, "stir", "degas_a", "mix", "second_cup", "degas", "cast", "press", "cure", "demould", "post_cure")
	f.oneOf(field+".verb", s.Verb, "cast", "pot", "laminate", "brush", "spray")
	f.duration(field+".time", s.Time)
	f.duration(field+".within", s.Within)
	f.duration(field+".scrape_every", s.ScrapeEvery)
	f.celsius(field+".temperature_c", s.TemperatureC)
	f.positive(field+".pressure_mbar_abs", s.PressureMbarAbs)
	f.between(field+".headroom", s.Headroom, 1, 100)
}

func (a Addition) validate(f *Faults, field string) {
	if !idPattern.MatchString(a.ID) || a.ID == "a" || a.ID == "b" {
		f.add(field+".id", "must be 1 to 64 of a-z, 0-9 and -, and not a or b, is %q", a.ID)
	}
	f.oneOf(field+".role", a.Role, "pigment", "filler", "accelerator", "catalyst", "other")
	f.required(field+".of", a.Of)
	f.oneOf(field+".of", a.Of, "a", "b", "ab")
	if a.Pct == nil {
		f.add(field+".pct", "is missing")
	} else if !(*a.Pct > 0 && *a.Pct <= maxPct) {
		f.add(field+".pct", "is %s, must be more than 0 and at most %d", short(*a.Pct), maxPct)
	}
	f.oneOf(field+".when", a.StatedWhen, "before_a", "after_a", "after_b")
	f.oneOf(field+".counts_as", a.CountsAs, "none", "a", "b")
	f.between(field+".counts_fraction", a.CountsFraction, 0, 1)
	f.density(field+".density", a.Density)
	f.positive(field+".tolerance_pct", a.TolerancePct)
}

// validateOrder keeps an accelerator and an organic peroxide apart, which decompose violently where they meet
// undiluted: on a card with an accelerator and a catalyst, the accelerator goes into A first and is stirred in, then
// the catalyst (common practice, no source). B is the catalyst where the card has a range for it.
func (c Card) validateOrder(f *Faults) {
	moment := func(a Addition) int { return slices.Index([]string{"before_a", "after_a", "B", "after_b"}, a.When()) }
	first, what := math.MaxInt, "" // the earliest catalyst: its moment, then its place in the list
	place := func(moment, i int) int { return moment*(len(c.Additions)+1) + i }
	if c.Ratio.BRange != nil {
		first, what = place(2, 0), "B"
	}
	for i, a := range c.Additions {
		if at := place(moment(a), i); a.Role == "catalyst" && at < first {
			first, what = at, a.ID
		}
	}
	for i, a := range c.Additions {
		if a.Role != "accelerator" || what == "" {
			continue
		}
		stirred := a.StirIn != nil && *a.StirIn
		if a.When() != "after_a" || !stirred || place(moment(a), i) > first {
			f.add(fmt.Sprintf("additions[%d].when", i),
				"accelerator %q and catalyst %q must never meet undiluted: the accelerator goes in after_a with stir_in, before the catalyst", a.ID, what)
		}
	}
}

func (c Codes) validate(f *Faults) {
	for i, code := range c.A {
		f.required(fmt.Sprintf("codes.a[%d]", i), code)
		if slices.Contains(c.B, code) {
			f.add(fmt.Sprintf("codes.a[%d]", i), "%q is a code of B too", code)
		}
	}
	for i, code := range c.B {
		f.required(fmt.Sprintf("codes.b[%d]", i), code)
	}
}
