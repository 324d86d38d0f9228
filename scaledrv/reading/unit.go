package reading

import (
	"fmt"
	"strings"
)

// Unit is a unit of mass that a scale may send. Its String is the symbol in lower case.
type Unit uint8

const (
	UnitNone Unit = iota
	UnitMG        // milligram
	UnitG         // gram
	UnitKG        // kilogram
	UnitT         // tonne, 1000 kg
	UnitCT        // metric carat
	UnitGN        // grain. A scale's "gr" is no unit here: some mean the gram by it
	UnitDWT       // pennyweight
	UnitOZ        // avoirdupois ounce
	UnitOZT       // troy ounce
	UnitLB        // avoirdupois pound
	UnitLBOZ      // a split display of whole pounds and ounces: a Value's digits are ounces
)

// Exact by definition: 1 lb = 0.45359237 kg (international yard and pound agreement of 1959), 1 oz = 1/16 lb, a grain
// 1/7000 lb, a troy ounce 480 and a pennyweight 24 grains (NIST SP 811 appendix B, NIST Handbook 44 appendix C).
var units = [...]struct {
	symbol    string
	picograms int64
}{
	UnitNone: {"", 0},
	UnitMG:   {"mg", 1_000_000_000},
	UnitG:    {"g", 1_000_000_000_000},
	UnitKG:   {"kg", 1_000_000_000_000_000},
	UnitT:    {"t", 1_000_000_000_000_000_000},
	UnitCT:   {"ct", 200_000_000_000},
	UnitGN:   {"gn", 64_798_910_000},
	UnitDWT:  {"dwt", 1_555_173_840_000},
	UnitOZ:   {"oz", ouncePicograms},
	UnitOZT:  {"ozt", 31_103_476_800_000},
	UnitLB:   {"lb", 16 * ouncePicograms},
	UnitLBOZ: {"lb:oz", ouncePicograms},
}

const ouncePicograms = 28_349_523_125_000

func (u Unit) String() string { return units[u].symbol }

// ParseUnit reads a unit's symbol, in either case. The error names the units that are known.
func ParseUnit(symbol string) (Unit, error) {
	if u, ok := UnitOf(symbol); ok {
		return u, nil
	}
	return UnitNone, fmt.Errorf("unknown unit of mass %q (known: %s)", symbol, knownUnits)
}

var knownUnits = func() string {
	var symbols []string
	for _, u := range units[1:] {
		symbols = append(symbols, u.symbol)
	}
	return strings.Join(symbols, ", ")
}()

const longestSymbol = len("lb:oz")

// UnitOf is ParseUnit without an error to build: for the parsers of a scale's lines, which may pass bytes.
func UnitOf[T string | []byte](symbol T) (Unit, bool) {
	if len(symbol) == 0 || len(symbol) > longestSymbol {
		return UnitNone, false
	}
	for u := UnitMG; int(u) < len(units); u++ {
		if isSymbol(symbol, units[u].symbol) {
			return u, true
		}
	}
	return UnitNone, false
}

// isSymbol compares ASCII in either case: a third of the time that strings.EqualFold takes.
func isSymbol[T string | []byte](text T, symbol string) bool {
	if len(text) != len(symbol) {
		return false
	}
	for i := range len(symbol) {
		c := text[i]
		if 'A' <= c && c <= 'Z' {
			c += 'a' - 'A'
		}
		if c != symbol[i] {
			return false
		}
	}
	return true
}
