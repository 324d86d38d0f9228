package material

import (
	"fmt"
	"slices"
	"strings"
)

// oneAtmosphere is the standard atmosphere in mbar (exact by definition).
const oneAtmosphere = 1013.25

// maxPressure bounds a pressure pot, in mbar absolute: above it, it is another unit.
const maxPressure = 20_000

// kinds are the steps in their order: how early and how late in a batch each may come. Steps of one place may follow
// each other either way, and repeat: stir and degas_a come between A and B; the mix is degassed in the cup or in the
// mould; it is demoulded before or after its cure.
var kinds = []struct {
	name         string
	early, late  int
	ownFields    string // besides time and temperature_c
	acrossVacuum bool   // its pressure is a vacuum
}{
	{"stir", 0, 0, "", false},
	{"degas_a", 0, 0, "pressure_mbar_abs headroom", true},
	{"mix", 1, 1, "scrape_every", false},
	{"second_cup", 2, 2, "scrape_every", false},
	{"degas", 2, 3, "pressure_mbar_abs headroom within", true},
	{"cast", 3, 3, "within verb", false},
	{"press", 4, 4, "pressure_mbar_abs within", false},
	{"cure", 5, 5, "", false},
	{"demould", 5, 6, "", false},
	{"post_cure", 6, 6, "", false},
}

func (c Card) validateSteps(f *Faults) {
	var names []string
	for _, k := range kinds {
		names = append(names, k.name)
	}
	reached, latest := 0, ""
	for i, s := range c.Steps {
		field := fmt.Sprintf("steps[%d]", i)
		f.required(field+".step", s.Kind)
		f.oneOf(field+".step", s.Kind, names...)
		s.validate(f, field)
		at := slices.Index(names, s.Kind)
		if at < 0 {
			continue
		}
		if kinds[at].late < reached {
			f.add(field+".step", "is %s, which can't come after %s: steps stand in the order they are done", s.Kind, latest)
		} else if kinds[at].early > reached {
			reached, latest = kinds[at].early, s.Kind
		}
		s.validateOwn(f, field, kinds[at].ownFields, kinds[at].acrossVacuum)
	}
}

func (s Step) validate(f *Faults, field string) {
	f.oneOf(field+".verb", s.Verb, "cast", "pot", "laminate", "brush", "spray")
	f.duration(field+".time", s.Time)
	f.duration(field+".within", s.Within)
	f.duration(field+".scrape_every", s.ScrapeEvery)
	f.celsius(field+".temperature_c", s.TemperatureC)
	f.positive(field+".pressure_mbar_abs", s.PressureMbarAbs, maxPressure)
	f.between(field+".headroom", s.Headroom, 1, 100)
}

// validateOwn refuses what a step of this kind can't have, and a pressure on the wrong side of the atmosphere's: a
// gauge's reading, most often.
func (s Step) validateOwn(f *Faults, field, own string, vacuum bool) {
	for _, stated := range []struct {
		name string
		is   bool
	}{
		{"within", s.Within != 0}, {"scrape_every", s.ScrapeEvery != 0}, {"verb", s.Verb != ""},
		{"pressure_mbar_abs", s.PressureMbarAbs != nil}, {"headroom", s.Headroom != nil},
	} {
		if stated.is && !slices.Contains(strings.Fields(own), stated.name) {
			f.add(field+"."+stated.name, "means nothing for the step %s: take it out", s.Kind)
		}
	}
	if s.ScrapeEvery > 0 && s.Time > 0 && s.ScrapeEvery > s.Time {
		f.add(field+".scrape_every", "is %s, longer than the step's time, %s", s.ScrapeEvery, s.Time)
	}
	if p := s.PressureMbarAbs; p != nil && *p > 0 && (*p < oneAtmosphere) != vacuum {
		f.add(field+".pressure_mbar_abs", "is %s mbar absolute, and the atmosphere has about 1013: a gauge's reading? Add or subtract the atmosphere", short(*p))
	}
}
