package simulator

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func uart(t require.TestingT, baud int, frame string) UART {
	u, err := NewUART(baud, frame)
	require.NoError(t, err)
	return u
}

// The bits were drawn by hand: a byte is a low start bit, its data bits from the least significant on, its parity bit, and a
// high stop bit (common practice; the line of EIA-232). Below, time runs to the right in bits of the sender.
func TestAWrongSettingMakesOtherBytesOfTheSameBits(t *testing.T) {
	for _, tt := range []struct {
		name     string
		from, to UART
		sent     string
		got      string
	}{
		// 0x55: 0 10101010 1. Each bit is seen twice: 0 01100110 0, a low stop bit. The next low edge is bit 6: 0 01100111 1.
		{"0x55 at double speed", uart(t, 4800, "8N1"), uart(t, 9600, "8N1"), "\x55", "\x00\xe6"},
		// 0xff: 0 11111111 1: 0 01111111 1.
		{"0xff at double speed", uart(t, 4800, "8N1"), uart(t, 9600, "8N1"), "\xff", "\xfe"},
		// 0x00: 0 00000000 1: eighteen lows are one byte with a low stop bit, and no edge.
		{"0x00 at double speed is a break", uart(t, 4800, "8N1"), uart(t, 9600, "8N1"), "\x00", "\x00"},
		// Bits 1, 4, 7, 10 … of 0 00000000 1 and rest: 0 00111111 1.
		{"0x00 at a third of the speed", uart(t, 28800, "8N1"), uart(t, 9600, "8N1"), "\x00", "\xfc"},
		// Bits 1, 4, 7, 10 … of 0 00000000 1 0 00000000 1 and rest: 0 00000111 1.
		{"two of them at a third of the speed are one", uart(t, 28800, "8N1"), uart(t, 9600, "8N1"), "\x00\x00", "\xe0"},
		{"0xff at a third of the speed has no whole start bit", uart(t, 28800, "8N1"), uart(t, 9600, "8N1"), "\xff", ""},

		// A has two ones, C three.
		{"even parity read as a data bit", uart(t, 9600, "7E1"), uart(t, 9600, "8N1"), "AC", "\x41\xc3"},
		{"odd parity read as a data bit", uart(t, 9600, "7O1"), uart(t, 9600, "8N1"), "AC", "\xc1\x43"},
		{"a data bit read as even parity", uart(t, 9600, "8N1"), uart(t, 9600, "7E1"), "AC", "A\x00"},
		{"a data bit read as odd parity", uart(t, 9600, "8N1"), uart(t, 9600, "7O1"), "AC", "\x00C"},
		{"even parity read as odd", uart(t, 9600, "7E1"), uart(t, 9600, "7O1"), "AC", "\x00\x00"},
		{"a parity bit read as a stop bit", uart(t, 9600, "8E1"), uart(t, 9600, "8N1"), "AC", "\x00C"},
		{"a stop bit read as a parity bit, then rest", uart(t, 9600, "8N1"), uart(t, 9600, "8E1"), "C", "C"},
		{"the same of an even number of ones", uart(t, 9600, "8N1"), uart(t, 9600, "8E1"), "A", "\x00"},
		{"seven bits read as eight: the stop bit is bit 7", uart(t, 9600, "7N1"), uart(t, 9600, "8N1"), "A", "\xc1"},
		{"eight bits read as seven: bit 7 is the stop bit", uart(t, 9600, "8N1"), uart(t, 9600, "7N1"), "A", "\x00"},
		{"a second stop bit makes no difference", uart(t, 9600, "8N2"), uart(t, 9600, "8N1"), "AC", "AC"},
		{"nor does its absence", uart(t, 9600, "8N1"), uart(t, 9600, "8N2"), "AC", "AC"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.got, string(Sample([]byte(tt.sent), tt.from, tt.to)))
		})
	}
}

func TestAUARTTakesItsTimeForAByte(t *testing.T) {
	for frame, bits := range map[string]int{"8N1": 10, "7E1": 10, "8E1": 11, "8N2": 11, "7O2": 11, "5N1": 7} {
		require.Equal(t, fmt.Sprintf("%dms", bits), uart(t, 1000, frame).byteTime().String(), frame)
	}
}

