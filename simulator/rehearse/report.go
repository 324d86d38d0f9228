package rehearse

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"twocup/station/pour"
)

// Seeds are kept apart: nothing was ever tuned on those that figures are reported from.
const (
	TuningSeed    = 1_000_000
	ReportingSeed = 2_000_000
	practiceSeed  = 3_000_000 // on which the practised hand finds its fastest flow
)

// Options of a rehearsal. The zero value is the whole grid, all hands, 40 pours a cell from ReportingSeed.
type Options struct {
	Seed  uint64          // of the first pour; 0 means ReportingSeed
	Pours int             // a cell and a hand; 0 means 40
	Hand  string          // one of Guided, Practised, Floor; "" means all
	Cells func(Cell) bool // which of the grid; nil means all

	change func(*Cell) // of a sweep
}

// learning is how many pours a person makes before they count. The first of them is the one of a stranger.
const learning = 3

// HandFigures are a hand's in one cell. Errors are of true mass against the target, shares 0 to 1.
type HandFigures struct {
	Over         float64 `json:"over"`      // share above the window
	Corrections  float64 `json:"corrected"` // share whose display ended above the window
	MedianError  float64 `json:"median_error_g"`
	ErrorInD     float64 `json:"median_error_divisions"`
	InFirst      float64 `json:"in_window_at_first_stop"`
	InFinal      float64 `json:"in_window_at_end"`
	Class02      float64 `json:"class_x02"` // share in OIML R 61 class X(0.2) at the first stop
	Class01      float64 `json:"class_x01"`
	Class        float64 `json:"class_reached"` // smallest x with 99 % of the pours in X(x)
	Seconds      float64 `json:"median_s"`
	TopUps       float64 `json:"top_ups"` // a pour
	Short        float64 `json:"short"`   // share that ended as top_up
	Unended      float64 `json:"unended"`
	Rested       float64 `json:"rested"`                          // share whose first stop was called settled; a ladle's never is
	FalseSettled float64 `json:"false_settled"`                   // share of these
	SettleDelay  float64 `json:"settle_delay_s"`                  // median, after the truth had settled
	BehindLanded float64 `json:"settle_behind_smoother_landed_s"` // median, after a smoother with the simulator's parameters was sure of what is to land
	BehindShown  float64 `json:"settle_behind_smoother_shown_s"`  // and of what is to show, too
	Stranger     float64 `json:"stranger_error"`                  // |error| of the first pour of all, over half of the window
	Fastest      float64 `json:"flow_g_s"`                        // that it pours with
	StopLag      float64 `json:"stop_lag_s"`                      // learned
	ScaleLag     float64 `json:"scale_lag_s"`                     // identified, median; 0: not
}

// Figures of one cell, by hand.
type Figures struct {
	Cell  Cell                   `json:"cell"`
	Hands map[string]HandFigures `json:"hands"`
}

// Report of a rehearsal.
type Report struct {
	Seed  uint64    `json:"seed"`
	Pours int       `json:"pours"`
	Cells []Figures `json:"cells"`
}

// Run rehearses. The error is that of ctx, or says which cell cannot be set up.
func Run(ctx context.Context, opt Options) (Report, error) {
	if opt.Seed == 0 {
		opt.Seed = ReportingSeed
	}
	if opt.Pours == 0 {
		opt.Pours = 40
	}
	hands := []string{Guided, Practised, Floor}
	if opt.Hand != "" {
		if !slices.Contains(hands, opt.Hand) {
			return Report{}, fmt.Errorf("rehearse with hand %q: unknown (known: %v)", opt.Hand, hands)
		}
		hands = []string{opt.Hand}
	}
	cells, err := Grid()
	if err != nil {
		return Report{}, err
	}
	if opt.Cells != nil {
		cells = slices.DeleteFunc(cells, func(c Cell) bool { return !opt.Cells(c) })
	}
	if opt.change != nil {
		for i := range cells {
			opt.change(&cells[i])
		}
	}
	r := Report{Seed: opt.Seed, Pours: opt.Pours, Cells: make([]Figures, len(cells))}
	return r, share(ctx, len(cells), func(i int) error {
		r.Cells[i] = Figures{Cell: cells[i], Hands: map[string]HandFigures{}}
		for _, who := range hands {
			f, err := cells[i].figures(who, opt)
			if err != nil {
				return fmt.Errorf("rehearse %s, %s hand: %w", cells[i].Name(), who, err)
			}
			r.Cells[i].Hands[who] = f
		}
		return nil
	})
}

// share does n things on all processors; the first error ends it.
func share(ctx context.Context, n int, do func(int) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	work := make(chan int)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for i := range work {
				if err := do(i); err != nil {
					cancel(err)
				}
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		select {
		case work <- i:
		case <-ctx.Done():
		}
	}
	close(work)
	workers.Wait()
	return context.Cause(ctx)
}

