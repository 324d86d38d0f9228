package simulator

import (
	"errors"
	"fmt"

	"twocup/scaledrv/reading"
)

// Tare presses the scale's TARE key. It works only while the scale is stable.
func (b *Bench) Tare() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.scale.pressTare()
}

// Zero presses the scale's ZERO key. It works only while the scale is stable, and within 2 % of capacity.
func (b *Bench) Zero() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.scale.pressZero()
}

// Unit presses the scale's unit key until the display is in this unit of package reading, with the digits that a scale
// shows there: the same division where a decimal number gives it and the line has room, else the next coarser 1, 2 or 5 in a
// decimal place.
func (b *Bench) Unit(symbol string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.scale.off {
		return errors.New("press the unit key: the scale is off (switch it on)")
	}
	face, format, err := unitKey(b.opt.Scale, symbol)
	if err != nil {
		return fmt.Errorf("press the unit key: %w", err)
	}
	b.format = format
	b.scale.show(face)
	b.fresh = false // what was shown counts other divisions
	return nil
}

// Power switches the scale off, in the middle of a line if need be, or on: then whatever stands on the pan is zero.
func (b *Bench) Power(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.power(on)
	if !on {
		b.wire.cut()
	}
}

func (b *Bench) power(on bool) {
	b.scale.power(on)
	if !on {
		b.fresh, b.asked = false, 0
		b.inbox.clear()
	}
}

// Freeze hangs the scale's converter, or frees it: the scale goes on sending the last value, and calls it moving.
func (b *Bench) Freeze(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.frozen = on
}

// Fault makes the scale report a fault of its own in place of a weight, or ends that. A shape without a word for it sends
// nothing meanwhile.
func (b *Bench) Fault(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.scale.fault = on
}

// unitKey is the face of another unit, and its lines. The error is that of the finest step.
func unitKey(opt ScaleOptions, symbol string) (face, *lineFormat, error) {
	var finest error
	division := opt.Division
	for range 10 { // a thousand times as coarse
		f, _, err := newFace(symbol, division)
		if err != nil {
			return f, nil, err
		}
		format, err := newLineFormat(opt, f)
		if err == nil {
			return f, format, nil
		}
		if finest == nil {
			finest = err
		}
		division = reading.Mass(f.division) + 1
	}
	return face{}, nil, finest
}
