package plan

import (
	"math"
	"strconv"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// maxAllowancePct is a bound of ours: more than that is another amount.
const maxAllowancePct = 1000

// Amount is what was asked for: exactly one of its four masses or volumes.
type Amount struct {
	TotalG       *reading.Mass `json:"total_g,omitempty"`   // everything in the cup
	VolumeML     *float64      `json:"volume_ml,omitempty"` // the mould's
	PartAG       *reading.Mass `json:"part_a_g,omitempty"`  // A in hand
	PartBG       *reading.Mass `json:"part_b_g,omitempty"`  // B in hand
	AllowancePct float64       `json:"allowance_pct,omitempty"`
}

// validate returns what is wrong with the amount, all of it at once.
func (a Amount) validate() material.Faults {
	var f material.Faults
	fault := func(field, detail string) { f = append(f, material.Fault{Field: field, Detail: detail}) }
	given := 0
	for _, m := range []struct {
		field string
		mass  *reading.Mass
	}{{"amount.total_g", a.TotalG}, {"amount.part_a_g", a.PartAG}, {"amount.part_b_g", a.PartBG}} {
		if m.mass == nil {
			continue
		}
		given++
		if *m.mass <= 0 {
			fault(m.field, "is "+m.mass.String()+", must be more than 0")
		}
	}
	if v := a.VolumeML; v != nil {
		given++
		if !(*v > 0 && *v <= math.MaxFloat64) {
			fault("amount.volume_ml", "is "+short(*v)+" mL, must be more than 0 and finite")
		}
	}
	if given != 1 {
		fault("amount", "must be exactly one of total_g, volume_ml, part_a_g and part_b_g, has "+strconv.Itoa(given))
	}
	switch {
	case !(a.AllowancePct >= 0 && a.AllowancePct <= maxAllowancePct):
		fault("amount.allowance_pct", "is "+short(a.AllowancePct)+", must be from 0 to "+strconv.Itoa(maxAllowancePct))
	case a.AllowancePct > 0 && (a.PartAG != nil || a.PartBG != nil):
		fault("amount.allowance_pct", "does not go with part_a_g or part_b_g: that mass is already in hand; leave it out")
	}
	return f
}

// gramsOfA is the mass of A in g that makes the amount, from a valid amount. The error is Faults.
func (a Amount) gramsOfA(card material.Card, mix mixture) (float64, error) {
	allowance := 1 + a.AllowancePct/100
	switch {
	case a.PartAG != nil:
		return a.PartAG.Grams(), nil
	case a.PartBG != nil:
		return a.PartBG.Grams() / mix.b, nil
	case a.TotalG != nil:
		return a.TotalG.Grams() * allowance / mix.totalPerA(), nil
	}
	density, faults := mouldDensity(card, mix)
	if faults != nil {
		return 0, faults
	}
	volume, faults := mix.volumePerA(density)
	if faults != nil {
		return 0, faults
	}
	return *a.VolumeML * allowance / volume, nil
}
