package scaledrv

import (
	"twocup/scaledrv/reading"
)

func newBare(opt ShapeOptions) (Shape, error) {
	return Shape{"bare", opt, func() format { return format{new(lines), text((&bare{unit: opt.Unit}).read)} }}, nil
}

// bare reads lines that are a number, with or without sign and unit, such as "123.45" or "+  123.45 g" (common practice,
// no source). A line without unit is in the one given. There is no state: the station judges by itself whether the scale
// is stable.
//
// What damage can pass: there is no redundancy. Of the flips of one bit in a digit at most 3 in 8 make another digit, and
// those are not seen. Where the scale pads its numbers, a line of another length is held back by the guard; where it
// does not, a line that has lost its first digits is a smaller weight.
type bare struct {
	unit reading.Unit
	padding
}

func (b *bare) read(line []byte, p *parsed) error {
	if err := readWeight(line, b.unit, &p.Reading); err != nil {
		return err
	}
	p.width = b.width(line, 0, len(trimSpaces(line)))
	return nil
}

// padding says whether a scale pads its numbers to one length. It does once a line had a blank, a plus or an idle zero
// before its number.
type padding bool

// width is a parsed's: the end of a number that begins at from or behind it, if the scale pads.
func (p *padding) width(line []byte, from, end int) int {
	first := from
	for first < end && (line[first] < '0' || line[first] > '9') {
		first++
	}
	before := first > 0 && (line[first-1] == ' ' || line[first-1] == '+')
	idle := line[first] == '0' && countDigits(line[first:end]) > 1
	if *p = *p || padding(before || idle); *p {
		return end
	}
	return 0
}
