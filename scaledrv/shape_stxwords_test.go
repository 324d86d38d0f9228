package scaledrv

import (
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// word is a frame of stx-words without its STX: status, weight and tare.
func word(status, weight string) string { return "\x02" + status + weight + "000000\r" }

// summed appends the byte that makes the 7-bit sum of the frame zero.
func summed(frame string) string {
	total := 0
	for _, b := range []byte(frame) {
		total += int(b)
	}
	return frame + string(rune((128-total%128)%128))
}

// The frames are common practice, no source.
func TestStxWords(t *testing.T) {
	for _, tt := range []struct{ name, frame, want string }{
		// A: bit 5, step, point. B: bit 5, metric 0x10, moving 8, range 4, minus 2, net 1. C: bit 5, unit.
		{"grams by 0.1, moving", word("\x2b\x38\x21", "001523"), "152.3 g gross moving"},
		{"net, negative, stable", word("\x2b\x33\x21", "000170"), "-17.0 g net stable"},
		{"kilograms by 0.005", word("\x3d\x30\x20", "000150"), "0.150 kg gross stable"},
		{"pounds by 0.02", word("\x34\x20\x20", "000010"), "0.10 lb gross stable"},
		{"ounces", word("\x2b\x20\x23", "000017"), "1.7 oz gross stable"},
		{"tonnes by 0.001", word("\x2d\x30\x22", "000017"), "0.017 t gross stable"},
		{"the unit of C comes first", word("\x2a\x30\x21", "000017"), "17 g gross stable"},
		{"tens, by two", word("\x31\x30\x21", "000014"), "140 g gross stable"},
		{"padded with blanks", word("\x2a\x30\x21", "    17"), "17 g gross stable"},
		{"minus zero", word("\x2b\x32\x21", "000000"), "0.0 g gross stable"},
		{"all that B can have", word("\x2b\x3f\x21", "999999"), "under net moving"},
		{"over", word("\x2b\x34\x21", "999999"), "over gross stable"},
		{"under", word("\x2b\x36\x21", "999999"), "under gross stable"},
		{"over without digits", word("\x2b\x34\x21", "------"), "over gross stable"},
		{"other bits of C mean nothing here", word("\x2b\x30\x69", "000017"), "1.7 g gross stable"},
		{"not zeroed since it was switched on", word("\x2b\x70\x21", "001523"), "no reading"},

		{"bit 5 of A missing", word("\x0b\x38\x21", "001523"), "rejected: status \"\\v8!\": bit 5 is not set in all, or bit 6 in the first"},
		{"bit 5 of B missing", word("\x2b\x58\x21", "001523"), "rejected: status \"+X!\": bit 5 is not set in all, or bit 6 in the first"},
		{"a letter for A", word("\x6b\x38\x21", "001523"), "rejected: status \"k8!\": bit 5 is not set in all, or bit 6 in the first"},
		{"no place of the point", word("\x28\x38\x21", "001523"), "rejected: status '(': no place of the point or no step"},
		{"a place that there is not", word("\x2e\x38\x21", "001523"), "rejected: status '.': no place of the point or no step"},
		{"no step", word("\x23\x38\x21", "001523"), "rejected: status '#': no place of the point or no step"},
		{"an unknown unit", word("\x2b\x38\x25", "001523"), "rejected: status '%': no unit"},
		{"no multiple of the step of two", word("\x33\x38\x21", "001523"), `rejected: weight "001523": no multiple of the scale's step of 2`},
		{"no multiple of the step of five", word("\x3b\x38\x21", "001523"), `rejected: weight "001523": no multiple of the scale's step of 5`},
		{"a digit that is none", word("\x2b\x38\x21", "00152?"), `rejected: weight "00152?": no six digits`},
		{"a blank between digits", word("\x2b\x38\x21", "0 1523"), `rejected: weight "0 1523": no six digits`},
		{"blanks alone", word("\x2b\x38\x21", "      "), `rejected: weight "      ": no six digits`},
		{"a tare that is none", "\x02\x2b\x38\x2100152300x000\r", `rejected: tare "00x000": no six digits`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := words{setting: checksumsAbsent}
			require.Equal(t, tt.want, describe(answer(w.read, tt.frame)))
			if !strings.HasPrefix(tt.want, rejected) {
				require.Equal(t, "no reading", describe(answer(new(words).read, tt.frame)), "not known yet whether checksums are sent")
			}
		})
	}
}