// figures of one hand in one cell: a person who learns from pour to pour.
func (c Cell) figures(who string, opt Options) (HandFigures, error) {
	f := HandFigures{Fastest: c.Job.Flow}
	if who == Practised {
		var err error
		if f.Fastest, err = c.fastest(); err != nil {
			return f, err
		}
	}
	habit := pour.FirstHabit(c.Liquid.Viscosity)
	var all []result
	var lags []float64
	for n := range learning + opt.Pours {
		lag := 0.0
		p, learned, err := c.one(who, opt.Seed+uint64(n), habit, f.Fastest, func(p *run) { lag = p.lag.Seconds() })
		if err != nil {
			return f, err
		}
		habit, lags = learned, append(lags, lag)
		if n == 0 {
			f.Stranger = math.Abs(p.first-c.Job.Part) / c.half()
		}
		if n >= learning {
			all = append(all, p)
		}
	}
	f.StopLag, f.ScaleLag = habit.Stop.Seconds, median(lags)
	f.count(c, all)
	return f, nil
}

// half of the window, in grams.
func (c Cell) half() float64 { return (c.High - c.Low) / 2 }

// count sums up pours.
func (f *HandFigures) count(c Cell, all []result) {
	n := float64(len(all))
	limit := Limit(c.Job.Part)
	var errors, times, delays, ended, stood, classes []float64
	for _, p := range all {
		off := math.Abs(p.first - c.Job.Part)
		errors, times = append(errors, off), append(times, p.seconds)
		classes = append(classes, off/limit)
		if p.rested {
			delays, ended, stood = append(delays, p.delay), append(ended, p.ended), append(stood, p.stood)
			f.FalseSettled += as(p.late > max(c.Scale.Division, c.half()/5))
		}
		f.Over += as(p.final > c.High) / n
		f.Corrections += as(p.above) / n
		f.InFirst += as(p.first >= c.Low && p.first <= c.High) / n
		f.InFinal += as(p.final >= c.Low && p.final <= c.High) / n
		f.Class02 += as(off <= max(0.2*limit, c.Scale.Division)) / n
		f.Class01 += as(off <= max(0.1*limit, c.Scale.Division)) / n
		f.TopUps += float64(p.topUps) / n
		f.Short += as(p.short) / n
		f.Unended += as(p.unended) / n
	}
	f.MedianError, f.Seconds, f.SettleDelay = median(errors), median(times), median(delays)
	if rested := float64(len(delays)); rested > 0 {
		f.Rested, f.FalseSettled = rested/n, f.FalseSettled/rested
	}
	f.BehindLanded, f.BehindShown = median(ended), median(stood)
	f.ErrorInD = f.MedianError / c.Scale.Division
	f.Class = quantile(classes, 0.99)
}

func as(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func median(v []float64) float64 { return quantile(v, 0.5) }

// quantile is the smallest value that at least a share of them do not exceed; 0 of none.
func quantile(v []float64, share float64) float64 {
	if len(v) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(v))
	return sorted[max(0, int(math.Ceil(share*float64(len(sorted))))-1)]
}

// fastest is the fastest flow with which the practised hand is above the window in at most 5 % of its pours.
func (c Cell) fastest() (float64, error) {
	const steps, tries = 12, 40
	low, high := 0, steps // by equal ratios from the slowest flow to the vessel's
	flow := func(step int) float64 {
		return c.Slowest * math.Pow(c.Job.Flow/c.Slowest, float64(step)/steps)
	}
	for low < high {
		step := (low + high + 1) / 2
		over := 0
		for n := range uint64(tries) {
			p, _, err := c.one(Practised, practiceSeed+n, pour.Habit{}, flow(step), nil)
			if err != nil {
				return 0, err
			}
			if p.final > c.High {
				over++
			}
		}
		if 20*over <= tries {
			low = step
		} else {
			high = step - 1
		}
	}
	return flow(low), nil
}

// Limit is the largest deviation of one fill in service for OIML R 61 class X(1), in grams (R 61-1, Table 1; UK SI
// 2000/388, Schedule 5). Class X(x) has x times it.
func Limit(fill float64) float64 {
	switch {
	case fill <= 50:
		return 0.09 * fill
	case fill <= 100:
		return 4.5
	case fill <= 200:
		return 0.045 * fill
	case fill <= 300:
		return 9
	case fill <= 500:
		return 0.03 * fill
	case fill <= 1000:
		return 15
	case fill <= 10_000:
		return 0.015 * fill
	case fill <= 15_000:
		return 150
	}
	return 0.01 * fill
}
