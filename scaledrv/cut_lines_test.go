package scaledrv

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// cut gives the frames that a cutter cuts out of chunks, and how many bytes it rejects.
func cut(c cutter, chunks ...string) (frames []string, rejected int) {
	for _, chunk := range chunks {
		rest := []byte(chunk)
		for len(rest) > 0 {
			var frame []byte
			var n int
			if frame, rest, n = c.next(rest); frame != nil {
				frames = append(frames, string(frame))
			}
			rejected += n
		}
	}
	return frames, rejected
}

func TestLines(t *testing.T) {
	long := strings.Repeat("x", maxLine)
	for _, tt := range []struct {
		name     string
		chunks   []string
		want     []string
		rejected int
	}{
		{"CR LF ends a line", []string{"\r\nab\r\ncd\r\n"}, []string{"ab", "cd"}, 0},
		{"CR ends a line", []string{"\rab\rcd\r"}, []string{"ab", "cd"}, 0},
		{"LF ends a line", []string{"\nab\ncd\n"}, []string{"ab", "cd"}, 0},
		{"a line comes in pieces", []string{"\r", "\na", "b", "\r", "\ncd\r\n"}, []string{"ab", "cd"}, 0},
		{"a line without its end is not given out", []string{"\nab"}, nil, 0},
		{"what comes before the first end is dropped and not rejected", []string{"b\r\ncd\r\n"}, []string{"cd"}, 0},
		{"however long it is", []string{long, long, "\ncd\n"}, []string{"cd"}, 0},
		{"STX and ETX are taken off", []string{"\n\x02ab\x03\r\n"}, []string{"ab"}, 0},
		{"but not from the midst", []string{"\na\x02b\n"}, []string{"a\x02b"}, 0},
		{"empty lines are ignored", []string{"\n\n\r\n\x02\x03\n\x02\nab\n"}, []string{"ab"}, 0},
		{"the longest line", []string{"\n", long, "\n"}, []string{long}, 0},
		{"one byte more is rejected whole, and the next line is read", []string{"\n", long, "x", "\nab\n"}, []string{"ab"}, maxLine + 1},
		{"so is a flood, before it ends", []string{"\n", strings.Repeat(long, 80)}, nil, 80 * maxLine},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, rejected := cut(new(lines), tt.chunks...)
			require.Equal(t, tt.want, got)
			require.Equal(t, tt.rejected, rejected)
		})
	}
}

func TestLinesAllocateNothing(t *testing.T) {
	var s lines
	chunk := []byte("\r\nST,NT,+00123.45  g\r\n" + strings.Repeat("\xff", 500) + "\r\nab\r\n")
	require.Zero(t, testing.AllocsPerRun(100, func() {
		for rest := chunk; len(rest) > 0; {
			_, rest, _ = s.next(rest)
		}
	}))
}

// FuzzLines holds the cutter against a slow and plain one.
func FuzzLines(f *testing.F) {
	f.Add([]byte("half\r\nST,NT,+00123.45  g\r\nUS,GS,-00000.10 KG\r\n"), uint8(3))
	f.Add([]byte("\n\x02ST,+   1,5 oz\x03\rOL,GS,+99999.99  g\nQT,+12 PC\nST,TR,1 g\n"), uint8(1))
	f.Add([]byte("\x00\xff\xff\r\nST,NT,+0012ST,NT,+00123.45  g\r\n"+strings.Repeat("9", 300)+"\r\n"), uint8(200))
	f.Fuzz(func(t *testing.T, stream []byte, size uint8) {
		// All lines, without splitting into chunks: the first and the last have no beginning or end.
		whole := strings.Split(strings.ReplaceAll(string(stream), "\r", "\n"), "\n")
		var want []string
		var rejected int
		for i, line := range whole {
			switch {
			case i == 0:
			case len(line) > maxLine:
				rejected += len(line)
			case i < len(whole)-1:
				line = strings.TrimSuffix(strings.TrimPrefix(line, "\x02"), "\x03")
				if line != "" {
					want = append(want, line)
				}
			}
		}
		var s lines
		var got []string
		var gotRejected int
		for chunk := range slices.Chunk(stream, int(size)+1) {
			frames, n := cut(&s, string(chunk))
			got, gotRejected = append(got, frames...), gotRejected+n
		}
		require.Equal(t, want, got)
		require.Equal(t, rejected, gotRejected)
	})
}
