package material

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
)

// Bounds of ours, far outside what a card can mean: beyond them it is a slip of the pen, or a unit that is not the
// card's.
const (
	maxDensity = 25   // g/mL; osmium, the densest element, has 22.6 (from memory)
	maxRatio   = 1e4  // parts of the larger to one of the smaller
	maxFigure  = 1e6  // parts
	minFigure  = 1e-6 // parts
	maxPct     = 1000 // of an addition
	maxCuring  = 100  // parts of B per 100 of A in a b_range: what needs more is no catalyst
	maxMassG   = 1e7
	maxTime    = Duration(366 * 24 * time.Hour)
)

var idPattern = regexp.MustCompile(`^[a-z0-9-]{1,64}$`)

// Validate checks all that a card can say wrong by itself. The error is Faults, all of them at once.
func (c Card) Validate() error {
	var f Faults
	if !idPattern.MatchString(c.ID) {
		f.add("id", "must be 1 to 64 of a-z, 0-9 and -, is %q", c.ID)
	}
	f.required("name", c.Name)
	f.text("name", c.Name)
	c.validateDensity(&f)
	c.validateRatio(&f)
	c.validateTolerances(&f)
	c.validateWays(&f)
	c.PotLife.validate(&f)
	c.validateSteps(&f)
	c.validateAdditions(&f)
	c.Equivalents.validate(&f)
	c.Codes.validate(&f)
	for i, caution := range c.Cautions {
		field := fmt.Sprintf("cautions[%d]", i)
		f.required(field, caution)
		f.text(field, caution)
	}
	f.text("sds.a", c.SDS.A)
	f.text("sds.b", c.SDS.B)
	return f.orNil()
}

// Bounds of an equivalent weight in g/eq; ours: water towards isocyanate has 9, a long polyol some thousands.
const minEquivalent, maxEquivalent = 5, 1e5

func (e *Equivalents) validate(f *Faults) {
	if e == nil {
		return
	}
	for _, part := range []struct {
		field string
		eq    Number
	}{{"equivalents.a", e.A}, {"equivalents.b", e.B}} {
		switch eq := part.eq.Float(); {
		case part.eq == "":
			f.add(part.field, "is missing: an index needs both equivalent weights")
		case !(eq >= minEquivalent && eq <= maxEquivalent):
			f.add(part.field, "is %s, must be from %d to %s g per equivalent", part.eq, minEquivalent, short(maxEquivalent))
		}
	}
	f.oneOf("equivalents.index_of", e.StatedIndexOf, "a", "b")
}

func (f *Faults) required(field, text string) {
	if strings.TrimSpace(text) == "" {
		f.add(field, "is required")
	}
}

// text refuses control characters: a label or a table can't carry them. A new line may be meant, and the group separator
// is part of some scanned codes (GS1 General Specifications: FNC1 is read as ASCII 29).
func (f *Faults) text(field, text string) {
	for _, r := range text {
		if unicode.IsControl(r) && r != '\n' && r != '\x1d' {
			f.add(field, "has the control character %U in it: take it out", r)
			return
		}
	}
}

// oneOf accepts an empty text: not stated.
func (f *Faults) oneOf(field, text string, words ...string) {
	if text != "" && !slices.Contains(words, text) {
		f.add(field, "is %q, must be one of %s%s", text, strings.Join(words, ", "), didYouMean(text, words))
	}
}

// between checks a number that may be nil: not stated. Bounds belong to the range.
func (f *Faults) between(field string, n *float64, low, high float64) {
	if n != nil && !(*n >= low && *n <= high) {
		f.add(field, "is %s, must be from %s to %s", short(*n), short(low), short(high))
	}
}

// positive checks a number that may be nil: not stated. The bound belongs to the range.
func (f *Faults) positive(field string, n *float64, high float64) {
	if n != nil && !(*n > 0 && *n <= high) {
		f.add(field, "is %s, must be more than 0 and at most %s", short(*n), short(high))
	}
}

// celsius checks a temperature that may be nil: absolute zero to where no resin is a liquid.
func (f *Faults) celsius(field string, n *float64) { f.between(field, n, -273.15, 1000) }