func TestWords(t *testing.T) {
	const status = "\x2b\x38\x21"
	f := func(n int) string { return word(status, fmt.Sprintf("%06d", n)) }
	s := func(n int) string { return summed(f(n)) }
	isCR, isLF, isSTX := s(999500), s(999800), s(999970)
	require.Equal(t, "\r\n\x02", isCR[17:]+isLF[17:]+isSTX[17:])
	for _, tt := range []struct {
		name     string
		chunks   []string
		want     []string
		rejected int
	}{
		{"without checksums", []string{f(1) + f(2) + f(3) + f(4)}, []string{f(1), f(2), f(3), f(4)}, 0},
		{"with checksums, once three in a row had them", []string{s(1) + s(2) + s(3) + s(4) + s(5)}, []string{f(1), f(2), f(3), s(4), s(5)}, 0},
		{"whatever character they are", []string{isCR + isLF + isCR + isCR + isSTX + isSTX + isLF}, []string{isCR[:17], isLF[:17], isCR[:17], isCR, isSTX, isSTX, isLF}, 0},
		{"an STX that is also the checksum speaks for neither", []string{s(1) + s(2) + isSTX + s(3) + s(4)}, []string{f(1), f(2), isSTX[:17], f(3), s(4)}, 1},
		{"three in a row are not in a row with another character between", []string{s(1) + s(2) + f(9) + "\x01" + s(3) + s(4)}, []string{f(1), f(2), f(9), f(3), f(4)}, 1},
		{"nor with a damaged frame between", []string{s(1) + s(2) + s(3) + f(4) + f(5) + f(6)[:8] + "\x01" + f(7) + f(8)}, []string{f(1), f(2), f(3)}, 17 + 17 + 9 + 17},
		{"in pieces", []string{s(1)[:9], s(1)[9:17], s(1)[17:], s(2) + s(3)[:17], s(3)[17:] + s(4)[:17], s(4)[17:]}, []string{f(1), f(2), f(3), s(4)}, 0},
		{"what comes before the first STX is dropped", []string{"3000000\r" + f(1)}, []string{f(1)}, 0},
		{"a wrong checksum", []string{s(1) + s(2) + s(3) + f(4) + "\x01" + s(5)}, []string{f(1), f(2), f(3), s(5)}, 18},
		{"a flipped digit", []string{s(1) + s(2) + s(3) + f(4) + s(5)[17:] + s(5)}, []string{f(1), f(2), f(3), s(5)}, 18},
		{"a checksum missing where others had one", []string{s(1) + s(2) + s(3) + f(4) + s(5) + f(6) + f(7) + s(8)}, []string{f(1), f(2), f(3), s(5), s(8)}, 3 * 17},
		{"a setting changed at the scale", []string{s(1) + s(2) + s(3) + f(4) + f(5) + f(6) + f(7) + f(8)}, []string{f(1), f(2), f(3), f(7), f(8)}, 3 * 17},
		{"and back", []string{f(1) + f(2) + f(3) + f(4) + s(5) + s(6) + s(7) + s(8)}, []string{f(1), f(2), f(3), f(4), f(5), f(6), f(7), s(8)}, 0},
		{"a character lost", []string{f(1) + f(2)[:8] + f(2)[9:] + f(3)}, []string{f(1), f(3)}, 16},
		{"a character too many", []string{f(1) + f(2)[:8] + "0" + f(2)[8:] + f(3)}, []string{f(1), f(3)}, 17},
		{"the STX lost", []string{f(1) + f(2)[1:] + f(3)}, []string{f(1), f(3)}, 15},
		{"bit 7", []string{f(1) + "\x02\xab" + f(2)[2:] + f(3)}, []string{f(1), f(3)}, 16},
		{"line feeds between are ignored", []string{f(1) + "\n" + f(2) + "\n"}, []string{f(1), f(2)}, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, rejected := cut(new(words), tt.chunks...)
			require.Equal(t, tt.want, got)
			require.Equal(t, tt.rejected, rejected)
		})
	}
}

