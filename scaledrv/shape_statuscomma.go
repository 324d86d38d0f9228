package scaledrv

import (
	"bytes"
	"fmt"

	"twocup/scaledrv/reading"
)

func init() { shapes["status-comma"] = statusComma }

// statusComma reads lines such as "ST,NT,+00123.45  g": a status, a kind that may be missing, a number and its unit
// (common practice, no source).
func statusComma(line []byte) (reading.Reading, error) {
	if i := bytes.IndexFunc(line, unprintable); i >= 0 {
		return reading.Reading{}, fmt.Errorf("byte %#02x at %d is no text", line[i], i)
	}
	status, body, _ := bytes.Cut(line, []byte(","))
	kind, body := cutKind(body)
	var r reading.Reading
	switch string(kind) {
	case "GS":
		r.Kind = reading.Gross
	case "NT":
		r.Kind = reading.Net
	}
	switch string(status) {
	case "ST":
		r.Motion = reading.Stable
	case "US":
		r.Motion = reading.Moving
	case "QT":
		return reading.Reading{}, checkCount(body)
	case "OL":
		r.State = reading.Over
		return r, checkOutOfRange(body)
	case "UL":
		r.State = reading.Under
		return r, checkOutOfRange(body)
	default:
		return reading.Reading{}, fmt.Errorf("status %q is none of ST, US, OL, UL, QT", status)
	}
	if err := readWeight(body, &r); err != nil {
		return reading.Reading{}, err
	}
	if string(kind) == "TR" || string(kind) == "PT" {
		return reading.Reading{}, ErrNoReading // the tare itself
	}
	return r, nil
}

func unprintable(c rune) bool { return c < ' ' || c > '~' }

// cutKind takes the second field off, if it is a kind and not the number.
func cutKind(body []byte) (kind, rest []byte) {
	if field, after, ok := bytes.Cut(body, []byte(",")); ok {
		switch string(field) {
		case "GS", "NT", "TR", "PT":
			return field, after
		}
	}
	return nil, body
}

// readWeight fills in value and mass from the number and its unit.
func readWeight(body []byte, r *reading.Reading) error {
	value, rest, err := cutNumber(body)
	if err != nil {
		return fmt.Errorf("weight %q: %w", body, err)
	}
	symbol := bytes.Trim(rest, " ")
	if len(symbol) == 0 {
		return fmt.Errorf("weight %q: no unit (for a scale that sends none: the key unit is not built yet)", body)
	}
	unit, ok := reading.UnitOf(symbol)
	if !ok {
		return fmt.Errorf("weight %q: %q is no unit of mass", body, symbol)
	}
	value.Unit = unit
	mass, ok := value.Mass()
	if !ok {
		return fmt.Errorf("weight %q: beyond the 9223 kg that can be held", body)
	}
	r.Value, r.Mass = value, mass
	return nil
}

// checkCount reads a count of pieces, which is no weight, whatever its unit.
func checkCount(body []byte) error {
	_, rest, err := cutNumber(body)
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
	if rest := bytes.TrimLeft(bytes.TrimRight(body, letters+" "), "+-0123456789., "); len(rest) > 0 {
		return fmt.Errorf("weight out of range %q: %q has no place there", body, rest)
	}
	return nil
}
