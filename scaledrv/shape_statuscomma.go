package scaledrv

import (
	"bytes"
	"fmt"

	"twocup/scaledrv/reading"
)

func newStatusComma(opt ShapeOptions) (Shape, error) {
	read := statusComma(opt.Unit)
	return Shape{"status-comma", opt, func() format { return format{new(lines), text(read)} }}, nil
}

// statusComma reads lines such as "ST,NT,+00123.45  g": a status, a kind that may be missing, a number and its unit
// (common practice, no source). A line without unit is in the one given.
func statusComma(unit reading.Unit) func(line []byte, p *parsed) error {
	return func(line []byte, p *parsed) error {
		status, body := cutField(line)
		kind, body := cutKind(body)
		p.width = len(line)
		switch string(kind) {
		case "GS":
			p.Kind = reading.Gross
		case "NT":
			p.Kind = reading.Net
		}
		switch string(status) {
		case "ST":
			p.Motion = reading.Stable
		case "US":
			p.Motion = reading.Moving
		case "QT":
			return checkCount(body)
		case "OL":
			p.State = reading.Over
			return checkOutOfRange(body)
		case "UL":
			p.State = reading.Under
			return checkOutOfRange(body)
		default:
			return fmt.Errorf("status %q is none of ST, US, OL, UL, QT", status)
		}
		if err := readWeight(body, unit, &p.Reading); err != nil {
			return err
		}
		if string(kind) == "TR" || string(kind) == "PT" {
			return ErrNoReading // the tare itself
		}
		return nil
	}
}

// cutField takes off what stands before the first comma: two letters in a whole line.
func cutField(line []byte) (field, rest []byte) {
	if len(line) > 2 && line[2] == ',' && line[0] != ',' && line[1] != ',' {
		return line[:2], line[3:]
	}
	field, rest, _ = bytes.Cut(line, []byte(","))
	return field, rest
}

// cutKind takes the second field off, if it is a kind and not the number.
func cutKind(body []byte) (kind, rest []byte) {
	field, after := cutField(body)
	switch string(field) {
	case "GS", "NT", "TR", "PT":
		if len(field) < len(body) {
			return field, after
		}
	}
	return nil, body
}

// readWeight fills in value and mass from a number and its unit, after which nothing may stand.
func readWeight(body []byte, unit reading.Unit, r *reading.Reading) error {
	rest, err := cutWeight(body, unit, r)
	if err != nil {
		return fmt.Errorf("weight %q: %w", body, err)
	}
	if rest = skipSpaces(rest); len(rest) > 0 {
		return fmt.Errorf("weight %q: %q is no unit of mass", body, rest)
	}
	return nil
}

// checkCount reads a count of pieces, which is no weight, whatever its unit.
func checkCount(body []byte) error {
	_, _, rest, err := cutNumber(body)
	if err != nil {
		return fmt.Errorf("count %q: %w", body, err)
	}
	if len(bytes.Trim(rest, letters+" ")) > 0 {
		return fmt.Errorf("count %q: %q follows the number", body, rest)
	}
	return ErrNoReading
}

const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"

// checkOutOfRange reads what stands in the place of a weight outside the range: a number of no meaning, dashes or
// nothing, and perhaps the unit.
func checkOutOfRange(body []byte) error {
	if rest := bytes.TrimLeft(bytes.TrimRight(body, letters+" :"), "+-0123456789.,: "); len(rest) > 0 {
		return fmt.Errorf("weight out of range %q: %q has no place there", body, rest)
	}
	return nil
}
