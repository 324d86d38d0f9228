package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/plan"
)

// printJSON prints one value as it would be in the API, indented.
func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// planSheet is a plan for a person.
type planSheet struct {
	card material.Card
	plan plan.Plan
	how  string // a formulation's ratio was found
	left plan.LeftOver
}

func (s planSheet) print(w io.Writer) error {
	p := s.plan
	t := columns(w)
	fmt.Fprintf(t, "%s\n", s.card.Name)
	if s.how != "" {
		fmt.Fprintf(t, "%s\n\n", s.how)
	} else {
		fmt.Fprintf(t, "%s: %s\n\n", s.card.RatioText(), s.card.Sentence())
	}
	fmt.Fprint(t, "part\ttarget\tfrom\tto\tcard's limits\tin\tby\n")
	for _, part := range p.Parts {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s to %s\t%s\t%s\n", part.Part, part.Target, part.Low, part.High, part.LimitLow, part.LimitHigh, part.Vessel, part.MeasuredBy)
	}
	fmt.Fprintf(t, "\n%s\n", strings.Join(s.amounts(), ", "))
	if p.UncertaintyPct != nil {
		fmt.Fprintf(t, "uncertainty of the ratio %v %%; smallest A + B that can be proved %s, and poured %s\n", *p.UncertaintyPct, massOr(p.ProvableG, "none"), massOr(p.PourableG, "none"))
	}
	fmt.Fprintln(t)
	for _, c := range p.Checks {
		fmt.Fprintf(t, "%s\t%s\t%s; %s\n", c.Level, c.ID, c.Figure, c.Limit)
		if c.Do != "" {
			fmt.Fprintf(t, "\t\t%s\n", c.Do)
		}
	}
	for _, a := range p.Assumed {
		fmt.Fprintf(t, "assumed\t\t%s\n", a)
	}
	for _, caution := range s.card.Cautions {
		fmt.Fprintf(t, "caution\t\t%s\n", caution)
	}
	fmt.Fprint(t, "\nThe safety data sheets of both parts and local rules decide; gloves, eye protection and ventilation as they say.\n")
	return t.Flush()
}

func (s planSheet) amounts() []string {
	p := s.plan
	list := []string{"in the cup " + p.TotalG.String(), "A + B " + p.ABG.String()}
	if p.VolumeML != nil {
		list = append(list, "fills "+strconv.FormatFloat(*p.VolumeML, 'f', -1, 64)+" mL")
	}
	if p.Cups > 1 {
		list = append(list, fmt.Sprintf("each of %d cups, %s in all", p.Cups, p.BatchTotalG))
	}
	if s.left.Part != "" {
		list = append(list, fmt.Sprintf("%s of %s is left over", s.left.Mass, s.left.Part))
	}
	return list
}

func massOr(m *reading.Mass, none string) string {
	if m == nil {
		return none
	}
	return m.String()
}
