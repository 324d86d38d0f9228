package scaledrv

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestReadRecording(t *testing.T) {
	at := func(ms int, text string) recorded {
		return recorded{time.Duration(ms) * time.Millisecond, []byte(text)}
	}
	for _, tt := range []struct {
		name, text string
		want       []recorded
	}{
		{"nothing", "", nil},
		{"a head alone", "# shape: bare", nil},
		{"pairs in a line, and lines", "# head\n0.000 \"a\"    0.104 \"b\\r\\n\"\n1.000 \"c\"\n", []recorded{at(0, "a"), at(104, "b\r\n"), at(1000, "c")}},
		{"no end of the last line", `0.001 "a"`, []recorded{at(1, "a")}},
		{"lines that end in CR LF, as a letter may bring them", "# head\r\n0.001 \"a\"\r\n0.002 \"b\"\r\n", []recorded{at(1, "a"), at(2, "b")}},
		{"empty lines and tabs", "\n \t\n\t0.001 \"a\"\t0.002 \"b\"\n\n", []recorded{at(1, "a"), at(2, "b")}},
		{"comments between and behind", "0.001 \"a\" # why\n# 0.002 \"no\"\n0.003 \"b\"\n", []recorded{at(1, "a"), at(3, "b")}},
		{"every kind of byte", `0.001 "\x00\xff\x02é\"\\#"`, []recorded{at(1, "\x00\xff\x02\u00e9\"\\#")}},
		{"two at one time", "0.001 \"a\"\n0.001 \"b\"", []recorded{at(1, "a"), at(1, "b")}},
		{"more than eleven years", `360000000.000 "a"`, []recorded{at(360_000_000_000, "a")}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := readRecording(strings.NewReader(tt.text))
			require.NoError(t, err)
			require.Equal(t, tt.want, got)
		})
	}
}

func TestReadRecordingNamesTheLineThatIsWrong(t *testing.T) {
	const form = "no seconds with three digits after the mark, such as 0.100"
	long := strings.Repeat("x", maxRecordingLine)
	for _, tt := range []struct{ name, text, want string }{
		{"a raw line of a scale", "# head\n\nST,GS,+1.0 g\n", `line 3: time "ST,GS,+1.0": ` + form},
		{"two digits after the mark", `0.10 "a"`, `line 1: time "0.10": ` + form},
		{"a decimal comma", `0,100 "a"`, `line 1: time "0,100": ` + form},
		{"no digit before the mark", `.100 "a"`, `line 1: time ".100": ` + form},
		{"a sign", `-1.000 "a"`, `line 1: time "-1.000": ` + form},
		{"a time of very many digits", strings.Repeat("0", 100) + `1.000 "a"`, `line 1: time "00000000000000000000": ` + form},
		{"a time beyond all recordings", `360000000.001 "a"`, `line 1: time "360000000.001": later than 100000 hours`},
		{"a time that goes back", "1.000 \"a\"\n0.999 \"b\"", "line 2: time 0.999 is before the one in front of it"},
		{"a time alone", "1.000 \"a\" 1.100\n", `line 1: after the time 1.100 stands no chunk between " and "`},
		{"a chunk without its end", "1.000 \"a\n", `line 1: after the time 1.000 stands no chunk between " and "`},
		{"a chunk in other quotes", "1.000 `a`", `line 1: after the time 1.000 stands no chunk between " and "`},
		{"an unknown escape", `1.000 "\q"`, `line 1: after the time 1.000 stands no chunk between " and "`},
		{"an empty chunk", `1.000 ""`, "line 1: the chunk at 1.000 is empty"},
		{"no space between pairs", `1.000 "a"1.100 "b"`, "line 1: no space behind the chunk at 1.000"},
		{"a line without end", "1.000 \"a\"\n1.100 \"" + long, "line 2: longer than 65536 bytes"},
		{"so is a comment", "# " + long, "line 1: longer than 65536 bytes"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			chunks, err := readRecording(strings.NewReader(tt.text))
			require.EqualError(t, err, tt.want)
			require.Nil(t, chunks)
		})
	}
}

func TestEveryGoldenLogIsARecording(t *testing.T) {
	logs, err := filepath.Glob("testdata/*/*.log")
	require.NoError(t, err)
	require.NotEmpty(t, logs)
	for _, path := range logs {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		chunks, err := readRecording(bytes.NewReader(text))
		require.NoError(t, err, path)
		require.NotEmpty(t, chunks, path)
	}
}

// FuzzReadRecording: what was read, written again as pairs, reads the same.
func FuzzReadRecording(f *testing.F) {
	f.Add([]byte("# head\r\n0.000 \"a\"    0.104 \"b\\r\\n\" # why\n1.000 \"\\x00\\xff\""))
	f.Add([]byte("0.001 `a`\n0.001 \"\"\n360000000.001 \"a\""))
	f.Fuzz(func(t *testing.T, text []byte) {
		chunks, err := readRecording(bytes.NewReader(text))
		if err != nil {
			require.Regexp(t, `^line \d+: .`, err.Error())
			require.Less(t, len(err.Error()), 200, "an error is read by a person")
			return
		}
		var again strings.Builder
		last := time.Duration(0)
		for _, c := range chunks {
			require.NotEmpty(t, c.bytes)
			require.GreaterOrEqual(t, c.at, last)
			last = c.at
			again.WriteString(formatSeconds(c.at) + " " + strconv.QuoteToASCII(string(c.bytes)) + "\n")
		}
		got, err := readRecording(strings.NewReader(again.String()))
		if err != nil { // a chunk that fitted a line as it was may not when each byte takes four
			require.ErrorContains(t, err, "longer than")
			return
		}
		require.Equal(t, chunks, got)
	})
}
