package simulator

import (
	"fmt"
	"time"

	"twocup/scaledrv/reading"
)

// TrialOptions is one vessel over one scale, and one person. Of the scale its line has no part in it.
type TrialOptions struct {
	Seed   uint64
	Scale  ScaleOptions
	Hand   HandOptions
	Liquid Liquid       // the zero Liquid means Thin
	Cup    reading.Mass // of the empty cup, with a spread of 2 %; 0 means 20 g
}

// Trial is the physics of a bench without line, station or cues, so that a pour takes a fraction of a millisecond:
// whoever steps it decides what the hand does. It starts with an empty pan. One goroutine alone may use it.
type Trial struct {
	now    time.Duration
	next   time.Duration // displayed value
	scale  *scale
	jug    jug
	stream stream
	cup    cup
	hand   hand
}

// Shown is a displayed value of a Trial.
type Shown struct {
	At     time.Duration // since the start
	Value  reading.Value
	Stable bool
}

// NewTrial sets up a trial. The error says which option cannot be.
func NewTrial(opt TrialOptions) (*Trial, error) {
	scaleOptions, err := opt.Scale.withDefaults()
	if err != nil {
		return nil, fmt.Errorf("set up the simulated scale: %w", err)
	}
	face, exact, err := newFace(scaleOptions.Unit, scaleOptions.Division)
	if err == nil && !exact {
		err = fmt.Errorf("division %v: no decimal of %d places in %v gives it (give one that is such a number)", scaleOptions.Division, mostDecimals, face.unit)
	}
	if err != nil {
		return nil, fmt.Errorf("set up the simulated scale: %w", err)
	}
	if opt.Hand, err = opt.Hand.withDefaults(); err != nil {
		return nil, fmt.Errorf("set up the simulated hand: %w", err)
	}
	orDefault(&opt.Liquid, Thin)
	if err := opt.Liquid.check(); err != nil {
		return nil, fmt.Errorf("set up the simulated vessel: %w", err)
	}
	orDefault(&opt.Cup, 20*reading.Gram)
	t := &Trial{scale: newScale(scaleOptions, face, opt.Seed), jug: newJug(opt.Liquid), hand: newHand(opt.Hand, opt.Seed)}
	t.cup = newCup(opt.Cup, t.hand.random)
	t.next = t.scale.period
	return t, nil
}

// Step lets one Step pass. It says whether the scale shows a new value.
func (t *Trial) Step() (shown Shown, fresh bool) {
	t.now += Step
	arriving := t.stream.step(masses{t.jug.step()})
	load := t.cup.load(t.now)
	if t.cup.on {
		t.cup.contents[partA] += arriving[partA]
		load += strike(arriving)
	}
	t.scale.step(load)
	if t.now < t.next {
		return Shown{}, false
	}
	t.next += t.scale.period
	d := t.scale.sample()
	f := t.scale.face
	value := reading.Value{Digits: d.divisions * f.perDivision, Decimals: uint8(f.decimals), Unit: f.unit}
	return Shown{At: t.now, Value: value, Stable: d.stable}, true
}

// Now is the time since the start.
func (t *Trial) Now() time.Duration { return t.now }

// Place puts the cup on the pan.
func (t *Trial) Place() { t.cup.on, t.cup.placed = true, t.now }

// Pour holds the vessel for one Step so that it gives a flow in grams per second, as steadily as a person does.
func (t *Trial) Pour(flow float64) { t.jug.tilt = t.jug.tip(t.hand.steady(flow)) }

// Right rights the vessel. What is on the lip still falls.
func (t *Trial) Right() { t.jug.tilt = 0 }

// Reaction is how long the person takes this time from seeing to moving.
func (t *Trial) Reaction() time.Duration { return t.hand.reaction() }

// Judge is a figure judged by this person's eye or feel: with a relative standard deviation sd, within three of them.
func (t *Trial) Judge(figure, sd float64) float64 {
	return figure * (1 + sd*max(-3, min(t.hand.random.NormFloat64(), 3)))
}

// Landed is the true mass that has been poured into the cup.
func (t *Trial) Landed() reading.Mass { return t.cup.contents[partA] }

// OnItsWay is the true mass between lip and cup.
func (t *Trial) OnItsWay() (m reading.Mass) {
	for _, f := range t.stream.falling {
		m += f[partA]
	}
	return m
}

// StillToCome is the true mass that will land if the vessel is righted now and stays so. Less than a drop stays hanging.
func (t *Trial) StillToCome() reading.Mass {
	inside := reading.Mass(t.jug.mouth.y * t.jug.liquid.Ramp.Seconds())
	return t.OnItsWay() + (inside + t.jug.film + t.jug.hanging).FloorTo(t.jug.liquid.Drop)
}

// OnLip is the true mass that has left the vessel's body and is still on its lip.
func (t *Trial) OnLip() reading.Mass { return t.jug.film + t.jug.hanging }

// Tipped is what leaves the vessel's body, in grams per second.
func (t *Trial) Tipped() float64 { return t.jug.mouth.y / float64(reading.Gram) }

// Flow is what leaves the vessel over its lip, in grams per second, drops evened out.
func (t *Trial) Flow() float64 {
	drained := float64(t.jug.film) * t.jug.drain / Step.Seconds()
	return (t.jug.mouth.y*(1-t.jug.share) + drained) / float64(reading.Gram)
}

// Behind is how far the display's filters are behind the load that acts on the pan, as a mass.
func (t *Trial) Behind() reading.Mass {
	return t.cup.mass() + t.OnItsWay() - reading.Mass(t.scale.filter.y)
}
