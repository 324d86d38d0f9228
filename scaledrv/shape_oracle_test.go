package scaledrv

import (
	"fmt"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The oracles read frames slowly and plainly, by expressions and big numbers. They share nothing with the shapes but
// their description.

var (
	plainWeight = regexp.MustCompile(`^ *([-+]?) *([0-9]+)(?:[.,]([0-9]{1,9}))?(?: *([A-Za-z:]+))? *$`)
	colonWeight = regexp.MustCompile(`^ *([-+]?) *([0-9]+):([0-9]+)(?:[.,]([0-9]{1,9}))?(?: *(?i:lb:oz))? *$`)
	pairWeight  = regexp.MustCompile(`^ *([-+]?) *([0-9]+) *(?i:lb) *([0-9]+)(?:[.,]([0-9]{1,9}))? *(?i:oz) *$`)
)

// unitPicograms are exact: NIST SP 811 (2008) appendix B.
var unitPicograms = map[string]string{
	"mg": "1000000000", "g": "1000000000000", "kg": "1000000000000000", "t": "1000000000000000000", "ct": "200000000000",
	"gn": "64798910000", "dwt": "1555173840000", "oz": "28349523125000", "ozt": "31103476800000", "lb": "453592370000000",
	"lb:oz": "28349523125000",
}

// weighed is a weight in words, "123.45 g"; empty where text is none. The fallback is the unit of a number without one.
func weighed(text, fallback string) string {
	for _, split := range []*regexp.Regexp{colonWeight, pairWeight} {
		if m := split.FindStringSubmatch(text); m != nil {
			return splitInWords(m[1], m[2], m[3], m[4])
		}
	}
	m := plainWeight.FindStringSubmatch(text)
	if m == nil {
		return ""
	}
	unit := strings.ToLower(m[4])
	if unit == "" {
		unit = fallback
	}
	if unit == "lb:oz" || !hasRoom(m[2]+m[3], len(m[3]), unit) {
		return ""
	}
	return inWords(m[1], m[2], m[3], unit)
}

func inWords(sign, whole, fraction, unit string) string {
	out := strings.TrimLeft(whole, "0")
	if out == "" {
		out = "0"
	}
	if fraction != "" {
		out += "." + fraction
	}
	if sign == "-" && strings.Trim(out, "0.") != "" {
		out = "-" + out
	}
	return out + " " + unit
}

func splitInWords(sign, pounds, ounces, fraction string) string {
	lb, _ := new(big.Int).SetString(pounds, 10)
	oz, _ := new(big.Int).SetString(ounces, 10)
	if oz.Cmp(big.NewInt(16)) >= 0 || lb.BitLen() > 62 {
		return ""
	}
	total := new(big.Int).Add(new(big.Int).Mul(lb, big.NewInt(16)), oz)
	if !hasRoom(total.String()+fraction, len(fraction), "lb:oz") {
		return ""
	}
	out := fmt.Sprintf("%v:%02d", lb, oz.Int64())
	if fraction != "" {
		out += "." + fraction
	}
	if sign == "-" && strings.Trim(out, "0.:") != "" {
		out = "-" + out
	}
	return out + " lb:oz"
}

// hasRoom says whether a value and its mass, in picograms, have room in 64 bits. The parsers stop 8 short of the largest.
func hasRoom(digits string, decimals int, unit string) bool {
	n, _ := new(big.Int).SetString(digits, 10)
	factor, known := new(big.Int).SetString(unitPicograms[unit], 10)
	if !known || n.Cmp(big.NewInt(9223372036854775799)) > 0 {
		return false
	}
	ten := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)
	mass := new(big.Int).Mul(n, factor)
	mass.Add(mass, new(big.Int).Div(ten, big.NewInt(2))).Div(mass, ten)
	return mass.IsInt64()
}

const rejected = "rejected"

// verdict is a shape's answer in words, without the reason of a rejection.
func verdict(p parsed, err error) string {
	if text := describe(p, err); !strings.HasPrefix(text, rejected) {
		return text
	}
	return rejected
}

func printable(frame string) bool { return regexp.MustCompile(`^[ -~]*$`).MatchString(frame) }

// fuzzShape holds a shape against an oracle, frame by frame in their order, and the stream cut into chunks against the
// whole. An oracle is opened as often as the shape is, since both may remember what came before.
func fuzzShape(f *testing.F, shape Shape, oracle func() func(frame string) string) {
	f.Fuzz(func(t *testing.T, stream []byte, size uint8) {
		whole, chunked := newIntake(shape, nil), newIntake(shape, nil)
		want := drain(whole, string(stream))
		var got []string
		for chunk := range slices.Chunk(stream, int(size)+1) {
			got = append(got, drain(chunked, string(chunk))...)
		}
		require.Equal(t, want, got)
		require.Equal(t, whole.rejected, chunked.rejected)
		require.LessOrEqual(t, whole.rejected, uint64(len(stream)))

		open, says := shape.open(), oracle()
		left := string(stream)
		for rest := stream; len(rest) > 0; {
			var frame []byte
			if frame, rest, _ = open.next(rest); frame == nil {
				continue
			}
			text := string(frame)
			_, after, found := strings.Cut(left, text)
			require.True(t, found, "a frame that is not in the stream: %q", text)
			left = after
			p, err := answer(open.read, text)
			require.Equal(t, says(text), verdict(p, err), "%q", text)
			if err != nil {
				continue
			}
			mass, ok := p.Value.Mass()
			require.Equal(t, p.State == reading.Normal, ok)
			require.Equal(t, mass, p.Mass)
		}
	})
}
