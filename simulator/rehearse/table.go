package rehearse

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
)

const preface = `Simulated pours of part B, %d a cell and hand from seed %d, after %d by which the guidance learns the hand. They prove nothing
about people. Errors are of true mass against B's own target: stricter than OIML R 61, which takes the mean of the fills.

%s: follows the cues. %s: sees the digits alone, every %v; pours with the fastest flow at which it is above the
window in at most 5 %% of pours, slows to %g of it at %g of the target, stops at the target. %s: the cues from true mass and
flow, at the same instants; what is on the lip has left. All have the same reactions, tail and drops, pour no part in less
than %g s, and top up by eye.
Settled: seconds behind a smoother that sees the display, has the simulator's own parameters, and waits until it is 99 %% sure
that less than half a division is to land; shown: and is to show, too.

`

// WriteTable writes the report for people: by job and liquid, then the targets, then the worst cells. It must have all
// three hands.
func (r Report) WriteTable(w io.Writer) error {
	fmt.Fprintf(w, preface, r.Pours, r.Seed, learning, Guided, Practised, lookEvery, slowTo, slowAt, Floor, takes)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "job\tliquid\tcells\tover\tfirst\tend\tX(0.2)\tX(0.1)\tfloor\t99 % in\terror/d\tfloor\ttop-ups\ts\tpractised\tfloor\tsettled\tshown\t")
	for _, g := range r.groups() {
		fmt.Fprintln(t, g.row())
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nTargets, over the cells that count (half a window of at least 2 d and 3 σ)")
	for _, t := range r.Targets() {
		met := "not met"
		if t.Met {
			met = "met"
		}
		fmt.Fprintf(w, "  %-8s %s: %s; %d of %d cells\n", met, t.Name, t.Got, t.Cells, t.Of)
	}
	fmt.Fprintln(w, "\nWorst cells that count, by the share in X(0.2) against the floor hand's")
	for _, c := range r.worst(10) {
		g, f := c.Hands[Guided], c.Hands[Floor]
		fmt.Fprintf(w, "  %s: %.0f %% (floor %.0f %%), median error %.2g g (floor %.2g g, σ %.2g g)\n",
			c.Cell.Name(), 100*g.Class02, 100*f.Class02, g.MedianError, f.MedianError, c.Cell.Floor)
	}
	return nil
}

// group is the cells of one job and liquid that count.
type group struct {
	name, liquid string
	cells        []Figures
}

func (r Report) groups() (list []group) {
	for _, c := range r.Cells {
		name := fmt.Sprintf("%s %g g at %g g/s", c.Cell.Job.Name, c.Cell.Job.Part, c.Cell.Job.Flow)
		if !c.Cell.Counts {
			continue
		}
		if n := len(list) - 1; n < 0 || list[n].name != name || list[n].liquid != c.Cell.Liquid.Name {
			list = append(list, group{name: name, liquid: c.Cell.Liquid.Name})
		}
		list[len(list)-1].cells = append(list[len(list)-1].cells, c)
	}
	return list
}

// row of the table: shares are means over the cells, the class is the smallest that 99 % of a cell's pours keep in the
// middle cell, error and time are medians of medians.
func (g group) row() string {
	mean := func(who string, of func(HandFigures) float64) float64 { return 100 * all(g.cells, who, of) }
	middle := func(who string, of func(HandFigures) float64) float64 {
		var v []float64
		for _, c := range g.cells {
			v = append(v, of(c.Hands[who]))
		}
		return median(v)
	}
	seconds := func(f HandFigures) float64 { return f.Seconds }
	divisions := func(f HandFigures) float64 { return f.ErrorInD }
	return fmt.Sprintf("%s\t%s\t%d\t%.1f %%\t%.0f %%\t%.1f %%\t%.0f %%\t%.0f %%\t%.0f %%\tX(%.2f)\t%.2f\t%.2f\t%.2f\t%.0f\t%.0f\t%.0f\t%s\t",
		g.name, g.liquid, len(g.cells), mean(Guided, over),
		mean(Guided, func(f HandFigures) float64 { return f.InFirst }), mean(Guided, func(f HandFigures) float64 { return f.InFinal }),
		mean(Guided, class02), mean(Guided, class01), mean(Floor, class01),
		middle(Guided, func(f HandFigures) float64 { return f.Class }), middle(Guided, divisions), middle(Floor, divisions),
		mean(Guided, func(f HandFigures) float64 { return f.TopUps })/100,
		middle(Guided, seconds), middle(Practised, seconds), middle(Floor, seconds),
		g.settled())
}

// settled is how far settling is behind the smoother, in the middle cell of those where a stop was called settled.
func (g group) settled() string {
	var landed, shown []float64
	for _, c := range g.cells {
		if f := c.Hands[Guided]; f.Rested > 0 {
			landed, shown = append(landed, f.BehindLanded), append(shown, f.BehindShown)
		}
	}
	if len(landed) == 0 {
		return "-\t-"
	}
	return fmt.Sprintf("%.1f\t%.1f", median(landed), median(shown))
}

// worst n cells that count.
func (r Report) worst(n int) []Figures {
	list := slices.DeleteFunc(slices.Clone(r.Cells), func(c Figures) bool { return !c.Cell.Counts })
	short := func(c Figures) float64 { return min(0.99, c.Hands[Floor].Class02-0.03) - c.Hands[Guided].Class02 }
	slices.SortStableFunc(list, func(a, b Figures) int { return cmp.Compare(short(b), short(a)) })
	return list[:min(n, len(list))]
}
