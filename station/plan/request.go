package plan

import (
	"fmt"
	"math"
	"strconv"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// Bounds of ours, far outside what a bench can mean.
const (
	maxCups                = 1000
	minCelsius, maxCelsius = -20, 60
	maxCupML               = 1e6
)

// Request is what a plan is made from. Only Card and Amount are required; the card must be valid.
type Request struct {
	Card         material.Card
	Revision     int // of the card
	Amount       Amount
	Scales       []Scale  // the first carries the cup unless another proves more; none: nothing can be proved
	Cup          *Cup     // nil: not known
	Split        int      // over so many equal cups, each a plan of its own; 0: one
	TemperatureC *float64 // of parts and room; nil: not known
	BPer100A     *float64 // parts of B per 100 of A by weight, within the card's b_range; nil: the card's ratio
}

// Cup is what is known of the vessel that the mix is made in.
type Cup struct {
	VolumeML *float64      `json:"volume_ml,omitempty"` // to the brim
	MassG    *reading.Mass `json:"mass_g,omitempty"`    // empty
}

// Make plans in one cup on one scale; scale is nil where none is chosen. The error is as of Request.Plan.
func Make(card material.Card, revision int, amount Amount, scale *Scale) (Plan, error) {
	r := Request{Card: card, Revision: revision, Amount: amount}
	if scale != nil {
		r.Scales = []Scale{*scale}
	}
	return r.Plan()
}

// Plan works the request out. The error is material.Faults: what is wrong with the request, or which density is missing.
func (r Request) Plan() (Plan, error) {
	if f := append(r.Amount.validate(), r.validate()...); len(f) > 0 {
		return Plan{}, f
	}
	mix, err := r.mixture()
	if err != nil {
		return Plan{}, err
	}
	grams, err := r.Amount.gramsOfA(r.Card, mix)
	if err != nil {
		return Plan{}, err
	}
	p := r.outline(mix)
	if err := p.setMasses(grams, mix); err != nil {
		return Plan{}, err
	}
	if density, faults := mouldDensity(r.Card, mix); faults == nil {
		if perA, faults := mix.volumePerA(density); faults == nil {
			p.VolumeML = new(rounded(p.a().Grams()*perA, 6))
		}
	}
	p.chooseScales(r.Card, r.Scales)
	p.check(r.Card)
	return p, nil
}

// outline is the plan before its masses and its scales.
func (r Request) outline(mix mixture) Plan {
	p := Plan{
		Material: r.Card.ID, Revision: r.Revision, RatioBPerA: rounded(mix.ratio, 9), Cups: max(r.Split, 1),
		Parts: []Part{}, Checks: []Check{}, Assumed: r.assumed(),
		TolerancePct: tolerance(r.Card, mix.ratio), AmountTolerancePct: r.Card.AmountTolerancePct(), DensityU: r.Card.DensityU(),
		Exact: Exact{Ratio: mix.ratio}, Doses: mix.doses,
		Cup: r.Cup, TemperatureC: r.TemperatureC, Hurry: r.Card.Hurry(),
		Apart: r.Card.Combine() == "apart", LiquidDensity: liquidDensity(r.Card, mix),
	}
	if m := r.Card.MeasureB(); m != "weight" {
		p.MeasureB = m
	}
	if r.BPer100A != nil {
		p.DensityU = 0 // what was chosen is by weight, whatever the card's ratio is in
	}
	return p
}

// validate returns what is wrong with the request besides its amount, all of it at once.
func (r Request) validate() material.Faults {
	var f material.Faults
	fault := func(field, format string, args ...any) {
		f = append(f, material.Fault{Field: field, Detail: fmt.Sprintf(format, args...)})
	}
	if r.Split < 0 || r.Split > maxCups {
		fault("split", "is %d, must be from 1 to %d cups", r.Split, maxCups)
	}
	if t := r.TemperatureC; t != nil && !(*t >= minCelsius && *t <= maxCelsius) {
		fault("temperature_c", "is %s °C, must be from %d to %d", short(*t), minCelsius, maxCelsius)
	}
	if r.Cup != nil && r.Cup.VolumeML != nil && !(*r.Cup.VolumeML > 0 && *r.Cup.VolumeML <= maxCupML) {
		fault("cup.volume_ml", "is %s mL, must be more than 0 and at most %s", short(*r.Cup.VolumeML), short(maxCupML))
	}
	if r.Cup != nil && r.Cup.MassG != nil && *r.Cup.MassG < 0 {
		fault("cup.mass_g", "is %s, must not be less than 0", *r.Cup.MassG)
	}
	if b := r.Card.Ratio.BRange; b != nil && !(len(b) == 2 && b[0] > 0 && b[0] < b[1] && b[1] <= math.MaxFloat64) {
		fault("ratio.b_range", "must be two positive numbers, the lower first")
	}
	return f
}

// mixture is what the request's ratio and the card's additions come to.
func (r Request) mixture() (mixture, error) {
	ratio, per100 := 0.0, "the card's ratio"
	if r.BPer100A != nil {
		ratio, per100 = *r.BPer100A/100, "b_per_100_a"
	} else {
		card, err := r.Card.BPerA()
		if err != nil {
			return mixture{}, err
		}
		ratio = card
	}
	field := map[bool]string{true: "b_per_100_a", false: "ratio"}[r.BPer100A != nil]
	switch b := r.Card.Ratio.BRange; {
	case b == nil && r.BPer100A != nil:
		return mixture{}, material.Faults{{Field: field, Detail: "the card has no b_range to choose from: its ratio holds; leave it out"}}
	case b != nil && !(100*ratio >= b[0]*(1-1e-12) && 100*ratio <= b[1]*(1+1e-12)): // the card's figures as they are printed
		return mixture{}, material.Faults{{Field: field, Detail: fmt.Sprintf("%s is %s parts of B per 100 of A, must be from %s to %s (the card's b_range): choose one within",
			per100, short(rounded(100*ratio, 6)), short(b[0]), short(b[1]))}}
	}
	return newMixture(ratio, r.Card.Additions)
}

// assumed are the defaults that stand in for what neither the card nor the request states, a sentence each.
func (r Request) assumed() []string {
	list := append([]string{}, r.Card.Assumed()...)
	for _, kind := range []string{"mix", "degas", "cure"} {
		if hasStep(r.Card, kind) && stepTime(r.Card, kind) == 0 {
			list = append(list, "no clock for the step "+kind+": the card states no time")
		}
	}
	switch p := r.Card.PotLife; {
	case p == nil:
		list = append(list, "no clock for the pot life: the card states none")
	case r.TemperatureC == nil && p.TemperatureC != nil:
		list = append(list, "temperature "+short(*p.TemperatureC)+" °C, that of the card's pot life: none given")
	}
	if r.Card.Ratio.BRange != nil && r.BPer100A == nil {
		b := r.Card.Ratio.BRange
		list = append(list, "B at the card's ratio: none chosen between "+short(b[0])+" and "+short(b[1])+" parts per 100 of A (less where it is warm, more where it is cold: common practice)")
	}
	return list
}

// LeftOver is what stays in a container when the other one is empty.
type LeftOver struct {
	Part string       // A or B; the other one limits the batch
	Mass reading.Mass // 0: both are used up
}

// Largest is the request for the largest batch of what is in two containers: the part that runs out first is the
// amount. What the request says of amount and split does not matter. The error is material.Faults.
func (r Request) Largest(a, b reading.Mass) (Request, LeftOver, error) {
	both := append(Amount{PartAG: &a}.validate(), Amount{PartBG: &b}.validate()...)
	if both = append(both, r.validate()...); len(both) > 0 {
		return Request{}, LeftOver{}, both
	}
	mix, err := r.mixture()
	if err != nil {
		return Request{}, LeftOver{}, err
	}
	if needed, fits := reading.FromGrams(a.Grams() * mix.b); fits && needed <= b {
		r.Amount = Amount{PartAG: &a}
		return r, LeftOver{"B", b - needed}, nil
	}
	r.Amount = Amount{PartBG: &b}
	needed, _ := reading.FromGrams(b.Grams() / mix.b)
	return r, LeftOver{"A", a - needed}, nil
}

// short prints a number in the fewest digits that give it.
func short(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// rounded is f with so many decimals, for show.
func rounded(f float64, decimals int) float64 {
	text, _ := strconv.ParseFloat(strconv.FormatFloat(f, 'f', decimals, 64), 64)
	return text
}
