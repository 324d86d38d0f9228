package scaledrv

import (
	"context"
	"errors"

	"twocup/scaledrv/reading"
)

// newAuto is the shape of a scale that is still to be identified.
func newAuto(opt ShapeOptions) (Shape, error) { return Shape{name: "auto", opt: opt}, nil }

func (s Shape) isAuto() bool { return s.open == nil }

// auto is what a driver reads: as configured, or as found.
type auto struct {
	link  Link
	shape Shape
	found Candidate
	steps *steps // while the division may turn out to be another; nil with a configured shape
}

// follow takes the value of a reading and gives what was found once its division is known with it, and again where that
// turns out to be finer: a dozen even values may be chance.
func (a *auto) follow(v reading.Value) *Candidate {
	d := a.found.Division
	switch {
	case a.steps == nil:
		return nil
	case v.Unit != d.Unit && !a.found.DivisionSure: // changed at the scale before its step was known
		d = reading.Value{Digits: 1, Decimals: v.Decimals, Unit: v.Unit}
		a.steps, a.found.Division = new(steps), d
	case v.Unit != d.Unit || v.Decimals != d.Decimals: // also of a display that leaves out its last digit while it moves
		return nil
	}
	a.steps.take(v.Digits, 0)
	step, sure := a.steps.division()
	if !sure || a.found.DivisionSure && step >= d.Digits {
		return nil
	}
	if step == 1 {
		a.steps = nil // there is nothing finer
	}
	a.found.Division.Digits, a.found.DivisionSure = step, true
	found := a.found
	return &found
}

// identified says whether it is known how the scale speaks. Where its shape is auto, it tries to find that out.
func (d *Driver) identified(ctx context.Context) bool {
	if d.auto.link != nil {
		return true
	}
	id, err := Identify(ctx, d.link, IdentifyOptions{Unit: d.shape.opt.Unit, Request: string(d.opt.Request), Progress: func(string) {
		if d.doubt == "" { // else it stays: it says what to do meanwhile
			d.down(ctx, "The scale's line is being identified: wait, or put something on the pan")
		}
	}})
	d.doubt = ""
	switch {
	case ctx.Err() != nil:
	case err != nil:
		d.lost(ctx, linkError("open", d.link.Name(), err))
	case !id.Sure:
		d.doubt = id.doubt()
	case id.Candidates[0].Unit == reading.UnitNone:
		d.doubt = "The scale's lines are " + id.Candidates[0].Shape + " and state no unit: state `unit` in its entry"
	default:
		d.settle(ctx, id.Candidates[0])
		return true
	}
	if d.doubt != "" {
		d.down(ctx, d.doubt)
	}
	return false
}

// doubt is an identification that is not sure, in a sentence.
func (id Identification) doubt() string {
	if len(id.Candidates) == 0 {
		return "It is not found how the scale speaks. " + id.Advice
	}
	return "It is not sure how the scale speaks. " + id.Advice
}

// settle makes what was found what is read, for the rest of the run.
func (d *Driver) settle(ctx context.Context, c Candidate) {
	shape, err := ShapeByName(c.Shape, ShapeOptions{Unit: d.shape.opt.Unit})
	if err != nil {
		d.down(ctx, err.Error())
		return
	}
	d.auto = auto{link: c.link(d.link), shape: shape, found: c}
	if !c.DivisionSure || c.Division.Digits > 1 {
		d.auto.steps = new(steps)
	}
	d.log.Info("scale found", "shape", c.Shape, "baud", c.Baud, "frame", c.Frame, "division", c.Division, "division_sure", c.DivisionSure)
	d.emit(ctx, Event{Link: LinkDown, Advice: d.advice, Found: &c})
}

// link is a link with the settings that were found.
func (c *Candidate) link(of Link) Link {
	if t, ok := of.(tuner); ok && c.Baud > 0 {
		return t.tuned(c.Baud, c.Frame)
	}
	return of
}

// down tells once why the link is down, where no error is the reason.
func (d *Driver) down(ctx context.Context, advice string) {
	if d.state == LinkDown && d.reason == advice {
		return
	}
	d.log.Info("scale is not read", "advice", advice)
	d.state, d.reason, d.advice = LinkDown, advice, advice
	d.emit(ctx, Event{Link: LinkDown, Advice: advice})
}

// call asks a driver for an identification.
type call struct {
	ctx    context.Context
	opt    IdentifyOptions
	answer chan<- answered
}

type answered struct {
	id  Identification
	err error
}

var (
	errCalled = errors.New("the port is wanted for an identification")
	errEnded  = errors.New("identify the scale: its driver has ended")
)

// Identify leaves the driver's port, identifies on the same link, and goes on as before. Meanwhile the link is down, with
// an advice that says why. The caller sees to it that no batch is on the scale. Errors are those of the function
// Identify; one says that the driver has ended.
func (d *Driver) Identify(ctx context.Context, opt IdentifyOptions) (Identification, error) {
	answer := make(chan answered, 1)
	select {
	case d.calls <- call{ctx, opt, answer}:
	case <-d.ended:
		return Identification{}, errEnded
	case <-ctx.Done():
		return Identification{}, ctx.Err()
	}
	d.wake()
	select {
	case a := <-answer:
		return a.id, a.err
	case <-d.ended:
		return Identification{}, errEnded
	case <-ctx.Done():
		return Identification{}, ctx.Err()
	}
}

// answer identifies for who called.
func (d *Driver) answer(ctx context.Context, c call) {
	d.down(ctx, "The scale's line is being identified: wait until that is done")
	asked, cancel := context.WithCancel(c.ctx)
	defer cancel()
	defer context.AfterFunc(ctx, cancel)()
	id, err := Identify(asked, d.link, c.opt)
	d.opened, d.wait, d.doubt = false, firstWait, ""
	c.answer <- answered{id, err}
}

// reads says which port is being read.
func (d *Driver) reads(port Port) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.port = port
}

// wake ends a Read that waits.
func (d *Driver) wake() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.port != nil {
		_ = d.port.SetReadDeadline(longAgo)
	}
}
