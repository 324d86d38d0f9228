package scaledrv

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestEachLineIsHeardWithWhatBecameOfIt: a listener sees every byte, also those that were no line.
func TestEachLineIsHeardWithWhatBecameOfIt(t *testing.T) {
	var heard []string
	in := newIntake(statusCommaShape, newHearing(func(l Line) {
		text := fmt.Sprintf("%d %q %v, damage %d", l.Number, l.Raw, l.Outcome, l.Rejected)
		switch l.Outcome {
		case LineRead, LineHeld:
			text += ": " + l.Reading.Value.String()
		case LineRejected:
			text += ": " + l.Err.Error()
		}
		heard = append(heard, text)
	}))
	stream := "00.0  g\r\nST,GS,+00012.3  g\r\nST,GS,+00012.4  g\r\nST,GS,+0012.5  g\r\nXX,GS,+00012.3  g\r\nOL,GS,+99999.9  g\r\n" +
		strings.Repeat("~", maxLine+3) + "\r\nUS,GS,+00012.6  g\r\n"
	for rest := []byte(stream); len(rest) > 0; {
		_, rest, _ = in.next(rest, time.Time{})
	}
	require.Equal(t, []string{
		`1 "00.0  g\r\nST,GS,+00012.3  g" held, damage 0: 12.3 g`,
		`2 "ST,GS,+00012.4  g" read, damage 0: 12.4 g`,
		`3 "ST,GS,+0012.5  g" held, damage 0: 12.5 g`,
		`4 "XX,GS,+00012.3  g" rejected, damage 33: status "XX" is none of ST, US, OL, UL, QT`,
		`5 "OL,GS,+99999.9  g" read, damage 0: 0`,
		`6 "` + strings.Repeat("~", maxLine+3) + `\r\nUS,GS,+00012.6  g" read, damage 131: 12.6 g`,
	}, heard)
}

// TestBytesWithoutALineAreHeard: a wrong baud rate may bring no line's end at all.
func TestBytesWithoutALineAreHeard(t *testing.T) {
	var heard []Line
	in := newIntake(statusCommaShape, newHearing(func(l Line) { heard = append(heard, l) }))
	at := time.Unix(1e9, 0)
	in.next([]byte("\r\n"), at)
	_, _, ok := in.next([]byte(strings.Repeat("\xf3", 2000)), at)
	require.False(t, ok)
	require.Len(t, heard, 1)
	require.Equal(t, LineRejected, heard[0].Outcome)
	require.Equal(t, errNoFrame, heard[0].Err)
	require.Equal(t, 2000, heard[0].Rejected)
	require.Len(t, heard[0].Raw, maxRaw, "the newest of them")
	require.Equal(t, at, heard[0].At)
}

func TestLineLogKeepsTheNewestLines(t *testing.T) {
	log, raw := LineLog{}, []byte("0000")
	require.Empty(t, log.After(0))
	for n := range uint64(500) {
		copy(raw, fmt.Sprintf("%04d", n+1))
		log.Add(Line{Number: n + 1, Raw: raw})
	}
	all := log.After(0)
	require.Len(t, all, 200)
	require.Equal(t, "0301", string(all[0].Raw))
	require.Equal(t, "0500", string(all[199].Raw))
	require.Len(t, log.After(498), 2)
	log.Add(Line{Number: 501, Raw: []byte("0501")})
	require.Equal(t, "0301", string(all[0].Raw), "what was given out stays")
}

func BenchmarkHeardLine(b *testing.B) {
	var log LineLog
	in := newIntake(statusCommaShape, newHearing(log.Add))
	line := []byte("ST,GS,+00012.3  g\r\n")
	b.ReportAllocs()
	for b.Loop() {
		in.next(line, time.Time{})
	}
}

// unescaped reads the text by the rule in openapi.yaml, with code of its own.
func unescaped(t require.TestingT, text string) (raw string) {
	for text != "" {
		var c byte
		switch {
		case !strings.HasPrefix(text, `\`):
			require.True(t, text[0] >= 0x20 && text[0] <= 0x7e, "%q", text)
			c, text = text[0], text[1:]
		case strings.HasPrefix(text, `\x`):
			n, err := strconv.ParseUint(text[2:4], 16, 8)
			require.NoError(t, err)
			c, text = byte(n), text[4:]
		default:
			known, ok := map[byte]byte{'\\': '\\', 'r': '\r', 'n': '\n'}[text[1]]
			require.True(t, ok, "%q", text)
			c, text = known, text[2:]
		}
		raw += string([]byte{c})
	}
	return raw
}

func FuzzEscapedBytes(f *testing.F) {
	f.Add([]byte("ST,GS,+00012.3  g\r\n"))
	f.Add([]byte("\x02\x00\xff\\x41\t\x1f\x7f\x80"))
	f.Fuzz(func(t *testing.T, raw []byte) { require.Equal(t, string(raw), unescaped(t, EscapedBytes(raw))) })
}
