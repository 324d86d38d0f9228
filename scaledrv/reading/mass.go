package reading

import (
	"fmt"
	"math"
	"strconv"
)

// Mass is a mass in picograms, within ±9 223 kg. In JSON it is a number of grams: the shortest decimal that gives the
// mass to the microgram.
type Mass int64

const (
	Microgram Mass = 1_000_000
	Gram      Mass = 1_000_000_000_000
	Kilogram       = 1000 * Gram
)

// FromGrams is the mass nearest to g grams. It is false for NaN and for what does not fit a Mass.
func FromGrams(g float64) (Mass, bool) {
	picograms := math.Round(g * float64(Gram))
	if !(math.Abs(picograms) < math.MaxInt64) {
		return 0, false
	}
	return Mass(picograms), true
}

// ParseMass reads a decimal number with its unit: "300 g", "2 lb".
func ParseMass(text string) (Mass, error) {
	v, err := ParseValue(text)
	if err != nil {
		return 0, err
	}
	m, ok := v.Mass()
	if !ok {
		return 0, fmt.Errorf("read mass %q: beyond the 9223 kg that can be held", text)
	}
	return m, nil
}

// Grams is the mass as a float, for estimates and uncertainties. What is shown or stored is never made from it.
func (m Mass) Grams() float64 { return float64(m) / float64(Gram) }

// Abs is the mass without its sign.
func (m Mass) Abs() Mass { return max(m, -m) }

// FloorTo is the largest multiple of step that is not above m. Step must be positive.
func (m Mass) FloorTo(step Mass) Mass {
	rest := m % step
	if rest < 0 {
		rest += step
	}
	return m - rest
}

// CeilTo is the smallest multiple of step that is not below m. Step must be positive.
func (m Mass) CeilTo(step Mass) Mass { return -(-m).FloorTo(step) }

// appendGrams writes the mass in grams, to the microgram, without trailing zeros.
func (m Mass) appendGrams(b []byte) []byte {
	micrograms := (magnitude(int64(m)) + uint64(Microgram/2)) / uint64(Microgram)
	if m < 0 && micrograms > 0 {
		b = append(b, '-')
	}
	b = strconv.AppendUint(b, micrograms/1_000_000, 10)
	if fraction := micrograms % 1_000_000; fraction > 0 {
		b = append(b, '.')
		for place := uint64(100_000); fraction > 0; place /= 10 {
			b = append(b, byte('0'+fraction/place))
			fraction %= place
		}
	}
	return b
}

// String is the mass as "200.1 g".
func (m Mass) String() string { return string(m.appendGrams(nil)) + " g" }

// MarshalJSON is the mass as a number of grams.
func (m Mass) MarshalJSON() ([]byte, error) { return m.appendGrams(make([]byte, 0, 16)), nil }

// UnmarshalJSON reads a number of grams, a plain decimal exactly. A number that is no mass (1e300) is an error.
func (m *Mass) UnmarshalJSON(b []byte) error {
	if v, err := parseDecimal(string(b)); err == nil {
		v.Unit = UnitG
		if mass, ok := v.Mass(); ok {
			*m = mass
			return nil
		}
	}
	g, err := strconv.ParseFloat(string(b), 64)
	if err != nil {
		return fmt.Errorf("%s is not a number of grams", b)
	}
	mass, ok := FromGrams(g)
	if !ok {
		return fmt.Errorf("%s g is beyond the 9223 kg that can be held", b)
	}
	*m = mass
	return nil
}
