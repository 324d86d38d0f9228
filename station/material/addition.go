package material

import (
	"fmt"
	"math"
	"slices"
)

func (c Card) validateAdditions(f *Faults) {
	for i, a := range c.Additions {
		a.validate(f, fmt.Sprintf("additions[%d]", i))
		if slices.IndexFunc(c.Additions, func(b Addition) bool { return b.ID == a.ID }) < i {
			f.add(fmt.Sprintf("additions[%d].id", i), "%q is the id of an earlier addition too", a.ID)
		}
	}
	c.validateOrder(f)
}

func (a Addition) validate(f *Faults, field string) {
	if !idPattern.MatchString(a.ID) || a.ID == "a" || a.ID == "b" {
		f.add(field+".id", "must be 1 to 64 of a-z, 0-9 and -, and not a or b, is %q", a.ID)
	}
	f.text(field+".name", a.Name)
	f.oneOf(field+".role", a.Role, "pigment", "filler", "accelerator", "catalyst", "other")
	f.required(field+".of", a.Of)
	f.oneOf(field+".of", a.Of, "a", "b", "ab")
	if a.Pct == nil {
		f.add(field+".pct", "is missing")
	}
	f.positive(field+".pct", a.Pct, maxPct)
	f.oneOf(field+".when", a.StatedWhen, "before_a", "after_a", "after_b")
	f.oneOf(field+".counts_as", a.StatedCountsAs, "none", "a", "b")
	f.between(field+".counts_fraction", a.StatedCountsFraction, 0, 1)
	if a.CountsAs() == "none" && a.CountsFraction() < 1 && a.CountsFraction() >= 0 {
		f.add(field+".counts_fraction", "says that %s of it counts, but counts_as is none: state a or b, or take the fraction out", short(a.CountsFraction()))
	}
	f.density(field+".density", a.Density)
	f.positive(field+".tolerance_pct", a.StatedTolerancePct, 100)
}

// Pair is an accelerator on a card that has a catalyst too, and the first catalyst that goes in.
type Pair struct {
	Accelerator int    // its place in Additions
	Catalyst    string // the addition's id, or B
	Apart       bool   // they never meet undiluted
}

// Pairs are all of a card's, and whether its order keeps them apart: where a metal accelerator and an organic peroxide
// meet undiluted they decompose violently. The safety data sheets decide; this finds an order that can't be right.
//
// The peroxide is each addition with the role catalyst, and B itself where the ratio has a b_range: only catalysed
// systems have one. On a card with an accelerator besides, the accelerator goes in first, into A, and is stirred in
// (stir_in) before any peroxide follows:
//   - after_a, in the list before a peroxide of the same moment; or
//   - before_a, into the empty cup, only where no peroxide comes before B and a step stir stands between A and B: else
//     nothing says that it was stirred into A, and not just covered by it.
//
// Common practice, no source; that contaminated peroxides decompose is in sections 7 and 10 of their data sheets.
func (c Card) Pairs() (pairs []Pair) {
	moments := []string{"before_a", "after_a", "B", "after_b"}
	place := func(moment, i int) int { return moment*(len(c.Additions)+1) + i }
	b := place(2, 0)
	first, what := math.MaxInt, "" // the earliest peroxide: its place, its name
	if c.Ratio.BRange != nil {
		first, what = b, "B"
	}
	for i, a := range c.Additions {
		if at := place(slices.Index(moments, a.When()), i); a.Role == "catalyst" && at < first {
			first, what = at, a.ID
		}
	}
	if what == "" {
		return nil
	}
	stirStep := slices.ContainsFunc(c.Steps, func(s Step) bool { return s.Kind == "stir" })
	for i, a := range c.Additions {
		if a.Role != "accelerator" {
			continue
		}
		stirredIn := a.StirIn != nil && *a.StirIn
		afterA := a.When() == "after_a" && place(1, i) < first
		beforeA := a.When() == "before_a" && first >= b && stirStep
		pairs = append(pairs, Pair{Accelerator: i, Catalyst: what, Apart: stirredIn && (afterA || beforeA)})
	}
	return pairs
}

func (c Card) validateOrder(f *Faults) {
	for _, p := range c.Pairs() {
		if !p.Apart {
			f.add(fmt.Sprintf("additions[%d].when", p.Accelerator),
				"accelerator %q and catalyst %q must never meet undiluted: the accelerator goes in after_a with stir_in, before the catalyst; the safety data sheets decide",
				c.Additions[p.Accelerator].ID, p.Catalyst)
		}
	}
}
