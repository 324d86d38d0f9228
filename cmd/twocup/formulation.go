package main

import (
	"fmt"
	"strconv"
	"strings"

	"twocup/station/chem"
	"twocup/station/material"
)

// Formulation is the mix ratio from equivalent weights, for those who formulate. A side that is a blend is a list such as
// 189:80,183:10,inert:10: equivalent weights, each with its parts by weight.
type Formulation struct {
	EEW        string   `name:"eew" placeholder:"G_PER_EQ" help:"Epoxide equivalent weight of the resin, or of a blend: 189:80,183:10,inert:10."`
	AHEW       string   `name:"ahew" placeholder:"G_PER_EQ" help:"Amine hydrogen equivalent weight of the hardener, or of a blend."`
	NCO        float64  `name:"nco" placeholder:"PERCENT" help:"NCO content of the isocyanate."`
	OH         float64  `name:"oh" placeholder:"MG_KOH_PER_G" help:"OH number of the polyol."`
	Water      float64  `placeholder:"PERCENT" help:"Water in the polyol side."`
	Index      *float64 `placeholder:"PERCENT" help:"Amine hydrogens per 100 epoxides, or NCO per 100 OH; 100 where it is not given."`
	IndexLow   *float64 `placeholder:"PERCENT" help:"Least index that is good enough: with --index-high it gives the tolerance of B."`
	IndexHigh  *float64 `placeholder:"PERCENT" help:"Largest index that is good enough."`
	Resin      string   `enum:"a,b,," default:"" placeholder:"a|b" help:"Which part the resin is; A where it is not said."`
	Isocyanate string   `enum:"a,b,," default:"" placeholder:"a|b" help:"Which part the isocyanate is; A where it is not said."`
}

func (f Formulation) given() bool { return f != Formulation{} }

// flag is the one to name where something is wrong.
func (f Formulation) flag() string {
	if f.NCO != 0 || f.OH != 0 || f.Isocyanate != "" {
		return "nco"
	}
	return "eew"
}

// ratio is the mix ratio by weight, the tolerance of B that a range of the index leaves, nil where none was given, and a
// sentence that says how they were found, and what was assumed.
func (f Formulation) ratio() (r material.Ratio, t *material.TolerancePct, how string, err error) {
	var assumed []string
	if f.Index == nil {
		f.Index, assumed = new(100.0), append(assumed, "index 100")
	}
	mix, side, err := f.mix()
	if err != nil {
		return r, nil, "", err
	}
	if side != "" {
		assumed = append(assumed, side)
	}
	how = mix.How
	if len(assumed) > 0 {
		how += " (assumed: " + strings.Join(assumed, ", ") + ")"
	}
	switch {
	case f.IndexLow != nil && f.IndexHigh != nil:
		low, high, err := mix.System.Tolerance(*f.Index, *f.IndexLow, *f.IndexHigh)
		if err != nil {
			return r, nil, "", err
		}
		t = &material.TolerancePct{Low: low, High: high}
		how += fmt.Sprintf("; index %g to %g leaves B %.2f to %+.2f %%", *f.IndexLow, *f.IndexHigh, low, high)
	case f.IndexLow != nil || f.IndexHigh != nil:
		return r, nil, "", fmt.Errorf("a range of the index has two ends: give --index-low and --index-high")
	}
	exact := func(v float64) material.Number { return material.Number(strconv.FormatFloat(v, 'f', -1, 64)) }
	return material.Ratio{Weight: &material.Parts{A: exact(mix.A), B: exact(mix.B)}}, t, how, nil
}

func (f Formulation) mix() (mix chem.Mix, assumed string, err error) {
	if f.flag() == "nco" {
		if f.EEW != "" || f.AHEW != "" || f.Resin != "" {
			return mix, "", fmt.Errorf("an epoxy (--eew, --ahew, --resin) and a urethane (--nco, --oh, --isocyanate) are two systems: give one")
		}
		side, assumed := part(f.Isocyanate, "A is the isocyanate")
		mix, err = chem.Urethane{NCOPct: f.NCO, OHNumber: f.OH, WaterPct: f.Water, Index: *f.Index, Isocyanate: side}.Mix()
		return mix, assumed, err
	}
	if f.Water != 0 {
		return mix, "", fmt.Errorf("water goes with --nco and --oh: it takes part in no epoxy's index")
	}
	eew, err := equivalent("--eew", f.EEW)
	if err != nil {
		return mix, "", err
	}
	ahew, err := equivalent("--ahew", f.AHEW)
	if err != nil {
		return mix, "", err
	}
	side, assumed := part(f.Resin, "A is the resin")
	mix, err = chem.Epoxy{EEW: eew, AHEW: ahew, Index: *f.Index, Resin: side}.Mix()
	return mix, assumed, err
}

// equivalent is an equivalent weight in g/eq, or that of a blend.
func equivalent(flag, text string) (eq float64, err error) {
	if !strings.Contains(text, ":") {
		eq, err = strconv.ParseFloat(text, 64)
		if err != nil {
			return 0, fmt.Errorf("%s %q: is no equivalent weight such as 190, nor a blend such as 189:80,183:10,inert:10", flag, text)
		}
		return eq, nil
	}
	var members []chem.Component
	for member := range strings.SplitSeq(text, ",") {
		name, weight, _ := strings.Cut(member, ":")
		c := chem.Component{Inert: name == "inert"}
		var notEq, notWeight error
		if !c.Inert {
			c.Eq, notEq = strconv.ParseFloat(name, 64)
		}
		c.Weight, notWeight = strconv.ParseFloat(weight, 64)
		if notEq != nil || notWeight != nil {
			return 0, fmt.Errorf("%s: member %q of the blend is not of the form 189:80, equivalent weight and parts by weight, or inert:10", flag, member)
		}
		members = append(members, c)
	}
	return chem.Blend(members...)
}

// part is A where nothing was said, and then the sentence that says so.
func part(said, assumed string) (side byte, sentence string) {
	if said == "" {
		return 'A', assumed
	}
	return strings.ToUpper(said)[0], ""
}