func (f *Faults) duration(field string, d Duration) {
	if d < 0 || d > maxTime {
		f.add(field, "is %s, must be more than 0 and at most a year", d)
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

// Bounds of ours for densities that belong together.
const (
	maxShrink = 1.1 // between the mix in the cup and its parts
	minSolid  = 0.7 // of the liquid: below it, what fills the mould has expanded
)

func (c Card) validateDensity(f *Faults) {
	before := len(*f)
	f.density("density.a", c.Density.A)
	f.density("density.b", c.Density.B)
	f.density("density.mixed", c.Density.Mixed)
	f.density("density.cast", c.Density.Cast)
	f.celsius("density.at_c", c.Density.AtC)
	if len(*f) == before {
		c.validateMix(f)
	}
}

// validateMix holds the densities of the mix against those of the parts, as far as they are stated. The mix in the cup
// lies between its parts but for a little shrinkage; only a foam fills more than it was.
func (c Card) validateMix(f *Faults) {
	d := c.Density
	liquid := d.Mixed.Float() // NaN, and so unlike anything, where it isn't stated
	if d.A != "" && d.B != "" {
		low, high := min(d.A.Float(), d.B.Float()), max(d.A.Float(), d.B.Float())
		if liquid < low/maxShrink || liquid > high*maxShrink {
			f.add("density.mixed", "is %s g/mL, far from the densities of its parts, %s and %s: one of them is wrong", d.Mixed, d.A, d.B)
			return
		}
		if d.Mixed == "" {
			liquid = low
		}
	}
	switch cast, foam := d.Cast.Float(), c.Viscosity() == "foam"; {
	case foam && cast >= liquid:
		f.add("density.cast", "is %s g/mL, and the liquid has %s: of a foam it is that of the risen foam in the mould", d.Cast, short(liquid))
	case !foam && cast < minSolid*liquid:
		f.add("density.cast", "is %s g/mL, far below the liquid's %s: if it is a foam, state viscosity: foam", d.Cast, short(liquid))
	}
}

// validateWays checks how B is measured, combined and poured.
func (c Card) validateWays(f *Faults) {
	f.oneOf("measure_b", c.StatedMeasureB, "weight", "volume", "drops")
	f.oneOf("combine", c.StatedCombine, "in_cup", "apart")
	f.oneOf("viscosity", c.StatedViscosity, "thin", "medium", "thick", "thick_thin", "paste", "foam")
	if c.MeasureB() != "drops" {
		return
	}
	if c.Combine() == "apart" {
		f.add("combine", "is apart, but drops of B are counted into A's cup: state in_cup, or measure B by weight or volume")
	}
	if c.Hurry() {
		f.add("hurry", "is true, but drops of B take their time: state false, or measure B by weight or volume")
	}
}

func (c Card) validateRatio(f *Faults) {
	before := len(*f) // a contradiction is only looked for between sound figures
	r := c.Ratio
	if r.Weight == nil && r.Volume == nil {
		f.add("ratio", "must be by weight, by volume, or both: a ratio without its basis is none")
	}
	r.Weight.validate(f, "ratio.weight")
	r.Volume.validate(f, "ratio.volume")
	r.validateRange(f)
	if len(*f) > before || r.Weight == nil || r.Volume == nil || (*f).near("density") || c.Density.A == "" || c.Density.B == "" {
		return
	}
	if reason := c.contradiction(); reason != "" {
		f.add("ratio", "%s", reason)
	}
}

// validateRange: b_range is parts of B per 100 of A by weight, and holds what the ratio by weight says.
func (r Ratio) validateRange(f *Faults) {
	b := r.BRange
	switch {
	case b == nil:
	case len(b) != 2 || !(b[0] > 0 && b[0] < b[1]):
		f.add("ratio.b_range", "must be two positive numbers, the lower first")
	case !(b[1] <= maxCuring):
		f.add("ratio.b_range", "goes to %s parts of B per 100 of A, must be at most %d: it is for catalysed systems", short(b[1]), maxCuring)
	case r.Weight == nil:
		f.add("ratio.b_range", "is in parts by weight, and there is no ratio by weight to start from: state ratio.weight")
	case !f.near("ratio.weight"):
		if per100 := 100 * r.Weight.B.Float() / r.Weight.A.Float(); per100 < b[0] || per100 > b[1] {
			f.add("ratio.weight", "%s parts of B per 100 of A are not within b_range, %s to %s", fourDigits(per100), short(b[0]), short(b[1]))
		}
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

func (c Codes) validate(f *Faults) {
	list := func(part string, codes, others []string, other string) {
		for i, code := range codes {
			field := fmt.Sprintf("codes.%s[%d]", part, i)
			f.required(field, code)
			f.text(field, code)
			switch {
			case slices.Contains(codes[:i], code):
				f.add(field, "%q stands here twice", code)
			case slices.Contains(others, code):
				f.add(field, "%q is a code of %s too", code, other)
			case strings.HasPrefix(code, "twocup:"):
				f.add(field, "%q reads as an action of the station: a container needs a code of its own", code)
			}
		}
	}
	list("a", c.A, c.B, "B")
	list("b", c.B, nil, "")
}
