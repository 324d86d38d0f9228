package simulator

import (
	"fmt"

	"twocup/scaledrv/reading"
)

const (
	digitPlaces  = 8 // of the value field after its sign, the decimal mark among them
	lineLength   = len("ST,NT,+00123.45  g\r\n")
	mostDecimals = digitPlaces - 2 // at least one digit and the mark stand before them
)

// lineFormat writes displayed values in the shape status-comma.
type lineFormat struct {
	unit        string // three places wide
	decimals    int
	perDivision int64 // units of the last digit in one division
}

func newLineFormat(opt ScaleOptions) (lineFormat, error) {
	f := lineFormat{unit: "  g"}
	lastDigit := reading.Gram
	switch opt.Unit {
	case "g":
	case "kg":
		f.unit, lastDigit = " kg", reading.Kilogram
	default:
		return f, fmt.Errorf("unit %q: the simulated scale knows g and kg", opt.Unit)
	}
	for ; opt.Division%lastDigit != 0 && f.decimals < mostDecimals; f.decimals++ {
		lastDigit /= 10
	}
	f.perDivision = int64(opt.Division / lastDigit)
	most := int64(1)
	for range digitPlaces - min(f.decimals, 1) {
		most *= 10
	}
	if opt.Division%lastDigit != 0 || int64((opt.Capacity+9*opt.Division)/lastDigit) >= most {
		return f, fmt.Errorf("division %v with capacity %v in %s: does not fit the %d places of a line (give a coarser division or less capacity)",
			opt.Division, opt.Capacity, opt.Unit, digitPlaces)
	}
	return f, nil
}

// append appends one line of lineLength bytes: "ST,NT,+00123.45  g", CR, LF.
func (f lineFormat) append(b []byte, shown display) []byte {
	switch {
	case shown.over:
		b = append(b, "OL,"...)
	case shown.stable:
		b = append(b, "ST,"...)
	default:
		b = append(b, "US,"...)
	}
	if shown.net {
		b = append(b, "NT,"...)
	} else {
		b = append(b, "GS,"...)
	}
	b = f.appendValue(b, shown)
	b = append(b, f.unit...)
	return append(b, '\r', '\n')
}

// appendValue writes the value from its last digit to its first; nines stand for a load that has no value.
func (f lineFormat) appendValue(b []byte, shown display) []byte {
	sign, n := byte('+'), shown.divisions*f.perDivision
	if n < 0 {
		sign, n = '-', -n
	}
	if shown.over {
		sign = '+'
	}
	var field [1 + digitPlaces]byte
	field[0] = sign
	for place := digitPlaces; place > 0; place-- {
		switch {
		case f.decimals > 0 && place == digitPlaces-f.decimals:
			field[place] = '.'
		case shown.over:
			field[place] = '9'
		default:
			field[place] = byte('0' + n%10)
			n /= 10
		}
	}
	return append(b, field[:]...)
}
