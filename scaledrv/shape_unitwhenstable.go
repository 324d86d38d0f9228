package scaledrv

import (
	"bytes"
	"fmt"

	"twocup/scaledrv/reading"
)

func newUnitWhenStable(opt ShapeOptions) (Shape, error) {
	return Shape{"unit-when-stable", opt, func() format {
		s := &lastUnit{unit: opt.Unit, trusted: opt.Unit != reading.UnitNone}
		return format{new(lines), text(s.read)}
	}}, nil
}

// The columns of unit-when-stable: a head by setting, then sign, number, a blank, and the unit.
const (
	headColumns   = 6
	weightColumns = 14
	unitColumns   = 4
)

// lastUnit reads lines of fixed columns such as "N     +   123.45 g  " (common practice, no source). The unit is printed
// only while the scale is stable; while it moves, the last one holds, and a display may blank its last digit:
// "      +   123.4     ". High, Low and Err with a number stand in the weight's place. The head is N, G, T (the tare: no
// weight), Stat or blank, or there is none.
//
// A wrong unit is a wrong weight. So a unit holds for moving lines once two stable lines in a row have stated it, and as
// long as the mark of the number stays in its column: when it doesn't, the unit may have been changed at the scale, and
// moving lines carry no weight until two stable lines agree again. Before the first stable line the unit of the
// options holds.
//
// What damage can pass: a line with a character lost or too many is rejected by its length. Of the flips of one bit in a
// digit at most 3 in 8 make another digit, and those are not seen. Neither is a change of unit in motion to one whose
// mark stands in the same column, until the scale is stable.
type lastUnit struct {
	unit    reading.Unit
	mark    int // its column in the weight of the line that stated the unit; 0: not known yet
	trusted bool
}

func (s *lastUnit) read(line []byte, p *parsed) error {
	if len(line) != weightColumns && len(line) != headColumns+weightColumns {
		return fmt.Errorf("%d characters, not %d or, with a head, %d", len(line), weightColumns, headColumns+weightColumns)
	}
	p.width = len(line)
	head, body := line[:len(line)-weightColumns], line[len(line)-weightColumns:]
	head = trimSpaces(head)
	switch string(head) {
	case "N":
		p.Kind = reading.Net
	case "G":
		p.Kind = reading.Gross
	case "T", "Stat", "":
	default:
		return fmt.Errorf("head %q is none of N, G, T, Stat", head)
	}
	if p.State = wordOfState(trimSpaces(skipSpaces(body))); p.State != reading.Normal {
		return nil
	}
	if err := s.readBody(body, &p.Reading); err != nil {
		return err
	}
	p.blanked = p.Motion == reading.Moving
	if string(head) == "T" {
		return ErrNoReading // the tare itself
	}
	return nil
}

// wordOfState is what a word in the weight's place says.
func wordOfState(text []byte) reading.State {
	switch {
	case string(text) == "High":
		return reading.Over
	case string(text) == "Low":
		return reading.Under
	case bytes.HasPrefix(text, []byte("Err ")) && countDigits(skipSpaces(text[4:])) == len(skipSpaces(text[4:])):
		return reading.Fault
	}
	return reading.Normal
}

// readBody fills in weight and motion.
func (s *lastUnit) readBody(body []byte, r *reading.Reading) error {
	v, negative, rest, err := cutNumber(body)
	switch {
	case err != nil:
		return fmt.Errorf("weight %q: %w", body, err)
	case len(rest) < unitColumns:
		return fmt.Errorf("weight %q: the number reaches into the columns of the unit", body)
	}
	mark := len(body) - len(rest)
	if v.Decimals > 0 {
		mark -= int(v.Decimals) + 1
	}
	field := trimSpaces(skipSpaces(rest))
	unit, ok := reading.UnitOf(field)
	switch {
	case v.Unit != reading.UnitNone:
		return fmt.Errorf("weight %q: %w", body, errSplit) // the columns have no room for it
	case ok:
		v.Unit, r.Motion = unit, reading.Stable
		if err := setWeight(v, negative, r); err != nil {
			return err
		}
		s.trusted = unit == s.unit && mark == s.mark
		s.unit, s.mark = unit, mark
		return nil
	case len(field) > 0:
		return fmt.Errorf("weight %q: %q is no unit of mass", body, field)
	default:
		if s.mark == 0 {
			s.mark = mark
		}
		if s.trusted = s.trusted && mark == s.mark; !s.trusted {
			return ErrNoReading
		}
		v.Unit, r.Motion = s.unit, reading.Moving
		return setWeight(v, negative, r)
	}
}
