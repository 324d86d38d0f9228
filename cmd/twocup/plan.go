package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"twocup/scaledrv/reading"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

type planCommand struct {
	Ratio    string `placeholder:"RATIO" help:"A first, with its basis: '100:50 by weight', '2:1 by volume', '12.5 phr'."`
	Material string `placeholder:"ID" help:"A material of the data folder, in place of a ratio."`
	Data     string `placeholder:"DIR" help:"The data folder that has the material."`
	Formulation

	Total     string `placeholder:"MASS" help:"Amount: everything in the cup, such as '300 g'."`
	Volume    string `placeholder:"VOLUME" help:"Amount: the mould's volume, such as '450 mL', '30 in3', '1 gal US'."`
	PartA     string `placeholder:"MASS" help:"Amount: A in hand."`
	PartB     string `placeholder:"MASS" help:"Amount: B in hand."`
	Box       string `placeholder:"LxWxHmm" help:"Amount: the volume of a box, such as 100x50x20mm."`
	Cylinder  string `placeholder:"DxHmm" help:"Amount: the volume of a cylinder, diameter x height, such as 50x20mm."`
	WaterFill string `placeholder:"MASS" help:"Amount: the volume of a mould that took so much water."`
	WaterC    string `placeholder:"CELSIUS" help:"Temperature of that water."`
	Largest   bool   `help:"The largest batch of what is in two containers, --part-a and --part-b."`
	Allowance string `placeholder:"PERCENT" help:"More than the amount, such as '10 %', for what stays in cup and film."`
	Split     *int   `placeholder:"N" help:"Over so many equal cups."`

	DensityA     string  `placeholder:"G_PER_ML" help:"Density of A, with --ratio."`
	DensityB     string  `placeholder:"G_PER_ML" help:"Density of B, with --ratio."`
	DensityMixed string  `placeholder:"G_PER_ML" help:"Density of the mix in the cup, with --ratio."`
	DensityCast  string  `placeholder:"G_PER_ML" help:"Density of what fills the mould, with --ratio."`
	Tolerance    string  `placeholder:"PERCENT" help:"Of B relative to A, either side, with --ratio."`
	BPer100a     *string `name:"b-per-100-a" placeholder:"PARTS" help:"B chosen within the card's range."`

	Division      string `placeholder:"MASS" help:"Step of the scale's display, such as 0.1g."`
	Repeatability string `placeholder:"MASS" help:"Standard deviation of one weighing difference as the display shows it."`
	Capacity      string `placeholder:"MASS" help:"Of the scale."`
	CupVolume     string `placeholder:"VOLUME" help:"Of the cup, to its brim."`
	CupMass       string `placeholder:"MASS" help:"Of the empty cup."`
	Temperature   string `placeholder:"CELSIUS" help:"Of parts and room."`

	JSON bool `name:"json" help:"Print the plan as JSON."`
}

func (c planCommand) Run(ctx context.Context, s streams) error {
	if c.Formulation.given() && c.Ratio == "" && c.Material == "" && count(c.amounts()...) == 0 {
		return c.printRatio(s)
	}
	request, how, err := c.request(ctx)
	if err != nil {
		return err
	}
	left := plan.LeftOver{}
	if c.Largest {
		if request, left, err = c.largest(request); err != nil {
			return err
		}
	}
	p, err := request.Plan()
	if err != nil {
		return planFault(err)
	}
	if c.JSON {
		err = printJSON(s.out, p)
	} else {
		err = planSheet{request.Card, p, how, left}.print(s.out)
	}
	for _, check := range p.Checks {
		if check.Level == plan.Stop {
			return &failure{code: exitFault}
		}
	}
	return err
}

// request is what the flags ask for, and for a formulation how its ratio was found.
func (c planCommand) request(ctx context.Context) (r plan.Request, how string, err error) {
	f := flags{}
	if r.Card, r.Revision, how, err = c.card(ctx, &f); err != nil {
		return r, "", err
	}
	if !c.Largest {
		r.Amount = c.amount(&f)
	} else if c.Allowance != "" {
		f.fault("allowance", errors.New("does not go with --largest: what is in the containers is in hand"))
	}
	if c.Split != nil {
		if r.Split = *c.Split; r.Split < 1 {
			f.fault("split", fmt.Errorf("is %d, must be a whole number of cups, 1 or more", r.Split))
		}
	}
	r.TemperatureC = f.number("temperature", c.Temperature)
	if c.BPer100a != nil {
		r.BPer100A = f.number("b-per-100-a", *c.BPer100a)
	}
	if c.Division != "" {
		r.Scales = []plan.Scale{c.scale(&f)}
	} else if c.Repeatability != "" || c.Capacity != "" {
		f.fault("division", errors.New("is missing: a scale is known by the step of its display"))
	}
	if c.CupVolume != "" || c.CupMass != "" {
		r.Cup = &plan.Cup{VolumeML: f.volume("cup-volume", c.CupVolume), MassG: f.mass("cup-mass", c.CupMass)}
	}
	return r, how, f.err()
}

