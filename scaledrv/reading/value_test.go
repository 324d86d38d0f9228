package reading

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseValue(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"digits after the point are kept", "123.450 kg", "123.450 kg"},
		{"the unit may stand close", "-12.50kg", "-12.50 kg"},
		{"the unit is read in either case", "2 LB", "2 lb"},
		{"padding with zeros goes", "00012.3 g", "12.3 g"},
		{"a minus before a zero whole part is kept", "-0.5 g", "-0.5 g"},
		{"minus zero is zero with its digits", "-0.00 g", "0.00 g"},
		{"a plus is no part of the number", "+1 g", "1 g"},
		{"space around is no matter", "  7.0 oz ", "7.0 oz"},
		{"a split display", "2:03.5 lb:oz", "2:03.5 lb:oz"},
		{"a split display without padding", "12:3.50 lb:oz", "12:03.50 lb:oz"},
		{"a split display below zero and below a pound", "-0:11.0 LB:OZ", "-0:11.0 lb:oz"},
		{"nine digits after the point", "0.000000001 kg", "0.000000001 kg"},
		{"the smallest number that can be held", "-9223372036854775808 mg", "-9223372036854775808 mg"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			v, err := ParseValue(tt.text)
			require.NoError(t, err)
			require.Equal(t, tt.want, v.String())
		})
	}
}

func TestParseValueRefuses(t *testing.T) {
	for _, tt := range []struct{ name, text, why string }{
		{"nothing", "", `unknown unit of mass ""`},
		{"a number without unit", "12.5", "known: mg, g, kg, t,"},
		{"a unit without number", "g", "not a decimal number"},
		{"a unit of volume", "5 mL", `unknown unit of mass "mL"`},
		{"a troy ounce, which is no avoirdupois ounce", "1 oz t", `unknown unit of mass "oz t"`},
		{"a point without digits after it", "5. g", "not a decimal number"},
		{"a point without digits before it", ".5 g", "not a decimal number"},
		{"two points", "1.2.3 g", "not a decimal number"},
		{"two signs", "+-5 g", "not a decimal number"},
		{"a sign after the point", "1.-5 g", "not a decimal number"},
		{"a sign that stands apart", "- 5 g", "not a decimal number"},
		{"an exponent", "1e3 g", "not a decimal number"},
		{"grouped digits", "1 000 g", "not a decimal number"},
		{"an underscore", "1_000 g", "not a decimal number"},
		{"a decimal comma, which may group", "1,5 g", "not a decimal number"},
		{"hexadecimal", "0x10 g", "not a decimal number"},
		{"sixteen ounces beside pounds", "2:16.0 lb:oz", "less than 16 ounces"},
		{"a colon in another unit", "2:03.5 lb", "not a decimal number"},
		{"a sign after the colon", "2:-03.5 lb:oz", "not pounds and ounces"},
		{"a plus after the colon", "0:+0 lb:oz", "not pounds and ounces"},
		{"ounces alone in a split display", "3.5 lb:oz", "not pounds and ounces"},
		{"whole ounces alone", "5 lb:oz", "not a decimal number"},
		{"two signs before the colon", "+-2:03.5 lb:oz", "not pounds and ounces"},
		{"more pounds than can be held", "922337203685477580:01.0 lb:oz", "in range"},
		{"ten digits after the point", "0.1234567890 g", "more than 9 digits"},
		{"more digits than can be held", "9223372036854775808 mg", "in range"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseValue(tt.text)
			require.ErrorContains(t, err, tt.why)
			require.ErrorContains(t, err, "read mass")
		})
	}
}

func anyValue(t *rapid.T) Value {
	return Value{
		Digits:   rapid.Int64Min(-math.MaxInt64).Draw(t, "digits"),
		Decimals: uint8(rapid.IntRange(0, MaxDecimals).Draw(t, "decimals")),
		Unit:     Unit(rapid.IntRange(int(UnitMG), int(UnitLBOZ)).Draw(t, "unit")),
	}
}

func TestAValuePrintedAndReadKeepsItsDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := anyValue(t)
		read, err := ParseValue(v.String())
		require.NoError(t, err)
		require.Equal(t, v, read)
		_, fraction, _ := strings.Cut(strings.TrimSuffix(v.String(), " "+v.Unit.String()), ".")
		require.Len(t, fraction, int(v.Decimals))
	})
}

