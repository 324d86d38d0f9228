package simulator

import (
	"math"
	"math/rand/v2"
	"time"

	"twocup/scaledrv/reading"
)

// cup is the vessel on the pan or in a hand, with what is in it of each part.
type cup struct {
	empty    reading.Mass
	contents masses
	there    bool // there is a cup at all
	on       bool // it stands on the pan
	placed   time.Duration
}

// newCup is a cup of a mass within a few percent of the usual one, as cups from one stack are.
func newCup(usual reading.Mass, random *rand.Rand) cup {
	spread := math.Round(0.02 * float64(usual) * max(-3, min(random.NormFloat64(), 3)))
	return cup{empty: usual + reading.Mass(spread), there: true}
}

func (c *cup) mass() reading.Mass { return c.empty + c.contents.sum() }

func (c *cup) used() bool { return c.contents != masses{} }

// load is the force on the pan as a mass: the cup and, while it is being set down, the knock that dies away. Shape and
// size of the knock are ours.
func (c *cup) load(now time.Duration) float64 {
	if !c.on {
		return 0
	}
	mass := float64(c.mass())
	if since := (now - c.placed).Seconds(); since < 0.6 {
		mass *= 1 + 0.5*math.Exp(-since/0.08)*math.Cos(2*math.Pi*6*since)
	}
	return mass
}
