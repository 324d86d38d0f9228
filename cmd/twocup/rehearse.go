package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"twocup/simulator/rehearse"
)

type rehearseCommand struct {
	Seed  uint64 `placeholder:"N" help:"Of the first pour; by default one that nothing was tuned on."`
	Pours int    `default:"40" help:"For each cell of the grid and each hand."`
	Hand  string `enum:"guided,practised,floor," default:"" placeholder:"NAME" help:"guided, practised or floor; all three by default, which comparing needs."`
	Every int    `default:"1" placeholder:"N" help:"Only each Nth cell of the grid: a look, and no figure to report."`
	Sweep bool   `help:"How the guided hand's figures change with scale, person and liquid."`
	JSON  bool   `name:"json" help:"The report as JSON."`
	SVG   string `name:"svg" placeholder:"FILE" help:"Draws one pour, of the first cell: truth, display, estimate, cues. Made new, never over another."`
}

const simulatedOnly = "These are simulated pours: figures of a model, and no proof on people."

func (c rehearseCommand) Run(ctx context.Context, s streams) error {
	if c.Pours < 1 || c.Every < 1 {
		return &failure{exitUsage, errors.New("--pours and --every: must be 1 or more")}
	}
	cells, err := rehearse.Grid()
	if err != nil {
		return err
	}
	opt := rehearse.Options{Seed: c.Seed, Pours: c.Pours, Hand: c.Hand}
	if c.Every > 1 {
		chosen := map[string]bool{}
		for i := 0; i < len(cells); i += c.Every {
			chosen[cells[i].Name()] = true
		}
		opt.Cells = func(cell rehearse.Cell) bool { return chosen[cell.Name()] }
	}
	switch {
	case c.SVG != "":
		return drawPour(c.SVG, cells[0], c.Seed, s)
	case c.Sweep:
		rows, err := rehearse.Sweep(ctx, opt)
		if err == nil && c.JSON {
			return printJSON(s.out, rows)
		} else if err == nil {
			rehearse.WriteSweep(s.out, rows)
			fmt.Fprintln(s.out, simulatedOnly)
		}
		return err
	}
	report, err := rehearse.Run(ctx, opt)
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(s.out, report)
	}
	if c.Hand != "" {
		return &failure{exitUsage, errors.New("--hand: one hand alone has nothing to be compared with in a table; add --json")}
	}
	err = report.WriteTable(s.out)
	fmt.Fprintln(s.out, simulatedOnly)
	return err
}

func drawPour(name string, cell rehearse.Cell, seed uint64, s streams) error {
	file, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return unreachable("draw a pour: %w", err)
	}
	if err := errors.Join(rehearse.Plot(file, cell, seed), file.Close()); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: %s. %s\n", name, cell.Name(), simulatedOnly)
	return nil
}
