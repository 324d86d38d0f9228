package scaledrv

import (
	"errors"
	"math"

	"twocup/scaledrv/reading"
)

var (
	errNoNumber = errors.New("no number with digits on each side of its mark")
	errTooLong  = errors.New("more digits than a value holds")
)

// cutNumber reads the number at the beginning of text, as scales print it: padding, a sign that may stand apart, digits,
// and a point or a comma with more digits. The value has no unit yet; rest begins after the last digit.
func cutNumber(text []byte) (v reading.Value, rest []byte, err error) {
	text = skipSpaces(text)
	negative := false
	if len(text) > 0 && (text[0] == '+' || text[0] == '-') {
		negative = text[0] == '-'
		text = skipSpaces(text[1:])
	}
	whole := text[:countDigits(text)]
	rest = text[len(whole):]
	var fraction []byte
	marked := len(rest) > 0 && (rest[0] == '.' || rest[0] == ',')
	if marked {
		fraction = rest[1:][:countDigits(rest[1:])]
		rest = rest[1+len(fraction):]
	}
	switch {
	case len(whole) == 0 || marked && len(fraction) == 0:
		return v, nil, errNoNumber
	case len(fraction) > reading.MaxDecimals:
		return v, nil, errTooLong
	}
	v.Decimals = uint8(len(fraction))
	for _, part := range [2][]byte{whole, fraction} {
		for _, c := range part {
			if v.Digits > (math.MaxInt64-9)/10 {
				return v, nil, errTooLong
			}
			v.Digits = 10*v.Digits + int64(c-'0')
		}
	}
	if negative {
		v.Digits = -v.Digits
	}
	return v, rest, nil
}

func skipSpaces(text []byte) []byte {
	for len(text) > 0 && text[0] == ' ' {
		text = text[1:]
	}
	return text
}

func countDigits(text []byte) int {
	n := 0
	for n < len(text) && '0' <= text[n] && text[n] <= '9' {
		n++
	}
	return n
}
