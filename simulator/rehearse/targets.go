package rehearse

import "fmt"

// Target is what the guidance should reach, and what it does.
type Target struct {
	Name  string `json:"name"`
	Got   string `json:"got"`
	Cells int    `json:"cells_met"` // cells that reach it, of those that count
	Of    int    `json:"of"`
	Met   bool   `json:"met"`
}

// judge is one target: whether a cell reaches it, and the figure that stands for all cells.
type judge struct {
	name string
	met  func(g, p, f HandFigures, c Cell) bool
	got  func(cells []Figures) (text string, met bool)
}

// Targets of the report. It must have all three hands.
func (r Report) Targets() (list []Target) {
	var counting, rested, others []Figures
	for _, c := range r.Cells {
		if c.Cell.Counts {
			counting = append(counting, c)
			if c.Hands[Guided].Rested > 0 {
				rested = append(rested, c)
			}
		} else {
			others = append(others, c)
		}
	}
	for _, j := range judges {
		list = append(list, j.of(counting))
	}
	for _, j := range settling {
		list = append(list, j.of(rested))
	}
	return append(list, narrow.of(others))
}

func (j judge) of(cells []Figures) Target {
	t := Target{Name: j.name, Of: len(cells)}
	for _, c := range cells {
		if j.met(c.Hands[Guided], c.Hands[Practised], c.Hands[Floor], c.Cell) {
			t.Cells++
		}
	}
	t.Got, t.Met = j.got(cells)
	return t
}

// all is the mean of a share over cells with as many pours each.
func all(cells []Figures, who string, share func(HandFigures) float64) float64 {
	sum := 0.0
	for _, c := range cells {
		sum += share(c.Hands[who]) / float64(len(cells))
	}
	return sum
}

func over(f HandFigures) float64    { return f.Over }
func class02(f HandFigures) float64 { return f.Class02 }
func class01(f HandFigures) float64 { return f.Class01 }

var judges = []judge{
	{"class X(0.2) at the first stop in 99 % of pours, or the floor hand's share less 3 points",
		func(g, _, f HandFigures, _ Cell) bool { return g.Class02 >= min(0.99, f.Class02-0.03) },
		func(cells []Figures) (string, bool) {
			g, f := all(cells, Guided, class02), all(cells, Floor, class02)
			return fmt.Sprintf("%.1f %% (floor %.1f %%)", 100*g, 100*f), g >= min(0.99, f-0.03)
		}},
	{"class X(0.1) at the first stop in 95 % of pours, or the floor hand's share less 3 points",
		func(g, _, f HandFigures, _ Cell) bool { return g.Class01 >= min(0.95, f.Class01-0.03) },
		func(cells []Figures) (string, bool) {
			g, f := all(cells, Guided, class01), all(cells, Floor, class01)
			return fmt.Sprintf("%.1f %% (floor %.1f %%)", 100*g, 100*f), g >= min(0.95, f-0.03)
		}},
	{"median error at the first stop at most 1.5 times the floor hand's, in each cell",
		func(g, _, f HandFigures, _ Cell) bool { return g.MedianError <= 1.5*f.MedianError },
		func(cells []Figures) (string, bool) {
			var ratios []float64
			for _, c := range cells {
				ratios = append(ratios, c.Hands[Guided].MedianError/max(c.Hands[Floor].MedianError, 1e-9))
			}
			return fmt.Sprintf("median cell %.2f", median(ratios)), quantile(ratios, 1) <= 1.5
		}},
	{"above the window in at most 1 % of pours",
		func(g, _, _ HandFigures, _ Cell) bool { return g.Over <= 0.01 },
		func(cells []Figures) (string, bool) {
			g := all(cells, Guided, over)
			return fmt.Sprintf("%.2f %%", 100*g), g <= 0.01
		}},
	{"inside the window at the end in 99 % of pours",
		func(g, _, _ HandFigures, _ Cell) bool { return g.InFinal >= 0.99 },
		func(cells []Figures) (string, bool) {
			g := all(cells, Guided, func(f HandFigures) float64 { return f.InFinal })
			return fmt.Sprintf("%.2f %%", 100*g), g >= 0.99
		}},
	{"median time at most 0.7 of the practised hand's",
		func(g, p, _ HandFigures, _ Cell) bool { return g.Seconds <= 0.7*p.Seconds },
		func(cells []Figures) (string, bool) {
			var ratios []float64
			for _, c := range cells {
				ratios = append(ratios, c.Hands[Guided].Seconds/c.Hands[Practised].Seconds)
			}
			return fmt.Sprintf("median cell %.2f", median(ratios)), median(ratios) <= 0.7
		}},
}

// settling is of the cells in which a stop was called settled.
var settling = []judge{
	{"falsely settled in at most 0.1 % of pours",
		func(g, _, _ HandFigures, _ Cell) bool { return g.FalseSettled <= 0.001 },
		func(cells []Figures) (string, bool) {
			g := all(cells, Guided, func(f HandFigures) float64 { return f.FalseSettled })
			return fmt.Sprintf("%.3f %%", 100*g), g <= 0.001
		}},
	{"settled within 0.3 s of a smoother that has the simulator's parameters, median in each cell",
		func(g, _, _ HandFigures, _ Cell) bool { return g.BehindLanded <= 0.3 },
		func(cells []Figures) (string, bool) {
			var landed, shown, truth []float64
			for _, c := range cells {
				g := c.Hands[Guided]
				landed, shown, truth = append(landed, g.BehindLanded), append(shown, g.BehindShown), append(truth, g.SettleDelay)
			}
			within := 0
			for _, s := range shown {
				within += int(as(s <= 0.3))
			}
			return fmt.Sprintf("median cell %.2f s; behind one that waits for the display, too, %.2f s, %d cells; behind the truth %.2f s",
				median(landed), median(shown), within, median(truth)), quantile(landed, 1) <= 0.3
		}},
}

// narrow is of the cells that do not count: whose window is finer than the display or the hand.
var narrow = judge{"narrow windows: above in at most 2 % of pours",
	func(g, _, _ HandFigures, _ Cell) bool { return g.Over <= 0.02 },
	func(cells []Figures) (string, bool) {
		g := all(cells, Guided, over)
		return fmt.Sprintf("%.2f %%", 100*g), g <= 0.02
	}}
