package chem

import (
	"fmt"
	"math"
	"strconv"
)

// Mix is a mix ratio by weight, A first, and how it was found.
type Mix struct {
	A, B   float64 // parts by weight, unrounded; 100 for the part that is not on top in the index
	System System
	How    string // one sentence; a number that was rounded for it is said to be about right
}

// Epoxy is an epoxide resin and its amine hardener.
type Epoxy struct {
	EEW   float64 // of the resin in g/eq, 5 to 1e5
	AHEW  float64 // of the hardener in g/eq, 5 to 1e5
	Index float64 // amine hydrogens per 100 epoxides, 10 to 1000
	Resin byte    // 'A' or 'B': A as a rule (common practice, no source), and always said
}

// Mix is the ratio of resin and hardener: Index × AHEW/EEW parts of hardener per 100 of resin.
func (e Epoxy) Mix() (Mix, error) {
	var f faults
	f.check("EEW", e.EEW, equivalentBound)
	f.check("AHEW", e.AHEW, equivalentBound)
	f.check("the index", e.Index, indexBound)
	f.checkPart("the resin", e.Resin)
	if err := f.err("work out the mix ratio of an epoxy"); err != nil {
		return Mix{}, err
	}
	return mix("hardener", "resin", e.AHEW, e.EEW, e.Index, other(e.Resin), ""), nil
}

// Urethane is an isocyanate and the polyol side, with the water in it.
type Urethane struct {
	NCOPct     float64 // of the isocyanate in percent by mass, 0.5 to 75
	OHNumber   float64 // of the polyol without its water in mg KOH/g, 5 to 2000
	WaterPct   float64 // of the whole polyol side in percent by mass, 0 (none counted) to 30
	Index      float64 // NCO per 100 OH, 10 to 1000
	Isocyanate byte    // 'A' or 'B': makers differ
}

// Mix is the ratio of isocyanate and polyol side: Index × eq(NCO) × Σ(w/eq) over 100 g of the polyol side (printed in
// trade libraries).
func (u Urethane) Mix() (Mix, error) {
	var f faults
	f.check("NCO", u.NCOPct, ncoBound)
	f.check("the OH number", u.OHNumber, ohBound)
	f.check("water", u.WaterPct, waterBound)
	f.check("the index", u.Index, indexBound)
	f.checkPart("the isocyanate", u.Isocyanate)
	if err := f.err("work out the mix ratio of a urethane"); err != nil {
		return Mix{}, err
	}
	nco := ncoTimesPct / u.NCOPct
	polyol, how := u.polyol()
	found := fmt.Sprintf("isocyanate %d ÷ %s %% NCO = %s g/eq; %s; ", ncoTimesPct, short(u.NCOPct), fourDigits(nco), how)
	return mix("isocyanate", "polyol", nco, polyol, u.Index, u.Isocyanate, found), nil
}

// polyol is the equivalent weight of the polyol side with its water, and how it was found.
func (u Urethane) polyol() (eq float64, how string) {
	dry := kohPerMole / u.OHNumber
	how = fmt.Sprintf("polyol %d ÷ OH number %s = %s g/eq", kohPerMole, short(u.OHNumber), fourDigits(dry))
	if u.WaterPct == 0 {
		return dry, how + ", no water counted"
	}
	wet := 100 / ((100-u.WaterPct)/dry + u.WaterPct/Water)
	return wet, how + fmt.Sprintf(", with %s %% of water in it %s g/eq", short(u.WaterPct), fourDigits(wet))
}

// mix is the ratio at the index, with the part that the index has on top in topPart. Found says where the equivalent
// weights come from. All figures are within their bounds.
func mix(topName, bottomName string, top, bottom, index float64, topPart byte, found string) Mix {
	s := System{EqA: bottom, EqB: top, IndexOf: topPart}
	if topPart == 'A' {
		s.EqA, s.EqB = top, bottom
	}
	phr := s.phr(index)
	m := Mix{A: 100, B: phr, System: s}
	if topPart == 'A' {
		m.A, m.B = phr, 100
	}
	m.How = fmt.Sprintf("%sindex %s × %s %s g/eq ÷ %s %s g/eq: %s g of %s (%c) for every 100 g of %s (%c)", found,
		short(index), topName, fourDigits(top), bottomName, fourDigits(bottom), fourDigits(phr), topName, topPart, bottomName, other(topPart))
	return m
}

func other(part byte) byte { return 'A' + 'B' - part }

// short prints a number in the fewest digits that give it.
func short(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// fourDigits is a number of at most four digits, said to be about right where it was rounded.
func fourDigits(f float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(f, 'e', 3, 64), 64)
	if math.Abs(rounded-f) > 1e-9*f {
		return "about " + short(rounded)
	}
	return short(rounded)
}
