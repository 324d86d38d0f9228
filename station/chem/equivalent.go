package chem

import "fmt"

// The trade's printed constants, which data sheets are made with. By the IUPAC abridged standard atomic weights of 2021
// they would be 4201.7 and 56 105: 0.01 % apart, below what any titration shows.
const (
	ncoTimesPct = 4202  // g·%/eq: 100 × the mass of the group NCO
	kohPerMole  = 56100 // mg/eq
)

// Water is the equivalent weight of water towards isocyanate in g/eq: it takes two NCO groups, 18.015/2 (IUPAC
// abridged standard atomic weights 2021).
const Water = 9.0075

// OfMolecule is the equivalent weight of a pure compound in g/eq: molar mass in g/mol, 17 to 1e6, over its reactive
// groups, 1 to 1000. With active N–H it is the amine hydrogen equivalent weight (AHEW), with epoxide groups the
// epoxide equivalent weight (EEW). Definition.
func OfMolecule(molarMass float64, groups int) (eq float64, err error) {
	var f faults
	f.check("the molar mass", molarMass, molarMassBound)
	f.check("the number of reactive groups", float64(groups), groupsBound)
	return equivalent("work out an equivalent weight from a molar mass", molarMass/float64(groups), f)
}

// FromNCO is the equivalent weight of an isocyanate in g/eq, 4202/%NCO (printed in trade libraries; ASTM D2572,
// D5155), from NCO in percent by mass, 0.5 to 75.
func FromNCO(pct float64) (eq float64, err error) {
	var f faults
	f.check("NCO", pct, ncoBound)
	return equivalent("work out the equivalent weight of an isocyanate", ncoTimesPct/pct, f)
}

// FromOH is the equivalent weight of a polyol in g/eq, 56 100/OH number (printed in trade libraries; ASTM D4274), from
// the OH number in mg KOH/g, 5 to 2000. Water in the polyol is not in it: see Blend.
func FromOH(number float64) (eq float64, err error) {
	var f faults
	f.check("the OH number", number, ohBound)
	return equivalent("work out the equivalent weight of a polyol", kohPerMole/number, f)
}

// FromOxirane is the EEW in g/eq, 4300/% (ASTM D1652; formula from memory: 43 g/mol of oxirane group), from the
// oxirane group in percent by mass, 0.5 to 98.
func FromOxirane(pct float64) (eew float64, err error) {
	var f faults
	f.check("the epoxide content", pct, oxiraneBound)
	return equivalent("work out an EEW from the epoxide content", 4300/pct, f)
}

// FromEpoxyValue is the EEW in g/eq, 100/value (definition), from the epoxy value in equivalents per 100 g, 0.01 to
// 2.3.
func FromEpoxyValue(eqPer100g float64) (eew float64, err error) {
	var f faults
	f.check("the epoxy value", eqPer100g, epoxyValueBound)
	return equivalent("work out an EEW from the epoxy value", 100/eqPer100g, f)
}

// Component is one member of a blend on one side of the reaction.
type Component struct {
	Weight float64 // parts by weight, 1e-6 to 1e6, in one unit for the whole blend
	Eq     float64 // equivalent weight in g/eq, 5 to 1e5; 0 in an inert one
	Inert  bool    // a filler or diluent without reactive groups: it counts by its weight alone
}

// Blend is the equivalent weight of a mixture in g/eq, Σw/Σ(w/eq) over its members, an inert one in Σw only (printed in
// guides to epoxy calculations). It is the same for EEW, AHEW and hydroxyl; water in a polyol is a member of its own,
// with Water.
func Blend(members ...Component) (eq float64, err error) {
	var f faults
	var weight, equivalents float64
	for i, m := range members {
		name := fmt.Sprintf("of member %d", i+1)
		f.check("the weight "+name, m.Weight, weightBound)
		weight += m.Weight
		switch {
		case !m.Inert:
			f.check("the equivalent weight "+name, m.Eq, equivalentBound)
			equivalents += m.Weight / m.Eq
		case m.Eq != 0:
			f = append(f, fmt.Sprintf("member %d is inert and has an equivalent weight of %v: leave one of the two out", i+1, m.Eq))
		}
	}
	if len(f) == 0 && equivalents == 0 {
		f = append(f, "no member reacts: name at least one with its equivalent weight")
	}
	return equivalent("work out the equivalent weight of a blend", weight/equivalents, f)
}
