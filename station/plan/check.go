package plan

import (
	"fmt"
)

// Level is how much a check speaks against starting.
type Level string

const (
	OK      Level = "ok"
	Caution Level = "caution"
	Stop    Level = "stop"
)

// Check is one thing looked at before anything is poured: the figure, the limit it was held against, and what to do.
type Check struct {
	ID     string `json:"id"`
	Level  Level  `json:"level"`
	Figure string `json:"figure"`
	Limit  string `json:"limit"`
	Do     string `json:"do"` // empty when ok
}

// resolution is whether the scale can prove the ratio of this batch: stop where B's window holds no step, caution below
// the smallest batch that can be proved and poured.
func (p Plan) resolution(provable bool, uPct float64) Check {
	c := Check{ID: "resolution", Level: OK,
		Figure: fmt.Sprintf("A + B %s, uncertainty of the ratio %s %%", p.ABG, short(rounded(uPct, 3))),
		Limit:  fmt.Sprintf("tolerance %s to %s %%, smallest batch %s", short(p.TolerancePct.LowPct), short(p.TolerancePct.HighPct), p.smallestText()),
	}
	switch {
	case !provable:
		c.Level, c.Do = Stop, "no step of the display proves this ratio: "+p.finer()
	case p.PourableG == nil || p.ABG < *p.PourableG:
		c.Level, c.Do = Caution, "little room for the hand: "+p.finer()
	}
	return c
}

// finer is what makes a ratio easier to prove.
func (p Plan) finer() string {
	if p.PourableG == nil {
		return "the densities are too coarse for this tolerance; enter them with more digits, or the ratio by weight"
	}
	advice := fmt.Sprintf("make at least %s, or use a scale with a finer division", p.PourableG)
	if p.Scale.Repeatability == 0 {
		advice += ", or measure this one's repeatability (the same cup on and off ten times)"
	}
	return advice
}

func (p Plan) smallestText() string {
	if p.PourableG == nil {
		return "none"
	}
	return p.PourableG.String()
}

// capacity is whether A and B alone are more than the scale can carry.
func (p Plan) capacity() Check {
	c := Check{ID: "capacity", Level: OK, Figure: "A + B " + p.ABG.String() + ", without the cup", Limit: "capacity " + p.Scale.Capacity.String()}
	if p.ABG > p.Scale.Capacity {
		c.Level, c.Do = Stop, "make less, or use a larger scale"
	}
	return c
}

// outright are the checks whose stop nobody can override.
var outright = map[string]bool{"capacity": true}

// Refusal is why this plan can't be started at all; nil where it can, be it with an override.
func (p Plan) Refusal() error {
	for _, c := range p.Checks {
		if c.Level == Stop && outright[c.ID] {
			return fmt.Errorf("start a batch of %s: %s, %s; %s", p.Material, c.Figure, c.Limit, c.Do)
		}
	}
	return nil
}

// OpenChecks are the ids of the checks that say stop and can be overridden.
func (p Plan) OpenChecks() []string {
	var ids []string
	for _, c := range p.Checks {
		if c.Level == Stop && !outright[c.ID] {
			ids = append(ids, c.ID)
		}
	}
	return ids
}
