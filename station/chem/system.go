package chem

import (
	"math"

	"twocup/scaledrv/reading"
)

// System is a two-part system by its equivalents. The index is the equivalents of one part per 100 of the other's: NCO
// per 100 OH in a urethane, amine hydrogen per 100 epoxide in an epoxy. Which bottle is A differs from maker to maker,
// so it is always said.
type System struct {
	EqA, EqB float64 // equivalent weights of A and B in g/eq, 5 to 1e5
	IndexOf  byte    // 'A' or 'B': the part on top in the index, that of the isocyanate or the amine
}

func (s System) faults() (f faults) {
	f.check("the equivalent weight of A", s.EqA, equivalentBound)
	f.check("the equivalent weight of B", s.EqB, equivalentBound)
	f.checkPart("on top in the index", s.IndexOf)
	return f
}

// PHR is the parts by weight of the part on top in the index per 100 of the other: phr of hardener, or parts of
// isocyanate per 100 of polyol. It is index × eq(top)/eq(other) (AHEW × 100/EEW at index 100: printed in guides to
// epoxy calculations), for an index in percent, 10 to 1000.
func (s System) PHR(index float64) (float64, error) {
	f := s.faults()
	f.check("the index", index, indexBound)
	if err := f.err("work out the mix ratio from equivalent weights"); err != nil {
		return math.NaN(), err
	}
	return s.phr(index), nil
}

func (s System) phr(index float64) float64 {
	if s.IndexOf == 'A' {
		return index * s.EqA / s.EqB
	}
	return index * s.EqB / s.EqA
}

// Index is that of the masses poured, in percent: 100 × eq(top)/eq(other), each its mass over its equivalent weight
// (definition). Both masses must be more than 0.
func (s System) Index(a, b reading.Mass) (float64, error) {
	f := s.faults()
	for _, part := range []struct {
		name string
		mass reading.Mass
	}{{"A", a}, {"B", b}} {
		if part.mass <= 0 {
			f = append(f, "the mass of "+part.name+" is "+part.mass.String()+", must be more than 0: weigh both parts first")
		}
	}
	if err := f.err("work out the index of what was poured"); err != nil {
		return math.NaN(), err
	}
	eqA, eqB := a.Grams()/s.EqA, b.Grams()/s.EqB
	if s.IndexOf == 'A' {
		return 100 * eqA / eqB, nil
	}
	return 100 * eqB / eqA, nil
}

// Tolerance is how far B may be from the ratio at the index aimed at, in percent of B relative to A, when the index may
// be from low to high; lowPct ≤ 0 ≤ highPct. The index is proportional to B/A where B is on top, so the tolerance is
// the same in relative terms; where A is, to A/B: the sides change places, and 95 to 105 leaves B -4.76 to +5.26 %.
// All three are in percent, 10 to 1000, in the order low ≤ index ≤ high, low < high.
func (s System) Tolerance(index, low, high float64) (lowPct, highPct float64, err error) {
	f := s.faults()
	f.check("the index", index, indexBound)
	f.check("the lowest index", low, indexBound)
	f.check("the highest index", high, indexBound)
	if len(f) == 0 && !(low <= index && index <= high && low < high) {
		f = append(f, "the lowest index "+short(low)+", the index "+short(index)+" and the highest "+short(high)+
			" are not in this order, or leave no room: give the lowest first, and room on one side at least")
	}
	if err := f.err("work out the tolerance of the mix ratio from that of the index"); err != nil {
		return math.NaN(), math.NaN(), err
	}
	if s.IndexOf == 'A' {
		return 100 * (index - high) / high, 100 * (index - low) / low, nil
	}
	return 100 * (low - index) / index, 100 * (high - index) / index, nil
}
