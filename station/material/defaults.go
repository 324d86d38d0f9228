package material

import (
	"fmt"
	"strings"
)

// What holds where a card is silent.
const (
	defaultTolerancePct       = 2
	defaultAmountTolerancePct = 2
	defaultAdditionPct        = 5 // tolerance of an addition
)

// Tolerance is how far B may be from the ratio, in percent of B relative to A: low ≤ 0 ≤ high. Default ± 2 %.
func (c Card) Tolerance() (low, high float64) {
	if t := c.StatedTolerance; t != nil {
		return t.Low, t.High
	}
	return -defaultTolerancePct, defaultTolerancePct
}

// AmountTolerancePct is how far A may be from its target, in percent of it. Default 2.
func (c Card) AmountTolerancePct() float64 {
	if c.StatedAmountTolerancePct != nil {
		return *c.StatedAmountTolerancePct
	}
	return defaultAmountTolerancePct
}

// MeasureB is how B is measured. Default weight.
func (c Card) MeasureB() string { return or(c.StatedMeasureB, "weight") }

// Combine is where B goes: onto A, in_cup, or into a cup of its own first, apart. Default in_cup.
func (c Card) Combine() string { return or(c.StatedCombine, "in_cup") }

// Hurry is true of a system so fast that B is never topped up. Default false.
func (c Card) Hurry() bool { return c.StatedHurry != nil && *c.StatedHurry }

// Viscosity is how the parts flow. Default medium.
func (c Card) Viscosity() string { return or(c.StatedViscosity, "medium") }

// When is the moment the addition goes in. Default after_a.
func (a Addition) When() string { return or(a.StatedWhen, "after_a") }

// CountsAs is the part whose share of the ratio the addition takes: none, a or b. Default none.
func (a Addition) CountsAs() string { return or(a.StatedCountsAs, "none") }

// CountsFraction is the share of the addition's mass that counts, 0 to 1, where CountsAs is not none. Default 1.
func (a Addition) CountsFraction() float64 {
	if a.StatedCountsFraction != nil {
		return *a.StatedCountsFraction
	}
	return 1
}

// TolerancePct is how far the addition may be from its own target, in percent of it. Default 5.
func (a Addition) TolerancePct() float64 {
	if a.StatedTolerancePct != nil {
		return *a.StatedTolerancePct
	}
	return defaultAdditionPct
}

// IndexOf is the part whose equivalents are counted per 100 of the other's in an index. Default b.
func (e Equivalents) IndexOf() string { return or(e.StatedIndexOf, "b") }

func or(stated, fallback string) string {
	if stated != "" {
		return stated
	}
	return fallback
}

// Assumed lists the defaults that stand in for what the card does not state, a sentence each.
func (c Card) Assumed() []string {
	var assumed []string
	for _, d := range []struct {
		missing  bool
		sentence string
	}{
		{c.StatedTolerance == nil && c.Ratio.BRange == nil, fmt.Sprintf("tolerance ±%d %% of B relative to A: the card states none", defaultTolerancePct)},
		{c.StatedAmountTolerancePct == nil, fmt.Sprintf("tolerance of A's amount ±%d %%: the card states none", defaultAmountTolerancePct)},
		{c.StatedMeasureB == "", "B is measured by " + c.MeasureB() + ": the card does not say"},
		{c.StatedCombine == "", "B is poured onto A in one cup: the card does not say"},
		{c.StatedHurry == nil, "not a fast system, B may be topped up: the card does not say"},
		{c.StatedViscosity == "", "viscosity " + c.Viscosity() + ": the card does not say"},
	} {
		if d.missing {
			assumed = append(assumed, d.sentence)
		}
	}
	if e := c.Equivalents; e != nil && e.StatedIndexOf == "" {
		assumed = append(assumed, "the index counts B's equivalents per 100 of A's: the card does not say (index_of)")
	}
	for _, a := range c.Additions {
		assumed = append(assumed, a.assumed()...)
	}
	return assumed
}

func (a Addition) assumed() (list []string) {
	if a.StatedTolerancePct == nil {
		list = append(list, fmt.Sprintf("tolerance of addition %s ±%d %%: the card states none", a.ID, defaultAdditionPct))
	}
	if a.StatedWhen == "" {
		list = append(list, fmt.Sprintf("addition %s goes in after A: the card does not say", a.ID))
	}
	if a.StatedCountsAs == "" {
		list = append(list, fmt.Sprintf("addition %s counts neither as A nor as B: the card does not say", a.ID))
	} else if a.StatedCountsFraction == nil && a.CountsAs() != "none" {
		list = append(list, fmt.Sprintf("addition %s counts as %s with all its mass: the card does not say", a.ID, strings.ToUpper(a.CountsAs())))
	}
	return list
}

// NotBuilt lists why a batch of this card can't be started yet, a sentence each.
func (c Card) NotBuilt() []string {
	var reasons []string
	for _, n := range []struct {
		asked bool
		what  string
	}{
		{c.Combine() == "apart", "B in a cup of its own (combine: apart)"},
		{c.Hurry(), "a fast system (hurry: true)"},
		{c.MeasureB() != "weight", "measuring B by " + c.MeasureB() + " (measure_b)"},
	} {
		if n.asked {
			reasons = append(reasons, n.what+" is not built yet")
		}
	}
	return reasons
}
