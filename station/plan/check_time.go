package plan

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// hasStep says whether the card has a step of that kind.
func hasStep(card material.Card, kind string) bool {
	return slices.ContainsFunc(card.Steps, func(s material.Step) bool { return s.Kind == kind })
}

// withoutTime are the verbs of the card's steps after the first contact that have no time, each once.
func withoutTime(card material.Card) (verbs []string) {
	for _, s := range afterContact {
		if slices.ContainsFunc(card.Steps, func(step material.Step) bool {
			return step.Kind == s.kind && step.Time == 0 && (step.Within == 0 || s.kind != "cast")
		}) {
			verbs = append(verbs, s.verb)
		}
	}
	return verbs
}

// stepTime is how long the card's steps of a kind take; for casting, how soon it is to be done where no time is stated.
func stepTime(card material.Card, kind string) (sum time.Duration) {
	for _, s := range card.Steps {
		switch {
		case s.Kind != kind:
		case s.Time == 0 && kind == "cast":
			sum += time.Duration(s.Within)
		default:
			sum += time.Duration(s.Time)
		}
	}
	return sum
}

// afterContact are the steps that use up the pot life.
var afterContact = []struct{ kind, verb string }{{"mix", "mixing"}, {"second_cup", "second cup"}, {"degas", "degassing"}, {"cast", "casting"}}

// potLife is whether mixing, degassing and casting fit into the pot life. Pouring B is not counted: nobody knows how long
// it takes. It is stated where the card has a pot life.
func (p Plan) potLife(card material.Card) (c Check, stated bool) {
	if card.PotLife == nil {
		return c, false
	}
	life := PotLifeAt(card.PotLife, p.TotalG, p.TemperatureC)
	var needed time.Duration
	var what []string
	for _, s := range afterContact {
		if t := stepTime(card, s.kind); t > 0 {
			needed += t
			what = append(what, s.verb)
		}
	}
	missing := withoutTime(card)
	if needed == 0 && len(missing) == 0 { // nor the steps
		missing = []string{"mixing", "casting"}
	}
	var figures []string
	if needed > 0 {
		figures = append(figures, strings.Join(what, " + ")+" "+minutes(needed))
	}
	if len(missing) > 0 {
		figures = append(figures, "the card states no time for "+strings.Join(missing, ", "))
	}
	c = Check{ID: "pot_life", Level: OK, Limit: life.text(card.PotLife, p.TemperatureC), Figure: join(figures)}
	switch {
	case life.Basis == Unknown:
		c.Level, c.Do = Caution, "ask the maker for a pot life at this temperature, or cool A and B down"
	case needed > life.Time:
		c.Level, c.Do = Stop, "it hardens before it is cast: make less at a time, work cooler, or take a slower system"
	case needed > life.LastCast:
		c.Level, c.Do = Caution, "cast within "+minutes(life.LastCast)+": make less at a time, or split it over several cups"
	case life.Basis == UpperBound: // never green
		c.Level, c.Do = Caution, "cast within "+minutes(life.LastCast)
	case life.Colder:
		c.Level, c.Do = Caution, "colder than the card's figure: it may cure slowly or not fully; warm the room and the parts"
	case len(missing) > 0:
		c.Level, c.Do = Caution, "the card states no time for "+strings.Join(missing, ", ")+": judge by yourself, and cast within "+minutes(life.LastCast)
	}
	return c, true
}

// text is a pot life with what it rests on.
func (l PotLife) text(card *material.PotLife, celsius *float64) string {
	at := ""
	if t := celsius; t != nil {
		at = " at " + short(*t) + " °C"
	} else if t := card.TemperatureC; t != nil {
		at = " at " + short(*t) + " °C"
	}
	switch l.Basis {
	case Unknown:
		return fmt.Sprintf("pot life%s not known: more than %s °C warmer than the card's", at, short(tooWarmK))
	case UpperBound:
		return "pot life" + at + " at most " + minutes(l.Time) + ": " + why(card)
	case ByEstimate:
		rule := "half for each " + short(halvesPerK) + " °C"
		if card.ActivationKJPerMol != nil {
			rule = "by the card's activation energy"
		}
		return "pot life" + at + " about " + minutes(l.Time) + ", an estimate, " + rule
	case ByTable:
		return "pot life" + at + " " + minutes(l.Time) + ", by the card's table"
	}
	if l.Colder {
		return "pot life " + minutes(l.Time) + ", the card's at " + short(*card.TemperatureC) + " °C"
	}
	return "pot life" + at + " " + minutes(l.Time) + ", as the card states"
}

// why a pot life is an upper bound.
func why(card *material.PotLife) string {
	switch {
	case card.MassG == nil && !slices.ContainsFunc(card.Table, func(r material.PotLifeRow) bool { return r.MassG != nil }):
		return "the card does not say at which mass"
	case card.TemperatureC == nil:
		return "the card does not say at which temperature"
	}
	return "the card's figures are for a smaller mass"
}

// minutes prints a time as a person says it: 90 s, 12 min, 12 min 30 s, 1 h 5 min.
func minutes(d time.Duration) string {
	seconds := int64(d / time.Second)
	h, m, s := seconds/3600, seconds/60%60, seconds%60
	if seconds < 120 {
		return fmt.Sprintf("%d s", seconds)
	}
	var parts []string
	for _, x := range []struct {
		n    int64
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if x.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", x.n, x.unit))
		}
	}
	return strings.Join(parts, " ")
}

// exotherm is a caution above the largest mass that the card gives a pot life for: it runs hotter. It is stated where
// there is such a mass.
func (p Plan) exotherm(card material.Card) (c Check, stated bool) {
	if card.PotLife == nil {
		return c, false
	}
	largest := 0.0
	if m := card.PotLife.MassG; m != nil {
		largest = *m
	}
	for _, row := range card.PotLife.Table {
		if row.MassG != nil {
			largest = max(largest, *row.MassG)
		}
	}
	limit, fits := reading.FromGrams(largest)
	if largest == 0 || !fits {
		return c, false
	}
	c = Check{ID: "exotherm", Level: OK, Figure: "mix " + p.TotalG.String(), Limit: "the card's figures are for up to " + limit.String()}
	if p.TotalG > limit {
		cups := int(math.Ceil(float64(p.TotalG)/float64(limit))) * p.Cups
		c.Level = Caution
		c.Do = "a larger mass runs hotter and sooner: cast it at once, never leave it standing in the cup"
		if cups <= maxCups {
			c.Do += fmt.Sprintf("; %d cups would each stay within the card's mass", cups)
		}
	}
	return c, true
}
