package rehearse

import (
	"fmt"
	"math"
	"time"

	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station/material"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// Job is what is poured, and from what. Masses in grams, flows in grams per second. The table was fixed before any tuning.
type Job struct {
	Name    string  `json:"name"`
	Part    float64 `json:"part_g"`    // of B; A is twice as much
	Flow    float64 `json:"flow_g_s"`  // the most that the vessel gives
	Slowest float64 `json:"slowest"`   // share of the liquid's slowest steady flow: a wide lip gives more, a nozzle less
	Scoop   float64 `json:"scoop_g"`   // of a ladle; 0: it is no ladle
	Closing float64 `json:"closing_s"` // time constant of a tap that is closed; 0: a vessel that is righted
}

// Jobs of the grid: 0.05 to 200 g/s, 0.5 g to 20 kg, by drops, bottle, jug, ladle and tap.
var Jobs = []Job{
	{Name: "drops", Part: 0.5, Flow: 0.05, Slowest: 0.05},
	{Name: "bottle", Part: 5, Flow: 1, Slowest: 0.3},
	{Name: "bottle", Part: 20, Flow: 3, Slowest: 0.3},
	{Name: "jug", Part: 50, Flow: 8, Slowest: 1},
	{Name: "jug", Part: 100, Flow: 12, Slowest: 1},
	{Name: "jug", Part: 300, Flow: 25, Slowest: 1},
	{Name: "jug", Part: 1000, Flow: 50, Slowest: 2},
	{Name: "ladle", Part: 100, Flow: 40, Slowest: 1, Scoop: 10},
	{Name: "ladle", Part: 1000, Flow: 100, Slowest: 1, Scoop: 50},
	{Name: "tap", Part: 1000, Flow: 40, Slowest: 2, Closing: 0.35},
	{Name: "tap", Part: 5000, Flow: 100, Slowest: 4, Closing: 0.35},
	{Name: "drum tap", Part: 20000, Flow: 200, Slowest: 6, Closing: 0.35},
}

// Liquid is how a liquid runs, as simulator.Liquid has it but for the vessel's own share.
type Liquid struct {
	Name      string  `json:"name"`
	Viscosity string  `json:"viscosity"`   // as its card says
	Slowest   float64 `json:"slowest_g_s"` // steady, from a jug
	Drop      float64 `json:"drop_g"`
	Ramp      float64 `json:"ramp_s"`
	Tail      float64 `json:"tail_s"` // time constant
	Lip       float64 `json:"lip"`    // share of the flow that takes the way along the lip
}

// Liquids of the grid, from water to a very thick resin. Drops: Tate's law as in simulator.Liquid. The rest is ours.
var Liquids = []Liquid{
	{Name: "thin", Viscosity: "thin", Slowest: 0.8, Drop: 0.024, Ramp: 0.12, Tail: 0.25, Lip: 0.04},
	{Name: "thick", Viscosity: "thick", Slowest: 0.2, Drop: 0.024, Ramp: 0.35, Tail: 1.5, Lip: 0.2},
	{Name: "very thick", Viscosity: "paste", Slowest: 0.1, Drop: 0.05, Ramp: 0.6, Tail: 3, Lip: 0.25},
}

// Scale of the grid.
type Scale struct {
	Division float64 `json:"division_g"`
	Capacity float64 `json:"capacity_g"`
	Rate     float64 `json:"rate_hz"`
	Lag      float64 `json:"lag_s"`
	Noise    float64 `json:"noise_d"` // standard deviation before rounding, so that the display comes to rest at its rate
}

// Scales of the grid: three divisions, four kinds of electronics.
var Scales = crossScales(
	[]Scale{{Division: 0.01, Capacity: 2000}, {Division: 0.1, Capacity: 6000}, {Division: 1, Capacity: 150000}},
	[]Scale{{Rate: 5, Lag: 1, Noise: 0.3}, {Rate: 10, Lag: 0.3, Noise: 0.3}, {Rate: 20, Lag: 0.5, Noise: 0.2}, {Rate: 50, Lag: 0.1, Noise: 0.12}},
)

func crossScales(loads, electronics []Scale) (all []Scale) {
	for _, l := range loads {
		for _, e := range electronics {
			all = append(all, Scale{Division: l.Division, Capacity: l.Capacity, Rate: e.Rate, Lag: e.Lag, Noise: e.Noise})
		}
	}
	return all
}

// Person of the grid.
type Person struct {
	Reaction   float64 `json:"reaction_s"`
	ReactionSD float64 `json:"reaction_sd_s"` // of this person's own: 0.15 of the reaction, ours
}

// People of the grid: corrective reaction of a hand to what the eye sees, mean 273 ms, 87 to 441 ms between people (Lin,
// Drury et al., Ergonomics 57, 2014).
var People = []Person{{0.273, 0.041}, {0.087, 0.013}, {0.441, 0.066}}

// Cell is one place of the grid.
type Cell struct {
	Job    Job    `json:"job"`
	Liquid Liquid `json:"liquid"`
	Scale  Scale  `json:"scale"`
	Person Person `json:"person"`

	Early bool `json:"early,omitempty"` // the practised hand stops at the window's low end and not at the target

	Low     float64 `json:"low_g"` // window of B
	High    float64 `json:"high_g"`
	Slowest float64 `json:"slowest_g_s"` // steady flow
	Floor   float64 `json:"floor_g"`     // σ: slowest flow × reaction sd, one division and one drop, evened out
	Counts  bool    `json:"counts"`      // half the window is at least 2 d and 3 σ
}

// Name of the cell in one line.
func (c Cell) Name() string {
	return fmt.Sprintf("%s %g g at %g g/s, %s, d %g g %g Hz lag %g s, reaction %g s",
		c.Job.Name, c.Job.Part, c.Job.Flow, c.Liquid.Name, c.Scale.Division, c.Scale.Rate, c.Scale.Lag, c.Person.Reaction)
}

// most and least divisions of a part that is worth weighing on a scale: below, nobody would; above, no such scale exists.
const (
	leastDivisions = 40
	mostDivisions  = 60000
)

// Grid is every job with every liquid that runs so, every scale that bears it and every person.
func Grid() (cells []Cell, err error) {
	for _, job := range Jobs {
		for _, liquid := range Liquids {
			if job.Scoop > 0 != (liquid.Name == "very thick") && job.Scoop > 0 || job.Name == "drops" && liquid.Name != "thin" {
				continue // a ladle is for what does not run
			}
			for _, scale := range Scales {
				if steps := job.Part / scale.Division; steps < leastDivisions || steps > mostDivisions || 3.2*job.Part > scale.Capacity {
					continue
				}
				for _, person := range People {
					c := Cell{Job: job, Liquid: liquid, Scale: scale, Person: person}
					if err := c.fix(); err != nil {
						return nil, err
					}
					cells = append(cells, c)
				}
			}
		}
	}
	return cells, nil
}

// fix works out what follows from the cell's figures: a material of 100 : 50 by weight with ±2 % of B, for A as planned.
func (c *Cell) fix() error {
	d, _ := reading.FromGrams(c.Scale.Division)
	part, _ := reading.FromGrams(c.Job.Part)
	capacity, _ := reading.FromGrams(c.Scale.Capacity)
	card := material.Card{ID: "rehearsal", Name: "Rehearsal", Ratio: material.Ratio{Weight: &material.Parts{A: "100", B: "50"}}}
	p, err := plan.Make(card, 1, plan.Amount{PartBG: &part}, &plan.Scale{ID: "bench", Division: d, Capacity: capacity})
	if err != nil {
		return fmt.Errorf("plan the rehearsal of %s: %w", c.Name(), err)
	}
	a := metrology.Weighing{Part: "A", Mass: 2 * part, FromD: d, ToD: d}
	b, provable := p.PartB([]metrology.Weighing{a}, metrology.Weighing{FromD: d, ToD: d, Shared: true})
	c.Low, c.High = b.Low.Grams(), b.High.Grams()
	c.Slowest = min(c.Liquid.Slowest*c.Job.Slowest, c.Job.Flow/2)
	c.Floor = math.Sqrt(square(c.Slowest*c.Person.ReactionSD) + square(c.Scale.Division)/12 + square(c.Liquid.Drop)/12)
	c.Counts = provable && (c.High-c.Low)/2 >= max(2*c.Scale.Division, 3*c.Floor)
	return nil
}

func square(x float64) float64 { return x * x }

// aim is the cell's part as the guidance takes it.
func (c Cell) aim() pour.Aim {
	tail := pour.FirstHabit(c.Liquid.Viscosity).Tail.Longest()
	return pour.Aim{Target: grams(c.Job.Part), Low: grams(c.Low), High: grams(c.High), Tail: tail}
}

func grams(g float64) reading.Mass {
	m, _ := reading.FromGrams(g)
	return m
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// liquid is the cell's in its vessel.
func (c Cell) liquid() simulator.Liquid {
	most := c.Job.Flow * 1.25
	liquid := simulator.Liquid{
		Max: most, Slowest: c.Slowest, Ramp: seconds(c.Liquid.Ramp + c.Job.Closing), Drop: grams(c.Liquid.Drop),
		Tail: grams(c.Liquid.Lip * most * c.Liquid.Tail), TailFor: seconds(c.Liquid.Tail),
	}
	if c.Job.Scoop > 0 { // a lump is off the ladle at once
		liquid.Ramp, liquid.Tail = 30*time.Millisecond, 0
	}
	return liquid
}

// trial sets the cell's bench up.
func (c Cell) trial(seed uint64) (*simulator.Trial, error) {
	return simulator.NewTrial(simulator.TrialOptions{
		Seed: seed,
		Scale: simulator.ScaleOptions{
			Division: grams(c.Scale.Division), Capacity: grams(c.Scale.Capacity), RateHz: c.Scale.Rate, Lag: seconds(c.Scale.Lag), NoiseSD: c.Scale.Noise,
		},
		Hand:   simulator.HandOptions{Reaction: seconds(c.Person.Reaction), ReactionSD: seconds(c.Person.ReactionSD), Flow: c.Job.Flow, Dribble: c.Slowest},
		Liquid: c.liquid(),
		Cup:    grams(max(5, c.Job.Part/10, 20*c.Scale.Division)),
	})
}
