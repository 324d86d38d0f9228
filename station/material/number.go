package material

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"
)

// Number is a number as it was printed, such as 1.10: its digits say how well it is known. Empty is not stated.
type Number string

// Float is the number's value; NaN where it is no finite number.
func (n Number) Float() float64 {
	f, err := strconv.ParseFloat(string(n), 64)
	if err != nil || math.IsInf(f, 0) {
		return math.NaN()
	}
	return f
}

// HalfDigit is half of one in the last printed digit: 0.005 for 1.10, 0.5 for 100.
func (n Number) HalfDigit() float64 {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(string(n)), "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	power, _ := strconv.Atoi(exponent)
	return 0.5 * math.Pow10(power-len(fraction))
}

// MarshalJSON is the number with its own digits.
func (n Number) MarshalJSON() ([]byte, error) { return []byte(n), nil }

// UnmarshalJSON takes a JSON number, not a text that holds one.
func (n *Number) UnmarshalJSON(b []byte) error {
	if len(b) == 0 || b[0] != '-' && (b[0] < '0' || b[0] > '9') {
		return errors.New("must be a number")
	}
	*n = Number(b)
	return nil
}

// TolerancePct is how far B may be from the ratio, in percent of B relative to A. In JSON it is one number for both
// sides, or {"low": -1, "high": 3}.
type TolerancePct struct {
	Low, High float64
	paired    bool // written as a pair
}

type tolerancePair struct {
	Low  *float64 `json:"low"`
	High *float64 `json:"high"`
}

// MarshalJSON is the form it was read in; a pair where the sides differ.
func (t TolerancePct) MarshalJSON() ([]byte, error) {
	if t.Low == -t.High && !t.paired {
		return json.Marshal(t.High)
	}
	return json.Marshal(map[string]float64{"low": t.Low, "high": t.High})
}

// UnmarshalJSON reads either form.
func (t *TolerancePct) UnmarshalJSON(b []byte) error {
	var pct float64
	if json.Unmarshal(b, &pct) == nil {
		*t = TolerancePct{Low: -pct, High: pct}
		return nil
	}
	var pair tolerancePair
	strict := json.NewDecoder(bytes.NewReader(b))
	strict.DisallowUnknownFields()
	if err := strict.Decode(&pair); err != nil || pair.Low == nil || pair.High == nil {
		return errors.New(`must be a number, or both sides as {"low": -1, "high": 3}`)
	}
	*t = TolerancePct{Low: *pair.Low, High: *pair.High, paired: true}
	return nil
}

// short prints a number in the fewest digits that give it.
func short(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
