package chem

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// bound is the range in which a figure is believed, both ends included. The ranges are ours: each ends where chemistry
// does, or far outside the trade, so that beyond it is a slip of the pen or another unit.
type bound struct {
	low, high float64
	unit      string
	advice    string
}

var (
	// Ammonia, the lightest carrier of active hydrogen, has 5.68 g/eq; long polyols some 10 000, fillers raise it.
	equivalentBound = bound{5, 1e5, "g/eq", "take it from the data sheet, in g per equivalent"}
	// The same of a result: a quotient of believable figures need not be believable.
	foundBound = bound{equivalentBound.low, equivalentBound.high, "g/eq", "one of the figures is wrong, or hardly anything reacts"}
	// From ammonia, 17.03, to far above any liquid's.
	molarMassBound = bound{17, 1e6, "g/mol", "give the mass of one mole of the compound"}
	groupsBound    = bound{1, 1000, "groups", "count the reactive groups of one molecule"}
	// Sealants' prepolymers have 1 to 3 % (from memory); methyl isocyanate, the richest, 73.6 %.
	ncoBound = bound{0.5, 75, "%", "give percent by mass: 31, not 0.31"}
	// The longest polyols have about 10 (from memory); a hydroxyl on each carbon, CH2O, would be 1868.
	ohBound = bound{5, 2000, "mg KOH/g", "give the OH number, which is 33 times the percentage of OH"}
	// Foams have some parts of water in 100 (common practice, no source).
	waterBound = bound{0, 30, "%", "give percent by mass of the polyol side, 0 for none counted"}
	// Solid resins have 1 % (from memory); ethylene oxide, all epoxide but one hydrogen, 97.6 %.
	oxiraneBound = bound{0.5, 98, "%", "give percent by mass of the oxirane group"}
	// About the same ends as oxiraneBound.
	epoxyValueBound = bound{0.01, 2.3, "eq per 100 g", "give equivalents per 100 g, not per kg and not a percentage"}
	// Isocyanurate foams run at 200 to 500 (common practice, no source).
	indexBound = bound{10, 1000, "%", "100 is full stoichiometry: 105, not 1.05"}
	// Far outside any recipe.
	weightBound = bound{1e-6, 1e6, "parts", "give parts by weight, and leave out what is not in the blend"}
)

func (b bound) holds(v float64) bool { return v >= b.low && v <= b.high } // false for NaN

// faults are all that was found wrong with the figures of one calculation.
type faults []string

func (f *faults) check(name string, v float64, b bound) {
	if !b.holds(v) {
		*f = append(*f, fmt.Sprintf("%s is %v, must be from %v to %v %s: %s", name, v, b.low, b.high, b.unit, b.advice))
	}
}

func (f *faults) checkPart(what string, part byte) {
	if part != 'A' && part != 'B' {
		*f = append(*f, fmt.Sprintf("which part is %s is not said: must be A or B", what))
	}
}

// err is the faults as one error, nil when there are none. Doing says what was to be worked out.
func (f faults) err(doing string) error {
	if len(f) == 0 {
		return nil
	}
	return errors.New(doing + ": " + strings.Join(f, "; "))
}

// equivalent is eq where the figures it is made of and eq itself are believable, else NaN and the faults.
func equivalent(doing string, eq float64, f faults) (float64, error) {
	if len(f) == 0 {
		f.check("the equivalent weight found", eq, foundBound)
	}
	if err := f.err(doing); err != nil {
		return math.NaN(), err
	}
	return eq, nil
}
