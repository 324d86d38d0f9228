package reading

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// MaxDecimals is the largest number of digits after the mark that a Value holds.
const MaxDecimals = 9

var pow10 = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// Value is a number as a display shows it: digits, where the mark stands, and the unit. 123.450 kg is
// {123450, 3, UnitKG}, and 2:03.5 lb:oz, two pounds and 3.5 ounces, is {355, 1, UnitLBOZ}. It has no sign of zero: a
// scale's -0.00 is 0.00.
type Value struct {
	Digits   int64 // the number without its mark
	Decimals uint8 // digits after the mark, at most MaxDecimals
	Unit     Unit
}

// ParseValue reads a decimal number with its unit, such as "0.1 g" or "-12.50kg". Digits after the mark are kept.
func ParseValue(text string) (Value, error) {
	s := strings.TrimSpace(text)
	cut := strings.LastIndexAny(s, "0123456789.") + 1
	unit, err := ParseUnit(strings.TrimSpace(s[cut:]))
	if err != nil {
		return Value{}, fmt.Errorf("read mass %q: %w", text, err)
	}
	number := strings.TrimSpace(s[:cut])
	var v Value
	if unit == UnitLBOZ {
		v, err = parseSplit(number)
	} else {
		v, err = parseDecimal(number)
	}
	if err != nil {
		return Value{}, fmt.Errorf("read mass %q: %w", text, err)
	}
	v.Unit = unit
	return v, nil
}

// parseSplit reads pounds and ounces as a split display has them, "2:03.5".
func parseSplit(s string) (Value, error) {
	pounds, ounces, _ := strings.Cut(s, ":")
	unsigned, negative := strings.CutPrefix(pounds, "-")
	if !negative {
		unsigned = strings.TrimPrefix(pounds, "+")
	}
	whole, err := strconv.ParseUint(unsigned, 10, 63)
	if err != nil || strings.ContainsAny(ounces, "+-") {
		return Value{}, fmt.Errorf("%q is not pounds and ounces, such as 2:03.5", s)
	}
	v, err := parseDecimal(ounces)
	if err != nil {
		return Value{}, err
	}
	v, ok := v.AddPounds(int64(whole))
	if !ok {
		return Value{}, fmt.Errorf("%q is not pounds and less than 16 ounces in range", s)
	}
	if negative {
		v.Digits = -v.Digits
	}
	return v, nil
}

// AddPounds makes the value of a split display from its ounces and its whole pounds, neither of them negative. It is
// false where there are 16 ounces or more, and beyond what a Value holds.
func (v Value) AddPounds(pounds int64) (Value, bool) {
	pound := 16 * pow10[v.Decimals]
	if v.Digits < 0 || v.Digits >= pound || pounds < 0 || pounds > (math.MaxInt64-v.Digits)/pound {
		return Value{}, false
	}
	return Value{Digits: pounds*pound + v.Digits, Decimals: v.Decimals, Unit: UnitLBOZ}, true
}

// parseDecimal reads plain digits with at most one point: no exponent, no grouping, no second sign.
func parseDecimal(s string) (Value, error) {
	whole, fraction, marked := strings.Cut(s, ".")
	switch {
	case whole == "" || whole == "-" || whole == "+" || marked && fraction == "":
		return Value{}, fmt.Errorf("%q is not a decimal number", s)
	case len(fraction) > MaxDecimals:
		return Value{}, fmt.Errorf("%q has more than %d digits after the point", s, MaxDecimals)
	case strings.ContainsAny(fraction, "+-"):
		return Value{}, fmt.Errorf("%q is not a decimal number", s)
	}
	digits, err := strconv.ParseInt(whole+fraction, 10, 64)
	if err != nil {
		return Value{}, fmt.Errorf("%q is not a decimal number in range", s)
	}
	return Value{Digits: digits, Decimals: uint8(len(fraction))}, nil
}

// Mass is the value in picograms, rounded once, half away from zero. It is false when the value has no unit or is
// beyond ±9 223 kg, the range of Mass.
func (v Value) Mass() (Mass, bool) {
	if v.Unit == UnitNone || v.Decimals > MaxDecimals {
		return 0, false
	}
	// 128 bits hold every product, and half a divisor more.
	divisor := uint64(pow10[v.Decimals])
	hi, lo := bits.Mul64(magnitude(v.Digits), uint64(units[v.Unit].picograms))
	lo, carry := bits.Add64(lo, divisor/2, 0)
	if hi += carry; hi >= divisor {
		return 0, false
	}
	picograms, _ := bits.Div64(hi, lo, divisor)
	if picograms > math.MaxInt64 {
		return 0, false
	}
	if v.Digits < 0 {
		return -Mass(picograms), true
	}
	return Mass(picograms), true
}

// magnitude is n without its sign, also for the one int64 whose negative is none.
func magnitude(n int64) uint64 {
	if n < 0 {
		return -uint64(n)
	}
	return uint64(n)
}

// Step is the mass of one unit in the value's last digit: a display can't have a finer division.
func (v Value) Step() Mass {
	step, _ := Value{Digits: 1, Decimals: v.Decimals, Unit: v.Unit}.Mass()
	return step
}

// ValueOf is a mass in grams with as many decimals as its step has; {} where it has more than a Value holds.
func ValueOf(m, step Mass) Value {
	v := Value{Unit: UnitG}
	digit := Gram
	for ; step > 0 && step%digit != 0 && v.Decimals < MaxDecimals; v.Decimals++ {
		digit /= 10
	}
	if step <= 0 || m%digit != 0 {
		return Value{}
	}
	v.Digits = int64(m / digit)
	return v
}

// String is the value as the display shows it, "123.45 g", with all of its digits.
func (v Value) String() string {
	b := make([]byte, 0, 24)
	if v.Digits < 0 {
		b = append(b, '-')
	}
	digits, unit := magnitude(v.Digits), uint64(pow10[v.Decimals])
	if v.Unit == UnitLBOZ {
		b = append(strconv.AppendUint(b, digits/(16*unit), 10), ':')
		if digits %= 16 * unit; digits < 10*unit {
			b = append(b, '0') // two places, as displays have them
		}
	}
	b = strconv.AppendUint(b, digits/unit, 10)
	if v.Decimals > 0 {
		b = append(b, '.')
		fraction := digits % unit
		for place := unit / 10; place > 0; place /= 10 {
			b = append(b, byte('0'+fraction/place%10))
		}
	}
	if v.Unit != UnitNone {
		b = append(append(b, ' '), v.Unit.String()...)
	}
	return string(b)
}
