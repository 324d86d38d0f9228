package reading

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// MaxDecimals is the largest number of digits after the mark that a Value holds.
const MaxDecimals = 9

var pow10 = [...]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// Value is a number as a display shows it: digits, where the mark stands, and the unit. 123.450 kg is
// {123450, 3, UnitKG}. It has no sign of zero: a scale's -0.00 is 0.00.
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
	v, err := parseDecimal(strings.TrimSpace(s[:cut]))
	if err != nil {
		return Value{}, fmt.Errorf("read mass %q: %w", text, err)
	}
	v.Unit = unit
	return v, nil
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
	factor, divisor := units[v.Unit].picograms, pow10[v.Decimals]
	if factor%divisor == 0 { // every metric line ends here
		step := factor / divisor
		product := v.Digits * step
		if v.Digits != 0 && product/v.Digits != step {
			return 0, false
		}
		return Mass(product), true
	}
	n := new(big.Int).Mul(big.NewInt(v.Digits), big.NewInt(2*factor))
	half := big.NewInt(divisor)
	if n.Sign() < 0 {
		half.Neg(half)
	}
	n.Quo(n.Add(n, half), big.NewInt(2*divisor))
	return Mass(n.Int64()), n.IsInt64()
}

// Step is the mass of one unit in the value's last digit: a display can't have a finer division.
func (v Value) Step() Mass {
	step, _ := Value{Digits: 1, Decimals: v.Decimals, Unit: v.Unit}.Mass()
	return step
}

// AppendText appends the value as "123.45 g", with all of its digits.
func (v Value) AppendText(b []byte) ([]byte, error) {
	digits := v.Digits
	if digits < 0 {
		b, digits = append(b, '-'), -digits
	}
	unit := pow10[v.Decimals]
	b = strconv.AppendInt(b, digits/unit, 10)
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
	return b, nil
}

// MarshalText is AppendText on a fresh slice.
func (v Value) MarshalText() ([]byte, error) { return v.AppendText(nil) }

// UnmarshalText is ParseValue.
func (v *Value) UnmarshalText(text []byte) (err error) {
	*v, err = ParseValue(string(text))
	return err
}

func (v Value) String() string {
	b, _ := v.AppendText(make([]byte, 0, 24))
	return string(b)
}