// The check is exact rational arithmetic, from the factors as decimal text.
func TestMassIsTheValueRoundedOnceHalfAwayFromZero(t *testing.T) {
	grams := map[Unit]string{UnitMG: "0.001", UnitG: "1", UnitKG: "1000", UnitT: "1000000", UnitCT: "0.2", UnitGN: "0.06479891", UnitDWT: "1.55517384",
		UnitOZ: "28.349523125", UnitOZT: "31.1034768", UnitLB: "453.59237", UnitLBOZ: "28.349523125"}
	rapid.Check(t, func(t *rapid.T) {
		v := anyValue(t)
		if rapid.Bool().Draw(t, "small") {
			v.Digits %= 1_000_000
		}
		factor, _ := new(big.Rat).SetString(grams[v.Unit])
		exact := new(big.Rat).SetFrac(big.NewInt(v.Digits), big.NewInt(pow10[v.Decimals]))
		exact.Mul(exact, factor).Mul(exact, new(big.Rat).SetInt64(int64(Gram)))
		rounded, _ := new(big.Int).SetString(exact.FloatString(0), 10) // halves away from zero, says its documentation
		m, ok := v.Mass()
		require.Equal(t, rounded.CmpAbs(big.NewInt(math.MaxInt64)) <= 0, ok)
		if ok {
			require.Equal(t, rounded.Int64(), int64(m))
		}
	})
}

func TestMassOfAValue(t *testing.T) {
	for _, tt := range []struct {
		name string
		v    Value
		want Mass
		ok   bool
	}{
		{"a value without unit has none", Value{Digits: 5}, 0, false},
		{"half a picogram goes up", Value{Digits: 5, Decimals: 7, Unit: UnitOZ}, 14_174_762, true}, // 14 174 761.5625
		{"and down below zero", Value{Digits: -5, Decimals: 7, Unit: UnitOZ}, -14_174_762, true},
		// 24788025971 · 28349523125000 is 289 million below 38095 · 2⁶⁴: the half of the divisor carries into the upper word.
		{"rounding across a word", Value{Digits: 24_788_025_971, Decimals: 9, Unit: UnitOZ}, 702_728_715_487_965, true},
		{"the largest mass", Value{Digits: 9_223_372_036, Decimals: 6, Unit: UnitKG}, 9_223_372_036_000_000_000, true},
		{"one step above it", Value{Digits: 9_223_372_037, Decimals: 6, Unit: UnitKG}, 0, false},
		{"far beyond it", Value{Digits: math.MinInt64, Unit: UnitLB}, 0, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m, ok := tt.v.Mass()
			require.Equal(t, tt.ok, ok)
			require.Equal(t, tt.want, m)
		})
	}
}

func TestStepIsTheMassOfTheLastDigit(t *testing.T) {
	require.Equal(t, Gram/10, Value{Digits: 1523, Decimals: 1, Unit: UnitG}.Step())
	require.Equal(t, 5*Gram/10, 5*Value{Digits: 12, Decimals: 4, Unit: UnitKG}.Step())
}

func TestNothingIsAllocatedForAMass(t *testing.T) {
	v := Value{Digits: 12345, Decimals: 4, Unit: UnitOZ}
	require.Zero(t, testing.AllocsPerRun(100, func() { v.Mass() }))
	symbol := []byte("KG")
	require.Zero(t, testing.AllocsPerRun(100, func() { UnitOf(symbol) }))
}

func FuzzParseValue(f *testing.F) {
	for _, seed := range []string{"0.1 g", "-12.50kg", "2 lb", "", "1.2.3 g", "+00000.000000000 OZ", "9223372036854775807mg", "٣ g", "2:03.5 lb:oz"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := ParseValue(text)
		if err != nil {
			require.Equal(t, Value{}, v)
			return
		}
		printed := v.String()
		again, err := ParseValue(printed)
		require.NoError(t, err)
		require.Equal(t, v, again)
		// What is printed is what stood there, but for spaces, case, a plus, leading zeros and the sign of zero.
		plain := func(s string) string {
			s = strings.ToLower(strings.Join(strings.Fields(s), ""))
			s = strings.TrimLeft(s, "+-")
			s = strings.TrimLeft(s, "0")
			if pounds, ounces, ok := strings.Cut(s, ":"); ok { // ounces of a split display have two places
				return pounds + ":" + strings.TrimLeft(ounces, "0")
			}
			return s
		}
		require.Equal(t, plain(text), plain(printed))
		require.Equal(t, v.Digits < 0, strings.HasPrefix(printed, "-"))
		if v.Digits != 0 {
			require.Equal(t, strings.HasPrefix(strings.TrimSpace(text), "-"), v.Digits < 0)
		}
	})
}