func drawUART(t *rapid.T, label string) UART {
	return UART{
		Baud:     rapid.SampledFrom([]int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}).Draw(t, label+" baud"),
		DataBits: rapid.SampledFrom([]int{7, 8}).Draw(t, label+" data bits"),
		Parity:   rapid.SampledFrom([]byte("NEO")).Draw(t, label+" parity"),
		StopBits: rapid.SampledFrom([]int{1, 2}).Draw(t, label+" stop bits"),
	}
}

func TestEqualSettingsLeaveEveryByteAsItIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := drawUART(t, "both")
		sent := rapid.SliceOf(rapid.Byte()).Draw(t, "sent")
		for i := range sent {
			sent[i] &= 1<<u.DataBits - 1
		}
		require.Equal(t, string(sent), string(Sample(sent, u, u)))
	})
}

// The last middle lies 9.5 bits behind the edge and may be off by half a bit: 5 % (textbook).
func TestAClockThatIsOffByFourPercentReadsAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent := rapid.SliceOf(rapid.Byte()).Draw(t, "sent")
		off := rapid.IntRange(-40, 40).Draw(t, "per mille")
		from, to := UART{100_000, 8, 'N', 1}, UART{100_000 + 100*off, 8, 'N', 1}
		require.Equal(t, string(sent), string(Sample(sent, from, to)))
	})
}

// 0x7f is 0 11111110 1. Too fast a clock looks for the stop bit 9.5/1.07 = 8.9 bits behind the edge, where data bit 7 is low; too
// slow a one at 9.5/0.93 = 10.2, in the next start bit, and finds its next edge at that byte's data bit 7.
func TestAClockThatIsOffBySevenPercentDoesNot(t *testing.T) {
	sender := UART{100_000, 8, 'N', 1}
	require.Equal(t, "\x00\x00", string(Sample([]byte("\x7f\x7f"), sender, UART{107_000, 8, 'N', 1})))
	require.Equal(t, "\x00\xff", string(Sample([]byte("\x7f\x7f"), sender, UART{93_000, 8, 'N', 1})))
}

// A line in pieces, each heard as its time comes, is the same line.
func TestItMakesNoDifferenceWhenTheEarIsAsked(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := drawUART(t, "from"), drawUART(t, "to")
		sent := rapid.SliceOf(rapid.Byte()).Draw(t, "sent")
		e := newEar(from, to)
		var got []byte
		for i, c := range sent {
			start := time.Duration(i) * from.byteTime()
			if rapid.Bool().Draw(t, "ask") {
				got = e.hear(start, got)
			}
			e.send(start, c)
		}
		got = e.hear(math.MaxInt64, got)
		require.Equal(t, string(Sample(sent, from, to)), string(got))
	})
}

func FuzzSample(f *testing.F) {
	f.Add([]byte("ST,GS,+00152.3  g\r\n"), byte(0), byte(9))
	modes := []UART{{9600, 8, 'N', 1}, {9600, 7, 'E', 1}, {4800, 7, 'O', 2}, {1200, 8, 'N', 2}, {115200, 5, 'E', 1}, {19200, 8, 'O', 1}, {1, 8, 'N', 1}, {1_000_000, 6, 'N', 1}}
	f.Fuzz(func(t *testing.T, sent []byte, a, b byte) {
		if len(sent) > 1000 {
			return
		}
		from, to := modes[int(a)%len(modes)], modes[int(b)%len(modes)]
		got := Sample(sent, from, to)
		// A byte begins with an edge of its own: there are no more of them than low edges, of which a byte sent has at most five.
		require.LessOrEqual(t, len(got), 5*len(sent))
		for _, c := range got {
			require.Less(t, int(c), 1<<to.DataBits)
		}
	})
}

func BenchmarkSample(b *testing.B) {
	line := []byte("ST,GS,+00152.3  g\r\n")
	from, to := UART{9600, 8, 'N', 1}, UART{19200, 8, 'N', 1}
	b.ReportAllocs()
	b.SetBytes(int64(len(line)))
	for b.Loop() {
		Sample(line, from, to)
	}
}
