package rehearse

import (
	"context"
	"fmt"
	"io"
)

// Variation is the grid with one thing changed.
type Variation struct {
	Name   string
	change func(*Cell)
}

// Variations are what a sweep goes through, one at a time: how much the figures hang on what is only assumed.
var Variations = []Variation{
	{"as stated", func(*Cell) {}},
	{"reactions scatter twice as much", func(c *Cell) { c.Person.ReactionSD *= 2 }},
	{"reactions of 0.6 s, slower than any of the grid", func(c *Cell) { c.Person.Reaction, c.Person.ReactionSD = 0.6, 0.09 }},
	{"twice the lag of the scale", func(c *Cell) { c.Scale.Lag *= 2 }},
	{"half the rate of the scale", func(c *Cell) { c.Scale.Rate /= 2 }},
	{"half again as much noise", func(c *Cell) { c.Scale.Noise *= 1.5 }},
	{"no noise: a display that only rounds", func(c *Cell) { c.Scale.Noise = -1 }},
	{"twice the slowest flow", func(c *Cell) { c.Slowest = min(2*c.Slowest, c.Job.Flow/2) }},
	{"twice the tail", func(c *Cell) { c.Liquid.Tail *= 2 }},
	{"a card that says medium of every liquid", func(c *Cell) { c.Liquid.Viscosity = "medium" }},
	{"a practised hand that stops at the window's low end", func(c *Cell) { c.Early = true }},
}

// SweepRow is what one variation makes of the counting cells.
type SweepRow struct {
	Name    string  `json:"name"`
	Over    float64 `json:"over"`
	Class02 float64 `json:"class_x02"`
	Class01 float64 `json:"class_x01"`
	Floor01 float64 `json:"floor_class_x01"`
	InFinal float64 `json:"in_window_at_end"`
	Time    float64 `json:"time_over_practised"` // median over the cells
}

// Sweep runs every variation over the cells of opt.
func Sweep(ctx context.Context, opt Options) (rows []SweepRow, err error) {
	for _, v := range Variations {
		opt.change = v.change
		r, err := Run(ctx, opt)
		if err != nil {
			return nil, fmt.Errorf("sweep, %s: %w", v.Name, err)
		}
		var cells []Figures
		var ratios []float64
		for _, c := range r.Cells {
			if c.Cell.Counts {
				cells = append(cells, c)
				ratios = append(ratios, c.Hands[Guided].Seconds/c.Hands[Practised].Seconds)
			}
		}
		rows = append(rows, SweepRow{
			Name: v.Name, Over: all(cells, Guided, over), Class02: all(cells, Guided, class02), Class01: all(cells, Guided, class01),
			Floor01: all(cells, Floor, class01), InFinal: all(cells, Guided, func(f HandFigures) float64 { return f.InFinal }), Time: median(ratios),
		})
	}
	return rows, nil
}

// WriteSweep writes the rows for people.
func WriteSweep(w io.Writer, rows []SweepRow) {
	fmt.Fprintf(w, "%-52s %7s %7s %7s %7s %7s %6s\n", "sensitivity", "over", "X(0.2)", "X(0.1)", "floor", "in", "time")
	for _, r := range rows {
		fmt.Fprintf(w, "%-52s %6.2f%% %6.1f%% %6.1f%% %6.1f%% %6.1f%% %6.2f\n",
			r.Name, 100*r.Over, 100*r.Class02, 100*r.Class01, 100*r.Floor01, 100*r.InFinal, r.Time)
	}
}