// card is the material's, or one made of a ratio and what goes with it.
func (c planCommand) card(ctx context.Context, f *flags) (card material.Card, revision int, how string, err error) {
	switch given := count(c.Ratio != "", c.Material != "", c.Formulation.given()); {
	case given != 1:
		f.fault("ratio", fmt.Errorf("is one of three ways to say the mix ratio (--ratio, --material, or equivalent weights): give one, not %d", given))
		return card, 0, "", f.err()
	case c.Material != "":
		c.onlyWithRatio(f)
		stored, err := c.stored(ctx)
		return stored.Card, stored.Revision, "", err
	case c.Ratio != "":
		card.Ratio, err = material.ParseRatio(c.Ratio)
		f.fault("ratio", err)
		card.ID, card.Name = "typed-ratio", "Typed ratio"
	default:
		card.Ratio, card.StatedTolerance, how, err = c.Formulation.ratio()
		f.fault(c.Formulation.flag(), err)
		card.ID, card.Name = "formulation", "From equivalent weights"
	}
	card.Density = material.Density{
		A: f.density("density-a", c.DensityA), B: f.density("density-b", c.DensityB),
		Mixed: f.density("density-mixed", c.DensityMixed), Cast: f.density("density-cast", c.DensityCast),
	}
	if c.Tolerance != "" {
		pct, err := plan.ParsePercent(strings.TrimLeft(c.Tolerance, "±"))
		f.fault("tolerance", err)
		card.StatedTolerance = &material.TolerancePct{Low: -pct, High: pct}
	}
	if f.err() == nil {
		if err := card.Validate(); err != nil {
			return card, 0, "", planFault(err)
		}
	}
	return card, 0, how, nil
}

// onlyWithRatio refuses what a card says itself.
func (c planCommand) onlyWithRatio(f *flags) {
	for name, text := range map[string]string{"density-a": c.DensityA, "density-b": c.DensityB, "density-mixed": c.DensityMixed,
		"density-cast": c.DensityCast, "tolerance": c.Tolerance} {
		if text != "" {
			f.fault(name, errors.New("goes with --ratio: with --material the card's holds"))
		}
	}
}

// printRatio prints a formulation's mix ratio alone: without an amount there is nothing to plan.
func (c planCommand) printRatio(s streams) error {
	ratio, tolerance, how, err := c.Formulation.ratio()
	if err != nil {
		f := flags{}
		f.fault(c.Formulation.flag(), err)
		return f.err()
	}
	if c.JSON {
		return printJSON(s.out, map[string]any{"ratio": ratio, "tolerance_pct": tolerance, "how": how})
	}
	fmt.Fprintln(s.out, how)
	return nil
}

func (c planCommand) amounts() (given []bool) {
	for _, text := range []string{c.Total, c.Volume, c.PartA, c.PartB, c.Box, c.Cylinder, c.WaterFill} {
		given = append(given, text != "")
	}
	return given
}

func (c planCommand) amount(f *flags) (a plan.Amount) {
	if n := count(c.amounts()...); n != 1 {
		f.fault("total", fmt.Errorf("is one of the amounts --total, --volume, --part-a, --part-b, --box, --cylinder and --water-fill: give exactly one, not %d", n))
		return a
	}
	a.TotalG, a.PartAG, a.PartBG = f.mass("total", c.Total), f.mass("part-a", c.PartA), f.mass("part-b", c.PartB)
	a.VolumeML = f.volume("volume", c.Volume)
	for name, mould := range map[string]struct {
		text  string
		parse func(string) (float64, error)
	}{"box": {c.Box, plan.ParseBox}, "cylinder": {c.Cylinder, plan.ParseCylinder}, "water-fill": {c.WaterFill, c.waterFill}} {
		if mould.text != "" {
			millilitres, err := mould.parse(mould.text)
			f.fault(name, err)
			a.VolumeML = &millilitres
		}
	}
	if c.WaterC != "" && c.WaterFill == "" {
		f.fault("water-c", errors.New("goes with --water-fill"))
	}
	if c.Allowance != "" {
		var err error
		a.AllowancePct, err = plan.ParsePercent(c.Allowance)
		f.fault("allowance", err)
	}
	return a
}

