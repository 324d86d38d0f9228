package scaledrv

import (
	"fmt"

	"twocup/scaledrv/reading"
)

func newStxWords(opt ShapeOptions) (Shape, error) {
	return Shape{"stx-words", opt, func() format {
		w := new(words)
		return format{w, w.read}
	}}, nil
}

// Bits of the status characters A, B and C (common practice, no source). Bit 5 is set in each of them.
const (
	alwaysSet = 0x20

	pointBits = 0x07 // of A: where the decimal point stands
	stepBits  = 0x18 // of A
	spareBits = 0x40 // of A

	isNet     = 0x01 // of B, as the next
	isMinus   = 0x02
	isOut     = 0x04 // over or, with the minus, under
	isMoving  = 0x08
	isKG      = 0x10 // else pounds, unless C says another unit
	notZeroed = 0x40 // since it was switched on

	unitBits = 0x07 // of C: 0 leaves it to B
)

var (
	wordSteps = [4]int64{1: 1, 2: 2, 3: 5}
	wordUnits = [8]reading.Unit{1: reading.UnitG, 2: reading.UnitT, 3: reading.UnitOZ}
)

// read reads a frame: STX, status A, B and C, six digits of the weight, six of the tare, CR, and perhaps a checksum, which
// the cutter has checked (common practice, no source). A scale that has not been zeroed since it was switched on gives no
// reading: what it shows is no weight of anything. Until three frames in a row have shown whether checksums are sent,
// there is no reading either. From then on a frame of the other kind is damage, until three in a row agree that the
// setting was changed.
//
// What damage can pass: with the checksum, no damage to a single character; of damage to several, as far as it is random,
// 1 in 128. Without it, of the flips of one bit in a digit at most 3 in 8 make another digit; of these only those pass
// that leave a multiple of the scale's step. A minus flipped, which is one bit of B, passes too. A frame with characters
// lost or too many is rejected in both cases.
func (w *words) read(frame []byte, p *parsed) error {
	a, b, c := frame[1], frame[2], frame[3]
	point, step, unit := a&pointBits, wordSteps[a&stepBits>>3], wordUnit(b, c)
	_, hasTare := sixDigits(frame[10:16])
	switch {
	case a&b&c&alwaysSet == 0 || a&spareBits != 0:
		return fmt.Errorf("status %q: bit 5 is not set in all, or bit 6 in the first", frame[1:4])
	case point == 0 || point > 5 || step == 0:
		return fmt.Errorf("status %q: no place of the point or no step", a)
	case unit == reading.UnitNone:
		return fmt.Errorf("status %q: no unit", c)
	case !hasTare:
		return fmt.Errorf("tare %q: no six digits", frame[10:16])
	}
	p.Motion, p.Kind, p.step = reading.Stable, reading.Gross, step
	if point == 1 {
		p.step = 10 * step
	}
	if b&isMoving != 0 {
		p.Motion = reading.Moving
	}
	if b&isNet != 0 {
		p.Kind = reading.Net
	}
	switch b & (isOut | isMinus) {
	case isOut:
		p.State = reading.Over
	case isOut | isMinus:
		p.State = reading.Under
	default:
		v, err := readWord(frame[4:10], point, step)
		if err != nil {
			return err
		}
		v.Unit = unit
		if err := setWeight(v, b&isMinus != 0, &p.Reading); err != nil {
			return err
		}
	}
	if w.setting == checksumsUnknown || b&notZeroed != 0 {
		return ErrNoReading
	}
	return nil
}

// wordUnit is the unit that B and C say, UnitNone where it is not known.
func wordUnit(b, c byte) reading.Unit {
	switch {
	case c&unitBits != 0:
		return wordUnits[c&unitBits]
	case b&isKG != 0:
		return reading.UnitKG
	}
	return reading.UnitLB
}

// readWord reads the six digits of the weight, without sign and unit.
func readWord(digits []byte, point byte, step int64) (v reading.Value, err error) {
	n, ok := sixDigits(digits)
	switch {
	case !ok:
		return v, fmt.Errorf("weight %q: no six digits", digits)
	case n%step != 0:
		return v, fmt.Errorf("weight %q: no multiple of the scale's step of %d", digits, step)
	case point == 1:
		return reading.Value{Digits: 10 * n}, nil
	}
	return reading.Value{Digits: n, Decimals: point - 2}, nil
}

// sixDigits reads digits that may be padded with blanks.
func sixDigits(field []byte) (n int64, ok bool) {
	for _, c := range field {
		switch {
		case c-'0' <= 9:
			n, ok = 10*n+int64(c-'0'), true
		case c != ' ' || ok:
			return 0, false
		}
	}
	return n, ok
}
