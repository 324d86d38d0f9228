package scaledrv

import (
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// The frames are common practice, no source.
func TestReversed(t *testing.T) {
	for _, tt := range []struct{ name, frame, want string }{
		{"the least significant digit first", "=54.3210", "123.45 g"},
		{"a minus is the last", "=54.321-", "-123.45 g"},
		{"minus zero", "=00.000-", "0.00 g"},
		{"a whole number", "=021000-", "-120 g"},
		{"padded with blanks", "=54.3   ", "3.45 g"},
		{"a decimal comma", "=54,3210", "123.45 g"},

		{"the sign in front", "=-54.321", `rejected: weight "=-54.321": other characters than digits, a mark between them, and in the end a minus`},
		{"the sign in the midst", "=54.-210", `rejected: weight "=54.-210": other characters than digits, a mark between them, and in the end a minus`},
		{"two marks", "=5.43.10", `rejected: weight "=5.43.10": other characters than digits, a mark between them, and in the end a minus`},
		{"a mark without digits behind it", "=.543210", `rejected: weight "=.543210": other characters than digits, a mark between them, and in the end a minus`},
		{"a mark without digits before it", "=543210.", `rejected: weight "=543210.": other characters than digits, a mark between them, and in the end a minus`},
		{"a unit", "=g54.321", `rejected: weight "=g54.321": other characters than digits, a mark between them, and in the end a minus`},
		{"blanks in the midst", "=54.3 10", `rejected: weight "=54.3 10": other characters than digits, a mark between them, and in the end a minus`},
		{"an eight flipped into a colon", "=54.3:10", `rejected: weight "=54.3:10": other characters than digits, a mark between them, and in the end a minus`},
		{"blanks alone", "=       ", `rejected: weight "=       ": no number with digits on each side of its mark`},
		{"a NUL", "=54.\x00210", "rejected: byte 0x00 at 4 is no text"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, describe(answer(text(reversed(reading.UnitG)), tt.frame)))
		})
	}
}

func TestReversedNeedsToBeToldItsUnit(t *testing.T) {
	_, err := ShapeByName("reversed", ShapeOptions{})
	require.EqualError(t, err, "shape: reversed states no unit: write the one that the scale shows, such as `unit: g`")
	_, err = ShapeByName("reversed", ShapeOptions{Unit: reading.UnitLBOZ})
	require.ErrorContains(t, err, "no place for pounds and ounces")
}

func TestSevens(t *testing.T) {
	for _, tt := range []struct {
		name     string
		chunks   []string
		want     []string
		rejected int
	}{
		{"without line ends a frame ends with its last character", []string{"=54.3210=64.3210"}, []string{"=54.3210", "=64.3210"}, 0},
		{"with line ends", []string{"=54.3210\r\n=64.3210\r\n"}, []string{"=54.3210", "=64.3210"}, 0},
		{"a frame comes in pieces", []string{"=54", ".321", "0", "\r", "\n=6", "4.3210\r"}, []string{"=54.3210", "=64.3210"}, 0},
		{"once line ends came a frame waits for its own", []string{"=54.3210\r\n=64.3210"}, []string{"=54.3210"}, 0},
		{"what comes before the first equals sign is dropped", []string{"3210\r\n=54.3210"}, []string{"=54.3210"}, 0},
		{"a frame without line end where others had one is rejected", []string{"=54.3210\n=64.3210=74.3210=84.3210"}, []string{"=54.3210", "=74.3210", "=84.3210"}, 8},
		{"a character lost", []string{"=54.3210=64.321=74.3210"}, []string{"=54.3210", "=74.3210"}, 7},
		{"a character lost before a line end", []string{"=54.3210\n=64.321\n=74.3210\n"}, []string{"=54.3210", "=74.3210"}, 8},
		{"a character too many before a line end", []string{"=54.3210\n=64.32109\n=74.3210\n"}, []string{"=54.3210", "=74.3210"}, 9},
		{"a character too many without line ends is rejected alone", []string{"=64.32109=74.3210"}, []string{"=64.3210", "=74.3210"}, 1},
		{"the equals sign lost", []string{"=54.3210\n64.3210\n=74.3210\n"}, []string{"=54.3210", "=74.3210"}, 7},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, rejected := cut(new(sevens), tt.chunks...)
			require.Equal(t, tt.want, got)
			require.Equal(t, tt.rejected, rejected)
		})
	}
}

var reversedText = regexp.MustCompile(`^-? *[0-9]+([.,][0-9]+)?$`)

func FuzzReversed(f *testing.F) {
	f.Add([]byte("210=54.3210=54.321-=54.3   "), uint8(3))
	f.Add([]byte("=9999999=0000079"), uint8(92)) // beyond the 9223 kg that can be held
	f.Add([]byte("=54.3210\r\n=64.321\r\n=64.32109\r\n=74.3210=84.3210\r\n"), uint8(0))
	fuzzShape(f, shapeNamed("reversed", ShapeOptions{Unit: reading.UnitG}), func() func(string) string {
		return func(frame string) string {
			text := []byte(frame[1:])
			slices.Reverse(text)
			if len(frame) != 8 || frame[0] != '=' || !reversedText.Match(text) || weighed(string(text), "g") == "" {
				return rejected
			}
			return weighed(string(text), "g")
		}
	})
}