func (c planCommand) waterFill(text string) (millilitres float64, err error) {
	water, err := plan.ParseMass(text)
	if err != nil {
		return 0, err
	}
	if c.WaterC == "" {
		return 0, errors.New("needs the water's temperature, --water-c")
	}
	celsius, err := celsius(c.WaterC)
	if err != nil {
		return 0, fmt.Errorf("--water-c: %w", err)
	}
	return plan.WaterFill(water, celsius)
}

func (c planCommand) scale(f *flags) plan.Scale {
	s := plan.Scale{ID: "bench"}
	if d := f.mass("division", c.Division); d != nil {
		if s.Division = *d; *d <= 0 {
			f.fault("division", errors.New("must be more than 0"))
		}
	}
	if m := f.mass("repeatability", c.Repeatability); m != nil {
		s.Repeatability = max(*m, 1) // a stated zero is not the same as none stated
	}
	if m := f.mass("capacity", c.Capacity); m != nil {
		s.Capacity = *m
	}
	return s
}

func (c planCommand) largest(r plan.Request) (plan.Request, plan.LeftOver, error) {
	f := flags{}
	a, b := f.mass("part-a", c.PartA), f.mass("part-b", c.PartB)
	if a == nil || b == nil || count(c.amounts()...) != 2 {
		f.fault("largest", errors.New("needs --part-a and --part-b, what is in the two containers, and no other amount"))
	}
	if err := f.err(); err != nil {
		return r, plan.LeftOver{}, err
	}
	r, left, err := r.Largest(*a, *b)
	if err != nil {
		err = planFault(err)
	}
	return r, left, err
}

func count(given ...bool) (n int) {
	for _, g := range given {
		if g {
			n++
		}
	}
	return n
}

// flags reads texts of flags and keeps what is wrong with them, each named.
type flags struct{ faults []string }

func (f *flags) fault(flag string, err error) {
	if err != nil {
		f.faults = append(f.faults, fmt.Sprintf("--%s: %v", flag, err))
	}
}

func (f *flags) err() error {
	if len(f.faults) == 0 {
		return nil
	}
	return &failure{exitUsage, errors.New(strings.Join(f.faults, "\n"))}
}

// mass is nil where the flag was not given.
func (f *flags) mass(flag, text string) *reading.Mass { return optional(f, flag, text, plan.ParseMass) }

func (f *flags) volume(flag, text string) *float64 { return optional(f, flag, text, plan.ParseVolume) }

func (f *flags) number(flag, text string) *float64 { return optional(f, flag, text, celsius) }

// density keeps the text: its digits say how well it is known.
func (f *flags) density(flag, text string) material.Number {
	number := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "g/mL"))
	if number == "" {
		return ""
	}
	var n material.Number
	if json.Unmarshal([]byte(number), &n) != nil {
		f.fault(flag, fmt.Errorf("%q is not a plain number of g/mL, such as 1.10", text))
	}
	return n
}

func optional[T any](f *flags, flag, text string, parse func(string) (T, error)) *T {
	if text == "" {
		return nil
	}
	v, err := parse(text)
	f.fault(flag, err)
	return &v
}

// celsius is a plain number, with or without its unit.
func celsius(text string) (float64, error) {
	number := strings.TrimSpace(strings.TrimRight(strings.TrimSpace(text), "°C"))
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a plain number", text)
	}
	return v, nil
}

// planFault names the flags for what can't be planned.
func planFault(err error) error {
	var faults material.Faults
	if !errors.As(err, &faults) {
		return err
	}
	f := flags{}
	for _, fault := range faults {
		f.fault(flagOf(fault.Field), errors.New(fault.Detail))
	}
	return f.err()
}

// flagOf is the flag behind a field of a request or a card.
func flagOf(field string) string {
	field = strings.TrimPrefix(field, "amount.")
	for _, unit := range []string{"_g", "_ml", "_pct", "_c"} {
		field = strings.TrimSuffix(field, unit)
	}
	field = strings.NewReplacer(".", "-", "_", "-").Replace(field)
	switch {
	case strings.HasPrefix(field, "ratio"):
		return "ratio"
	case field == "amount":
		return "total"
	case field == "density":
		return "density-mixed"
	}
	return field
}

// stored is the newest revision of a material in a data folder.
func (c planCommand) stored(ctx context.Context) (material.Stored, error) {
	if c.Data == "" {
		return material.Stored{}, &failure{exitUsage, errors.New("--material: needs --data, the folder that has the card")}
	}
	r, err := ledger.OpenReader(c.Data)
	if err != nil {
		return material.Stored{}, &failure{exitUnreachable, err}
	}
	defer r.Close()
	stored, err := r.Material(ctx, c.Material)
	if errors.Is(err, ledger.ErrNotFound) {
		return stored, &failure{exitUsage, fmt.Errorf("--material: there is no material %q in %s", c.Material, c.Data)}
	}
	return stored, err
}