func TestWithAChecksumNoDamageToOneCharacterPasses(t *testing.T) {
	whole := summed(word("\x2b\x38\x21", "001523"))
	for at := range whole {
		for b := range 256 {
			if byte(b) == whole[at] {
				continue
			}
			damaged := []byte(whole)
			damaged[at] = byte(b)
			w := words{setting: checksumsPresent}
			got, _ := cut(&w, whole+string(damaged)+whole)
			for _, frame := range got {
				require.Equal(t, whole, frame, "%q", damaged)
			}
		}
	}
}

func FuzzStxWords(f *testing.F) {
	f.Add([]byte("half\r"+strings.Repeat("\x02\x2b\x38\x21001523000000\r", 5)+"\x02\x33\x30\x20001524000000\r"), uint8(3))
	f.Add([]byte(strings.Repeat(summed("\x02\x2b\x33\x21000170000200\r"), 4)+summed("\x02\x2b\x74\x21------      \r")+"\x02\x31\x30\x21000014000000\r"), uint8(0))
	known := Shape{"stx-words", ShapeOptions{}, func() format {
		w := &words{setting: checksumsAbsent}
		return format{w, w.read}
	}}
	fuzzShape(f, known, func() func(string) string { return wordInWords })
}

var wordParts = regexp.MustCompile(`(?s)^\x02([ -?])([ -?\x60-\x7f])([ -?\x60-\x7f])(.{6})( *[0-9]+)\r.?$`)

// wordInWords is the slow and plain reading of a frame.
func wordInWords(frame string) string {
	m := wordParts.FindStringSubmatch(frame)
	if m == nil || len(m[5]) != 6 || len(frame) == 18 && summed(frame[:17]) != frame {
		return rejected
	}
	bit := func(part, n int) bool { return m[part][0]>>n&1 == 1 }
	factor, known := map[byte]string{1: "10", 2: "1", 3: "1/10", 4: "1/100", 5: "1/1000"}[m[1][0]%8]
	step, stepped := map[byte]int64{1: 1, 2: 2, 3: 5}[m[1][0]/8%4]
	unit, united := map[byte]string{0: "lb", 1: "g", 2: "t", 3: "oz"}[m[3][0]%8]
	if m[3][0]%8 == 0 && bit(2, 4) {
		unit = "kg"
	}
	if !known || !stepped || !united {
		return rejected
	}
	n, ok := new(big.Int).SetString(strings.TrimLeft(m[4], " "), 10)
	digits := regexp.MustCompile(`^ *[0-9]+$`).MatchString(m[4])
	if !bit(2, 2) && (!ok || !digits || new(big.Int).Mod(n, big.NewInt(step)).Sign() != 0) {
		return rejected
	}
	out := "over"
	if bit(2, 1) {
		out = "under"
	}
	if !bit(2, 2) {
		places := map[byte]int{3: 1, 4: 2, 5: 3}[m[1][0]%8]
		scale, _ := new(big.Rat).SetString(factor)
		out = new(big.Rat).Mul(new(big.Rat).SetInt(n), scale).FloatString(places) + " " + unit
		if bit(2, 1) && n.Sign() != 0 {
			out = "-" + out
		}
		if !hasRoom(strings.Trim(strings.Replace(out, ".", "", 1), "- gktlboz"), places, unit) {
			return rejected
		}
	}
	if bit(2, 6) {
		return "no reading"
	}
	if bit(2, 0) {
		out += " net"
	} else {
		out += " gross"
	}
	if bit(2, 3) {
		return out + " moving"
	}
	return out + " stable"
}
