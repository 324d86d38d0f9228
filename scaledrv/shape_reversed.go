package scaledrv

import (
	"errors"
	"fmt"

	"twocup/scaledrv/reading"
)

func newReversed(opt ShapeOptions) (Shape, error) {
	switch opt.Unit {
	case reading.UnitNone:
		return Shape{}, errors.New("shape: reversed states no unit: write the one that the scale shows, such as `unit: g`")
	case reading.UnitLBOZ:
		return Shape{}, errors.New("shape: reversed has no place for pounds and ounces: set the scale to another unit, and write it, such as `unit: lb`")
	}
	read := reversed(opt.Unit)
	return Shape{"reversed", opt, func() format { return format{new(sevens), text(read)} }}, nil
}

// reversed reads frames such as "=54.3210", which is 123.45: an equals sign and seven characters, the least significant
// first, a minus the last of them (common practice, no source). There is no state and no unit.
//
// What damage can pass: a frame with a character lost is rejected, one with a character too many where line ends stand
// between frames. The place of the mark is held by the guard. Of the flips of one bit in a digit at most 3 in 8 make
// another digit, and those are not seen.
func reversed(unit reading.Unit) func(frame []byte, p *parsed) error {
	return func(frame []byte, p *parsed) error {
		v := reading.Value{Unit: unit}
		mark, digits := 0, 0
		for i := len(frame) - 1; i > 0; i-- {
			switch c := frame[i]; {
			case c-'0' <= 9:
				v.Digits = 10*v.Digits + int64(c-'0')
				digits++
			case mark == 0 && digits > 0 && i > 1 && (c == '.' || c == ','):
				mark = i
			case digits > 0 || c != ' ' && (c != '-' || i < len(frame)-1):
				return fmt.Errorf("weight %q: other characters than digits, a mark between them, and in the end a minus", frame)
			}
		}
		if digits == 0 {
			return fmt.Errorf("weight %q: %w", frame, errNoNumber)
		}
		v.Decimals = uint8(max(mark-1, 0))
		p.width = len(frame)
		return setWeight(v, frame[len(frame)-1] == '-', &p.Reading)
	}
}
