package reading

import (
	"fmt"
	"strings"
)

// Unit is a unit of mass that a scale may send. Its String is the symbol in lower case.
type Unit uint8

const (
	UnitNone Unit = iota
	UnitMG
	UnitG
	UnitKG
	UnitOZ // avoirdupois
	UnitLB // avoirdupois
)

// Exact by definition: 1 lb = 0.45359237 kg (international yard and pound agreement of 1959, NIST SP 811 appendix B),
// 1 oz = 1/16 lb.
var units = [...]struct {
	symbol    string
	picograms int64
}{
	UnitNone: {"", 0},
	UnitMG:   {"mg", 1_000_000_000},
	UnitG:    {"g", 1_000_000_000_000},
	UnitKG:   {"kg", 1_000_000_000_000_000},
	UnitOZ:   {"oz", 28_349_523_125_000},
	UnitLB:   {"lb", 453_592_370_000_000},
}

func (u Unit) String() string { return units[u].symbol }

// ParseUnit reads a unit's symbol, in either case. The error names the units that are known.
func ParseUnit(symbol string) (Unit, error) {
	if u, ok := UnitOf(symbol); ok {
		return u, nil
	}
	return UnitNone, fmt.Errorf("unknown unit of mass %q (known: mg, g, kg, oz, lb)", symbol)
}

// UnitOf is ParseUnit without an error to build: for the parsers of a scale's lines, which may pass bytes.
func UnitOf[T string | []byte](symbol T) (Unit, bool) {
	if len(symbol) == 0 || len(symbol) > 2 {
		return UnitNone, false
	}
	for u := UnitMG; int(u) < len(units); u++ {
		if strings.EqualFold(units[u].symbol, string(symbol)) {
			return u, true
		}
	}
	return UnitNone, false
}
