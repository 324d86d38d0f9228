package rehearse

import (
	"fmt"
	"io"
	"strings"
	"time"

	"twocup/station/pour"
)

// colours of the plot's lines and of the ground under each cue.
var (
	lines = []struct{ name, colour string }{{"truth", "#1a7a3a"}, {"display", "#555"}, {"estimate", "#b5651d"}}
	under = map[pour.Cue]string{
		pour.CuePour: "#eef6ff", pour.CueEase: "#f1e8ff", pour.CueStop: "#ffe3e3", pour.CueHold: "#f3f3f3", pour.CueTopUp: "#fff6da",
	}
)

const (
	plotWide, plotHigh = 900.0, 480.0
	margin             = 50.0
)

// moment is one Step of a pour, masses in grams, time in seconds from its first cue.
type moment struct {
	at    float64
	value [3]float64 // as lines
	cue   pour.Cue
}

// Plot draws one guided pour of a cell as SVG: truth, display, estimate and cues, after the hand has been learned.
func Plot(w io.Writer, c Cell, seed uint64) error {
	habit := pour.FirstHabit(c.Liquid.Viscosity)
	for n := range uint64(learning) {
		var err error
		if _, habit, err = c.one(Guided, seed+1+n, habit, 0, nil); err != nil {
			return fmt.Errorf("plot a pour: %w", err)
		}
	}
	var moments []moment
	_, _, err := c.one(Guided, seed, habit, 0, func(p *run) {
		at := (p.t.Now() - p.began).Round(time.Millisecond).Seconds()
		shown := p.screen.shown
		left := (p.t.Landed() + p.t.OnItsWay() + p.t.OnLip()).Grams()
		moments = append(moments, moment{at, [3]float64{left, shown, shown + p.pan.Estimate().Ahead}, p.screen.cue})
	})
	if err != nil {
		return fmt.Errorf("plot a pour: %w", err)
	}
	_, err = io.WriteString(w, drawing(c, moments))
	return err
}

func drawing(c Cell, moments []moment) string {
	var b strings.Builder
	last := moments[len(moments)-1].at
	x := func(at float64) float64 { return margin + at/last*(plotWide-2*margin) }
	y := func(g float64) float64 { return plotHigh - margin - g/(1.1*c.Job.Part)*(plotHigh-2*margin) }
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="12">`+"\n", plotWide, plotHigh)
	fmt.Fprintf(&b, `<text x="%g" y="16">%s (simulated)</text>`+"\n", margin, c.Name())
	for i := 0; i < len(moments); {
		j := i
		for j < len(moments) && moments[j].cue == moments[i].cue {
			j++
		}
		from, to := x(moments[i].at), x(moments[j-1].at)
		fmt.Fprintf(&b, `<rect x="%.1f" y="%g" width="%.1f" height="%g" fill="%s"/><text x="%.1f" y="40">%s</text>`+"\n",
			from, margin, to-from, plotHigh-2*margin, under[moments[i].cue], from+2, moments[i].cue)
		i = j
	}
	fmt.Fprintf(&b, `<rect x="%g" y="%.1f" width="%g" height="%.1f" fill="#1a7a3a" opacity="0.15"/>`+"\n", margin, y(c.High), plotWide-2*margin, y(c.Low)-y(c.High))
	for i, line := range lines {
		fmt.Fprintf(&b, `<polyline fill="none" stroke="%s" stroke-width="1.5" points="`, line.colour)
		for n := 0; n < len(moments); n += 4 {
			fmt.Fprintf(&b, "%.1f,%.1f ", x(moments[n].at), y(moments[n].value[i]))
		}
		fmt.Fprintf(&b, `"/><text x="%g" y="%g" fill="%s">%s</text>`+"\n", margin+float64(100*i), plotHigh-12, line.colour, line.name)
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="end">%.1f s, %g g, window %g to %g g</text>`+"\n</svg>\n", plotWide-margin, plotHigh-12, last, c.Job.Part, c.Low, c.High)
	return b.String()
}
