package scaledrv

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"twocup/scaledrv/reading"
)

var (
	errNoNumber = errors.New("no number with digits on each side of its mark")
	errTooLong  = errors.New("more digits than a value holds")
	errNoUnit   = errors.New(`no unit (for a scale that sends none, state "unit" in its entry)`)
	errSplit    = errors.New("not whole pounds with less than 16 ounces")
	errTooHeavy = errors.New("beyond the 9223 kg that can be held")
)

// text reads lines of printable ASCII. A byte of wrong parity comes as NUL, and 7 bits read as 8 have bit 7 set: read finds
// no place for such bytes by itself, and here the rejection gets its reason.
func text(read func(line []byte, p *parsed) error) func(line []byte, p *parsed) error {
	return func(line []byte, p *parsed) error {
		err := read(line, p)
		if err == nil || err == ErrNoReading {
			return err
		}
		for i, c := range line {
			if c < ' ' || c > '~' {
				return fmt.Errorf("byte %#02x at %d is no text", c, i)
			}
		}
		return err
	}
}

// cutWeight reads the number and its unit at the beginning of text into r; rest begins after the unit. Where no unit
// follows, the weight is in the fallback, or refused if that is UnitNone. Pounds and ounces of a split display are
// parted by a colon, "2:03.5 lb:oz", or have a unit each, "2 lb 3.5 oz".
func cutWeight(text []byte, fallback reading.Unit, r *reading.Reading) (rest []byte, err error) {
	v, negative, rest, err := cutNumber(text)
	if err != nil {
		return nil, err
	}
	split := v.Unit == reading.UnitLBOZ
	unit, after := cutUnit(rest)
	switch {
	case unit == reading.UnitNone && fallback == reading.UnitNone && !split:
		if word := skipSpaces(rest); len(word) > 0 {
			return nil, fmt.Errorf("%q is no unit of mass", word)
		}
		return nil, errNoUnit
	case split && unit != reading.UnitLBOZ && unit != reading.UnitNone, !split && cmp.Or(unit, fallback) == reading.UnitLBOZ:
		return nil, errSplit
	case split || unit == reading.UnitNone:
	case unit == reading.UnitLB && countDigits(skipSpaces(after)) > 0:
		if v, after, err = cutOunces(v, skipSpaces(after)); err != nil {
			return nil, err
		}
	default:
		v.Unit = unit
	}
	if v.Unit == reading.UnitNone {
		v.Unit = fallback
	}
	return after, setWeight(v, negative, r)
}

// setWeight fills in the value, with its sign, and its mass.
func setWeight(v reading.Value, negative bool, r *reading.Reading) error {
	if negative {
		v.Digits = -v.Digits
	}
	mass, ok := v.Mass()
	if !ok {
		return errTooHeavy
	}
	r.Value, r.Mass = v, mass
	return nil
}

// cutOunces reads the "3.5 oz" of "2 lb 3.5 oz".
func cutOunces(pounds reading.Value, text []byte) (v reading.Value, rest []byte, err error) {
	ounces, rest, err := cutDigits(text)
	if err != nil {
		return v, nil, err
	}
	unit, rest := cutUnit(rest)
	v, ok := ounces.AddPounds(pounds.Digits)
	if !ok || unit != reading.UnitOZ || pounds.Decimals > 0 {
		return v, nil, errSplit
	}
	return v, rest, nil
}

// cutUnit takes a unit's word off, with the spaces before it; text stays whole where the word is none.
func cutUnit(text []byte) (u reading.Unit, rest []byte) {
	word := skipSpaces(text)
	n := 0
	for n < len(word) && isUnitByte(word[n]) {
		n++
	}
	if n == 0 {
		return reading.UnitNone, text
	}
	if u, ok := reading.UnitOf(word[:n]); ok {
		return u, word[n:]
	}
	return reading.UnitNone, text
}

func isUnitByte(c byte) bool { return 'a' <= c|0x20 && c|0x20 <= 'z' || c == ':' }

// cutNumber reads the number at the beginning of text, as scales print it: padding, a sign that may stand apart, digits,
// and a point or a comma with more digits. The value has no sign and no unit yet, but that of a split display where a
// colon parts its pounds from its ounces; rest begins after the last digit.
func cutNumber(text []byte) (v reading.Value, negative bool, rest []byte, err error) {
	text = skipSpaces(text)
	if len(text) > 0 && (text[0] == '+' || text[0] == '-') {
		negative = text[0] == '-'
		text = skipSpaces(text[1:])
	}
	v, rest, err = cutDigits(text)
	if err != nil || len(rest) == 0 || rest[0] != ':' {
		return v, negative, rest, err
	}
	ounces, rest, err := cutDigits(rest[1:])
	if err != nil {
		return v, negative, nil, err
	}
	both, ok := ounces.AddPounds(v.Digits)
	if !ok || v.Decimals > 0 {
		return v, negative, nil, errSplit
	}
	return both, negative, rest, nil
}

// cutDigits reads digits and perhaps a point or a comma with more digits.
func cutDigits(text []byte) (v reading.Value, rest []byte, err error) {
	var digits int64
	n, mark := len(text), -1
	for i, c := range text {
		if c-'0' <= 9 {
			if digits > (math.MaxInt64-9)/10 {
				return v, nil, errTooLong
			}
			digits = 10*digits + int64(c-'0')
			continue
		}
		if mark >= 0 || c != '.' && c != ',' {
			n = i
			break
		}
		mark = i
	}
	decimals := 0
	if mark >= 0 {
		decimals = n - mark - 1
	}
	switch {
	case n == 0 || mark == 0 || mark == n-1:
		return v, nil, errNoNumber
	case decimals > reading.MaxDecimals:
		return v, nil, errTooLong
	}
	return reading.Value{Digits: digits, Decimals: uint8(decimals)}, text[n:], nil
}

func skipSpaces(text []byte) []byte {
	for len(text) > 0 && text[0] == ' ' {
		text = text[1:]
	}
	return text
}

func trimSpaces(text []byte) []byte {
	for len(text) > 0 && text[len(text)-1] == ' ' {
		text = text[:len(text)-1]
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
