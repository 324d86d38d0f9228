package plan

import (
	"fmt"
	"math"
	"slices"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// Level is how much a check speaks against starting.
type Level string

const (
	OK      Level = "ok"
	Caution Level = "caution"
	Stop    Level = "stop"
)

// Check is one thing looked at before anything is poured: the figure, the limit it was held against, and what to do.
type Check struct {
	ID     string `json:"id"`
	Level  Level  `json:"level"`
	Figure string `json:"figure"`
	Limit  string `json:"limit"`
	Do     string `json:"do"` // empty when ok
}

// check adds the checks that the layout did not need. A thing of which neither card nor request says anything has none.
func (p *Plan) check(card material.Card) {
	for _, look := range []func(material.Card) (Check, bool){
		p.cupVolume, p.scaleChoice, p.additions, p.potLife, p.exotherm, p.order,
	} {
		if c, stated := look(card); stated {
			p.Checks = append(p.Checks, c)
		}
	}
}

// resolution is whether the scale can prove the ratio of this batch: stop where B's window holds no step, caution below
// the smallest batch that can be proved and poured.
// densityU and airU are the parts of it that are from the densities and from the lift of the air, relative standard
// uncertainties; 0 where they are not in it.
func (p Plan) resolution(provable bool, uPct, densityU, airU float64) Check {
	c := Check{ID: "resolution", Level: OK,
		Figure: fmt.Sprintf("A + B %s, uncertainty of the ratio %s %%", p.ABG, short(rounded(uPct, 3))),
		Limit:  p.allowed() + ", smallest batch " + p.smallestText(),
	}
	for _, part := range []struct {
		from string
		u    float64
	}{{"densities", densityU}, {"air", airU}} {
		if pct := rounded(200*part.u, 3); pct > 0 {
			c.Figure += fmt.Sprintf(", from the %s alone %s %%", part.from, short(pct))
		} else if part.u > 0 {
			c.Figure += fmt.Sprintf(", from the %s alone less than 0.001 %%", part.from)
		}
	}
	switch {
	case !provable:
		c.Level, c.Do = Stop, "no step of the display proves this ratio: "+p.finer()
	case p.PourableG == nil || p.ABG < *p.PourableG:
		c.Level, c.Do = Caution, "little room for the hand: "+p.finer()
	}
	return c
}

// allowed is the tolerance, or the range that B may be in.
func (p Plan) allowed() string {
	t := p.TolerancePct
	if !t.Range {
		return fmt.Sprintf("tolerance %s to %s %%", short(t.LowPct), short(t.HighPct))
	}
	per100 := func(pct float64) string { return short(rounded(p.Exact.Ratio*(100+pct), 6)) }
	return fmt.Sprintf("range %s to %s parts of B per 100 of A", per100(t.LowPct), per100(t.HighPct))
}

// unweighed is the resolution of a B that no scale weighs.
func (p Plan) unweighed() Check {
	return Check{ID: "resolution", Level: Caution, Figure: "B is measured by " + p.MeasureB, Limit: "a scale proves only what it weighs",
		Do: "the record can't prove the ratio; weigh B instead, or its bottle before and after, where a scale is fine enough"}
}

// finer is what makes a ratio easier to prove.
func (p Plan) finer() string {
	if p.PourableG == nil {
		return "the densities are too coarse for this tolerance; enter them with more digits, or the ratio by weight"
	}
	advice := fmt.Sprintf("make at least %s, or use a scale with a finer division", p.PourableG)
	if p.scales()[p.placeOf("B")].Repeatability == 0 {
		advice += ", or measure this one's repeatability (the same cup on and off ten times)"
	}
	return advice
}

func (p Plan) smallestText() string {
	if p.PourableG == nil {
		return "none"
	}
	return p.PourableG.String()
}

// nearlyFull is the share of a capacity that leaves too little of it for a cup of unknown mass (ours).
const nearlyFull = 0.9

// capacity is whether each scale can carry what it is to weigh: the cup and all that goes into it, and what has a vessel
// of its own. It is stated where a capacity is.
func (p Plan) capacity() (c Check, stated bool) {
	c = Check{ID: "capacity", Level: OK}
	var figures, limits []string
	for place, s := range p.scales() {
		loads := p.loads(place)
		if s.Capacity == 0 || len(loads) == 0 {
			continue
		}
		name := ""
		if len(p.Others) > 0 {
			name = s.ID + ": "
		}
		limits = append(limits, name+"capacity "+s.Capacity.String())
		for _, l := range loads {
			figures = append(figures, name+l.what)
			switch {
			case l.mass > s.Capacity:
				c.Level, c.Do = Stop, "make less, split it over several cups, or use a larger scale"
			case l.vesselLeftOut && float64(l.mass) > nearlyFull*float64(s.Capacity) && c.Level == OK:
				c.Level = Caution
				c.Do = fmt.Sprintf("the cup's mass is not stated and %s are left for it: weigh it empty first; if it is heavier, make less", s.Capacity-l.mass)
			}
		}
	}
	c.Figure, c.Limit = join(figures), join(limits)
	return c, len(figures) > 0
}

// load is what a scale has to carry at once.
type load struct {
	mass          reading.Mass
	what          string
	vesselLeftOut bool // its mass is not known
}

// loads are the cup with what is in it when the last part is weighed into it, and each vessel of its own: that is
// weighed alone, and emptied into the cup afterwards.
func (p Plan) loads(place int) (loads []load) {
	var after reading.Mass // goes into the cup after the last that is weighed into it
	for _, part := range p.Parts {
		if part.Vessel == "cup" || part.MeasuredBy != "weight" {
			after = 0
			continue
		}
		after += part.Target
		if part.Scale != nil && p.placeOf(part.Part) == place {
			m := toMicrogram(part.Target)
			loads = append(loads, load{m, part.Part + " " + m.String() + ", without its vessel", true})
		}
	}
	if place > 0 {
		return loads
	}
	return append([]load{p.cupLoad(toMicrogram(p.TotalG - after))}, loads...)
}

// cupLoad is the cup with so much in it.
func (p Plan) cupLoad(inCup reading.Mass) load {
	what := "mix "
	if inCup != p.TotalG {
		what = "what is in the cup "
	}
	what += inCup.String()
	if p.Cup == nil || p.Cup.MassG == nil {
		return load{inCup, what + ", without the cup", true}
	}
	cup := *p.Cup.MassG
	return load{cup + inCup, "cup " + cup.String() + " + " + what + " = " + (cup + inCup).String(), false}
}

func join(texts []string) (all string) {
	for i, text := range texts {
		if i > 0 {
			all += "; "
		}
		all += text
	}
	return all
}

// cupVolume is whether the cup holds the mix with room for its foam to rise. It is stated where the cup is known, or
// where the card asks for headroom.
func (p Plan) cupVolume(card material.Card) (c Check, stated bool) {
	headroom, degassed := headroom(card)
	cup := p.Cup != nil && p.Cup.VolumeML != nil
	if !cup && headroom == 1 {
		return c, false
	}
	c = Check{ID: "cup_volume", Level: OK, Figure: "cup not stated", Limit: "the mix"}
	if cup {
		c.Figure = "cup " + short(*p.Cup.VolumeML) + " mL"
	}
	perGram, known := p.volumePerGram()
	if !known {
		c.Level, c.Limit, c.Do = Caution, "volume of the mix not known", "enter density.mixed, or both of A and B, and that of every addition; until then look for yourself that it fits"
		return c, true
	}
	mix := p.TotalG.Grams() * perGram
	c.Limit = "mix " + ml(mix)
	if headroom > 1 {
		c.Limit += ", " + short(headroom) + " times that to degas: " + ml(headroom*mix)
	}
	switch {
	case !cup:
		c.Level, c.Do = Caution, "use a cup of at least "+ml(math.Ceil(headroom*mix))
	case *p.Cup.VolumeML < headroom*mix:
		c.Level, c.Do = Stop, "it runs over: use a cup of at least "+ml(math.Ceil(headroom*mix))+", or split it over several"
	case degassed && headroom == 1:
		c.Level, c.Do = Caution, "the card degasses and states no headroom: 3 to 5 times the mix is common practice"
	}
	return c, true
}

// headroom is the most that a step of the card asks for, cup volume ÷ mix volume; 1 where none does.
func headroom(card material.Card) (most float64, degassed bool) {
	most = 1
	for _, s := range card.Steps {
		degassed = degassed || s.Kind == "degas"
		if s.Headroom != nil {
			most = max(most, *s.Headroom)
		}
	}
	return most, degassed
}

// ml prints a volume for a person: to the millilitre, small ones to a tenth.
func ml(v float64) string {
	if v < 10 {
		return short(rounded(v, 1)) + " mL"
	}
	return short(rounded(v, 0)) + " mL"
}

// scaleChoice is which part is weighed on which scale. It is stated where that is not all of them in one cup on one.
func (p Plan) scaleChoice(material.Card) (c Check, stated bool) {
	c = Check{ID: "scale", Level: OK, Limit: "one cup on one scale"}
	var figures []string
	for _, part := range p.Parts {
		where := part.Vessel
		if part.Scale != nil {
			where = "on " + *part.Scale
			if part.Vessel == "own" {
				where = "in a vessel of its own " + where
			}
		}
		if part.Vessel == "own" && part.Scale != nil {
			c.Level, c.Do = Caution, "what stays in a vessel of its own is missing from the mix: scrape it out"
		}
		if part.MeasuredBy == "weight" {
			figures = append(figures, part.Part+" "+where)
		}
	}
	c.Figure = join(figures)
	return c, p.Scale != nil && c.Level == Caution
}

// order is whether a metal accelerator and an organic peroxide stay apart, by the card's own rule. It is stated where a
// card has both.
func (p Plan) order(card material.Card) (c Check, stated bool) {
	c = Check{ID: "order", Level: OK, Limit: "accelerator and catalyst never meet undiluted"}
	var figures []string
	for _, pair := range card.Pairs() {
		id := card.Additions[pair.Accelerator].ID
		if pair.Apart {
			figures = append(figures, id+" is stirred into A before "+pair.Catalyst+" goes in")
			continue
		}
		figures = append(figures, id+" and "+pair.Catalyst+" could meet undiluted")
		c.Level = Stop
		c.Do = "change the card: the accelerator goes in after_a with stir_in, before the catalyst; the safety data sheets decide"
	}
	c.Figure = join(figures)
	return c, len(figures) > 0
}

// addition is the card's of that id; zero for A and B.
func addition(card material.Card, id string) material.Addition {
	for _, a := range card.Additions {
		if a.ID == id {
			return a
		}
	}
	return material.Addition{}
}

// outright are the checks whose stop nobody can override.
var outright = []string{"capacity", "order"}

// Refusal is why this plan can't be started at all; nil where it can, be it with an override.
func (p Plan) Refusal() error {
	for _, c := range p.Checks {
		if c.Level == Stop && slices.Contains(outright, c.ID) {
			return fmt.Errorf("start a batch of %s: %s, %s; %s", p.Material, c.Figure, c.Limit, c.Do)
		}
	}
	return nil
}

// OpenChecks are the ids of the checks that say stop and can be overridden.
func (p Plan) OpenChecks() []string {
	var ids []string
	for _, c := range p.Checks {
		if c.Level == Stop && !slices.Contains(outright, c.ID) {
			ids = append(ids, c.ID)
		}
	}
	return ids
}
