package scaledrv

import (
	"errors"
	"fmt"

	"twocup/scaledrv/reading"
)

func newLetterStatus(opt ShapeOptions) (Shape, error) {
	read := letterStatus(opt.Unit)
	return Shape{"letter-status", opt, func() format { return format{new(lines), text(read)} }}, nil
}

// letterStatus reads lines such as "S S     100.00 g": an S, a letter for the status, a number in fixed columns and its
// unit (common practice, no source). "S +" is over, "S -" under, and "S I" says that there is no answer now. A line
// without unit is in the one given.
//
// What damage can pass: of the flips of one bit in a digit at most 3 in 8 make another digit (counted over the ten
// digits), and those are not seen. A line of another length is held back by the guard.
func letterStatus(unit reading.Unit) func(line []byte, p *parsed) error {
	return func(line []byte, p *parsed) error {
		line = trimSpaces(line)
		if len(line) < 3 || line[0] != 'S' || line[1] != ' ' {
			return errors.New("no S and a letter for the status at the beginning")
		}
		status, body := line[2], line[3:]
		p.width = len(line)
		switch {
		case status == 'S' && len(body) > 0 && body[0] == ' ':
			p.Motion = reading.Stable
		case status == 'D' && len(body) > 0 && body[0] == ' ':
			p.Motion = reading.Moving
		case status == '+' && len(body) == 0:
			p.State = reading.Over
			return nil
		case status == '-' && len(body) == 0:
			p.State = reading.Under
			return nil
		case status == 'I' && len(body) == 0:
			return ErrNoReading
		default:
			return fmt.Errorf("status %q, followed by %q, is none of S and D with a weight, +, -, I without", status, body)
		}
		return readWeight(body, unit, &p.Reading)
	}
}
