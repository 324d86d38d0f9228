package main

import (
	"fmt"
	"strconv"
	"strings"

	"twocup/station/chem"
	"twocup/station/material"
)

// Formulation is the mix ratio from equivalent weights, for those who formulate.
type Formulation struct {
	EEW        float64  `name:"eew" placeholder:"G_PER_EQ" help:"Epoxide equivalent weight of the resin."`
	AHEW       float64  `name:"ahew" placeholder:"G_PER_EQ" help:"Amine hydrogen equivalent weight of the hardener."`
	NCO        float64  `name:"nco" placeholder:"PERCENT" help:"NCO content of the isocyanate."`
	OH         float64  `name:"oh" placeholder:"MG_KOH_PER_G" help:"OH number of the polyol."`
	Water      float64  `placeholder:"PERCENT" help:"Water in the polyol side."`
	Index      *float64 `placeholder:"PERCENT" help:"Amine hydrogens per 100 epoxides, or NCO per 100 OH; 100 where it is not given."`
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

// ratio is the mix ratio by weight and a sentence that says how it was found, and what was assumed.
func (f Formulation) ratio() (r material.Ratio, how string, err error) {
	var assumed []string
	if f.Index == nil {
		f.Index, assumed = new(100.0), append(assumed, "index 100")
	}
	mix, side, err := f.mix()
	if err != nil {
		return r, "", err
	}
	if side != "" {
		assumed = append(assumed, side)
	}
	how = mix.How
	if len(assumed) > 0 {
		how += " (assumed: " + strings.Join(assumed, ", ") + ")"
	}
	exact := func(v float64) material.Number { return material.Number(strconv.FormatFloat(v, 'f', -1, 64)) }
	return material.Ratio{Weight: &material.Parts{A: exact(mix.A), B: exact(mix.B)}}, how, nil
}

func (f Formulation) mix() (mix chem.Mix, assumed string, err error) {
	if f.flag() == "nco" {
		if f.EEW != 0 || f.AHEW != 0 || f.Resin != "" {
			return mix, "", fmt.Errorf("an epoxy (--eew, --ahew, --resin) and a urethane (--nco, --oh, --isocyanate) are two systems: give one")
		}
		side, assumed := part(f.Isocyanate, "A is the isocyanate")
		mix, err = chem.Urethane{NCOPct: f.NCO, OHNumber: f.OH, WaterPct: f.Water, Index: *f.Index, Isocyanate: side}.Mix()
		return mix, assumed, err
	}
	if f.Water != 0 {
		return mix, "", fmt.Errorf("water goes with --nco and --oh: it takes part in no epoxy's index")
	}
	side, assumed := part(f.Resin, "A is the resin")
	mix, err = chem.Epoxy{EEW: f.EEW, AHEW: f.AHEW, Index: *f.Index, Resin: side}.Mix()
	return mix, assumed, err
}

// part is A where nothing was said, and then the sentence that says so.
func part(said, assumed string) (side byte, sentence string) {
	if said == "" {
		return 'A', assumed
	}
	return strings.ToUpper(said)[0], ""
}
