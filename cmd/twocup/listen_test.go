package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/simulator"
)

// heard runs listen in this process, on recordings: then it ends by itself.
func heard(ctx context.Context, args ...string) (code int, out, log string) {
	var o, l bytes.Buffer
	code = run(ctx, append([]string{"listen"}, args...), streams{nil, &o, &l})
	return code, o.String(), l.String()
}

// recorded writes a recording: text is pairs of a time and a quoted chunk.
func recorded(t testing.TB, text string) (path string) {
	path = filepath.Join(t.TempDir(), "recorded.log")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// withoutTimes leaves the times of day out of lines for people.
func withoutTimes(text string) (lines []string) {
	for line := range strings.Lines(text) {
		lines = append(lines, strings.TrimSpace(line[len("15:04:05.000"):]))
	}
	return lines
}

// The first line after opening is dropped, since it may have been cut: here it is an empty one.
const mixed = `0.000 "\r\nUS,GS,+00012.3  g\r\n" 0.100 "US,GS,+00012.4  g\r\n" 0.200 "XA,GS,+00012.3  g\r\nXB,GS,+00012.3  g\r\nXC,GS,+00012.3  g\r\n"
0.300 "OL,GS,+99999.9  g\r\n" 0.400 "ST,NT,+0012.5  g\r\n" 0.500 "ST,NT,-00000.1  g\r\n" 0.600 "ST,NT,+00000.0  g\r\n"
`

func TestReadingsStandApartFromWhatIsNone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := recorded(t, mixed)
		code, out, log := heard(t.Context(), "replay:"+path, "--shape", "status-comma")
		require.Zero(t, code, log)
		require.Equal(t, []string{
			`12.4 g  moving  gross  normal  "US,GS,+00012.4  g"`,
			`-  -       gross  over    "OL,GS,+99999.9  g"`,
			`-0.1 g  stable  net    normal  "ST,NT,-00000.1  g"`,
			`0.0 g  stable  net    normal  "ST,NT,+00000.0  g"`,
		}, withoutTimes(out))
		head, rest, _ := strings.Cut(log, "\n")
		require.Equal(t, fmt.Sprintf("listening to %q, shape status-comma", path), head)
		require.Equal(t, []string{
			`held: 12.3 g in a layout that is new here; it counts once a second line has it  "US,GS,+00012.3  g"`,
			`link up`,
			`rejected 17 bytes: status "XA" is none of ST, US, OL, UL, QT  "XA,GS,+00012.3  g"`,
			`rejected 17 bytes: status "XB" is none of ST, US, OL, UL, QT  "XB,GS,+00012.3  g"`,
			`rejected 17 bytes: status "XC" is none of ST, US, OL, UL, QT  "XC,GS,+00012.3  g"`,
			`link up: Some 52 % of what comes from the scale is damaged: check baud rate and framing, and the cable`,
			`held: 12.5 g in a layout that is new here; it counts once a second line has it  "ST,NT,+0012.5  g"`,
			`rejected 16 bytes before this line`,
			`in all: 4 readings at 6.00 Hz; 67 bytes rejected; of other lines 3 rejected, 2 held, 0 without a weight; 0 reconnects`,
		}, withoutTimes(rest))
	})
}

func TestOneObjectForEachLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := recorded(t, `0.000 "\r\nST,GS,+00012.3  g\r\n" 0.100 "ST,GS,+00012.3  g\r\n" 0.200 "\x02~\r\n" 0.300 "OL,GS,+99999.9  g\r\n"`)
		code, out, log := heard(t.Context(), "replay:"+path, "--shape", "status-comma", "--json")
		require.Zero(t, code, log)
		require.Equal(t, `{"event":"line","at":"2000-01-01T00:00:00.000Z","outcome":"held","shown":"12.3 g","value_g":12.3,"motion":"stable","kind":"gross","state":"normal","rejected_bytes":0,"reason":null,"raw":"ST,GS,+00012.3  g"}
{"event":"line","at":"2000-01-01T00:00:00.100Z","outcome":"read","shown":"12.3 g","value_g":12.3,"motion":"stable","kind":"gross","state":"normal","rejected_bytes":0,"reason":null,"raw":"ST,GS,+00012.3  g"}
{"event":"link","at":"2000-01-01T00:00:00.100Z","link":"up","advice":null,"totals":{"readings":1,"rate_hz":null,"rejected_bytes":0,"rejected_lines":0,"held_lines":1,"no_weight_lines":0,"reconnects":0}}
{"event":"line","at":"2000-01-01T00:00:00.200Z","outcome":"rejected","shown":null,"value_g":null,"motion":null,"kind":null,"state":null,"rejected_bytes":1,"reason":"status \"~\" is none of ST, US, OL, UL, QT","raw":"\\x02~"}
{"event":"line","at":"2000-01-01T00:00:00.300Z","outcome":"read","shown":null,"value_g":null,"motion":null,"kind":"gross","state":"over","rejected_bytes":0,"reason":null,"raw":"OL,GS,+99999.9  g"}
{"event":"end","at":"2000-01-01T00:00:00.300Z","totals":{"readings":2,"rate_hz":5,"rejected_bytes":1,"rejected_lines":1,"held_lines":1,"no_weight_lines":0,"reconnects":0}}
`, out)
		require.Equal(t, 1, strings.Count(log, "\n"), "the head, and nothing else: %s", log)
	})
}

func TestWhatAutoHasFoundIsTold(t *testing.T) {
	text := strings.Builder{}
	for i := range 40 {
		fmt.Fprintf(&text, "%d.%d00 \"ST,GS,+%05d.%d  g\\r\\n\"\n", i/10, i%10, i/10, i%10)
	}
	synctest.Test(t, func(t *testing.T) {
		code, _, log := heard(t.Context(), "replay:"+recorded(t, text.String()))
		require.Zero(t, code, log)
		require.Contains(t, log, "found: shape status-comma, division 0.1 g or coarser: put different loads on the pan, and it shows\n")
		require.Contains(t, log, "found: shape status-comma, division 0.1 g\n")
	})
	synctest.Test(t, func(t *testing.T) {
		code, out, log := heard(t.Context(), "replay:"+recorded(t, text.String()), "--json")
		require.Zero(t, code, log)
		require.Equal(t, 2, strings.Count(out, `{"event":"found","at":"2000-`))
		require.Contains(t, out, `"found":{"baud":null,"frame":null,"shape":"status-comma"`)
	})
	require.Equal(t, "4800 baud 7E1, shape bare", textFound(scaledrv.Candidate{Baud: 4800, Frame: "7E1", Shape: "bare"}))
}

func TestListeningEndsAfterItsTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		text := strings.Builder{}
		text.WriteString(`0.050 "\r\n" `)
		for ms := 100; ms < 10_000; ms += 100 {
			fmt.Fprintf(&text, "%d.%03d \"ST,GS,+00012.3  g\\r\\n\"\n", ms/1000, ms%1000)
		}
		path, begun := recorded(t, text.String()), time.Now()
		code, out, log := heard(t.Context(), "replay:"+path, "--shape", "status-comma", "--for", "1050ms")
		require.Zero(t, code)
		require.Equal(t, 1050*time.Millisecond, time.Since(begun))
		require.Equal(t, 9, strings.Count(out, "\n"), "the first of ten is held")
		require.Contains(t, log, "in all: 9 readings at 10.00 Hz; 0 bytes rejected")
	})
}

// TestTheRateLeavesBreaksOut: a scale that sends ten a second and is unplugged for a minute still sends ten a second.
func TestTheRateLeavesBreaksOut(t *testing.T) {
	sheet := newLineSheet(streams{nil, io.Discard, io.Discard}, false)
	at := time.Unix(1e9, 0)
	require.Nil(t, sheet.totals(scaledrv.Stats{}).Rate)
	for range 2 {
		for range 4 {
			sheet.heard(scaledrv.Line{At: at, Reading: reading.Reading{At: at}})
			at = at.Add(100 * time.Millisecond)
		}
		sheet.happened(scaledrv.Event{Link: scaledrv.LinkUp}, scaledrv.Stats{})
		sheet.happened(scaledrv.Event{Link: scaledrv.LinkDown, Err: io.EOF, Advice: "unplugged"}, scaledrv.Stats{})
		at = at.Add(time.Minute)
	}
	require.Equal(t, "in all: 8 readings at 10.00 Hz; 0 bytes rejected; of other lines 0 rejected, 0 held, 0 without a weight; 3 reconnects",
		sheet.totals(scaledrv.Stats{Reconnects: 3}).String())
}

// TestNothingAScaleSendsReachesTheTerminalRaw, neither in a line nor in the reason why it was rejected.
func TestNothingAScaleSendsReachesTheTerminalRaw(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		args := []string{"--unit", "g", "--shape", rapid.SampledFrom(append(simulator.Shapes(), "pattern")).Draw(rt, "shape")}
		if args[3] == "pattern" {
			args = append(args, "--pattern", `(?P<value>[0-9]+)(?P<unit>.*)`)
		}
		chunks := rapid.SliceOfN(rapid.SliceOfN(rapid.SampledFrom([]byte("ST,GS+0123.4=g \x02\x03\x07\x1b[2J\x9b\r\n\r\n")), 1, 40), 1, 20).Draw(rt, "chunks")
		var text strings.Builder
		for _, c := range chunks {
			fmt.Fprintf(&text, "0.000 %s\n", strconv.QuoteToASCII(string(c)))
		}
		path := filepath.Join(dir, "recorded.log")
		require.NoError(rt, os.WriteFile(path, []byte(text.String()), 0o600))
		for _, mode := range [][]string{nil, {"--json"}} {
			code, out, log := heard(t.Context(), append(append([]string{"replay:" + path}, args...), mode...)...)
			require.Zero(rt, code, log)
			for _, r := range out + log {
				require.True(rt, r == '\n' || r >= ' ' && r < 0x7f, "%q in %q", r, out+log)
			}
		}
	})
}

func TestWhatListenCanNotDo(t *testing.T) {
	dir := t.TempDir()
	existing := recorded(t, "")
	line, err := simulator.OpenPTY()
	require.NoError(t, err)
	defer line.Close()
	first, err := openPort(t, line.Path())
	require.NoError(t, err)
	defer first.Close()
	for _, tt := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no port", nil, exitUsage, "<port>"},
		{"a port that is no path", []string{"ttyUSB0"}, exitUsage, "write it as serial:/dev/ttyUSB0"},
		{"a speed that is none", []string{"/dev/ttyUSB0?baud=9601"}, exitUsage, "baud=9601"},
		{"an unknown shape", []string{"/dev/ttyUSB0", "--shape", "round"}, exitUsage, "--shape"},
		{"a pattern without its shape", []string{"/dev/ttyUSB0", "--shape", "bare", "--pattern", "x"}, exitUsage, "--shape"},
		{"a unit that is none", []string{"/dev/ttyUSB0", "--unit", "stone"}, exitUsage, "--unit"},
		{"a request that is no text", []string{"/dev/ttyUSB0", "--shape", "bare", "--request", `\q`}, exitUsage, "--request"},
		{"a time between requests without one", []string{"/dev/ttyUSB0", "--shape", "bare", "--every", "1s"}, exitUsage, "--every"},
		{"a negative time", []string{"/dev/ttyUSB0", "--shape", "bare", "--for", "-1s"}, exitUsage, "--for"},
		{"a missing port", []string{dir + "/ttyUSB0", "--shape", "bare"}, exitUnreachable, "plug the adapter in, or correct the path"},
		{"a missing port under a name with colons", []string{dir + "/pci-0000:00:14.0", "--shape", "bare"}, exitUnreachable, "plug the adapter in, or correct the path"},
		{"a port in use", []string{line.Path(), "--shape", "bare"}, exitUnreachable, "another program reads this port: end it"},
		{"a missing recording", []string{"replay:" + dir + "/none.log", "--shape", "bare"}, exitUnreachable, "no such file"},
		{"a recording that is there already", []string{line.Path(), "--shape", "bare", "--record", existing}, exitUnreachable, "never overwritten"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			code, out, log := heard(t.Context(), tt.args...)
			require.Equal(t, tt.code, code)
			require.Empty(t, out)
			require.Contains(t, log, tt.says)
			require.LessOrEqual(t, strings.Count(log, "\n"), 2, log)
		})
	}
}

func openPort(t *testing.T, path string) (scaledrv.Port, error) {
	link, err := scaledrv.ParseLink("serial:" + path)
	require.NoError(t, err)
	return link.Open(t.Context())
}

func TestARecordingOfNothingLeavesNoFile(t *testing.T) {
	dir := t.TempDir()
	code, _, _ := heard(t.Context(), dir+"/ttyUSB0", "--shape", "bare", "--record", dir+"/kept.log")
	require.Equal(t, exitUnreachable, code)
	require.NoFileExists(t, dir+"/kept.log")
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

func TestListeningEndsWhenNothingCanBeWritten(t *testing.T) {
	var log bytes.Buffer
	code := run(t.Context(), []string{"listen", "replay:" + recorded(t, mixed) + "?speed=1000", "--shape", "status-comma"}, streams{nil, fullDisk{}, &log})
	require.Equal(t, exitFault, code)
	require.Contains(t, log.String(), "write what was heard: no space left on device")
	require.NotContains(t, log.String(), "in all:")
}

// listening is listen as a user runs it, and the readings it has printed.
type listening struct {
	*process
	readings []string // without their times
}

func (l *listening) next() string {
	line, err := l.stdout.ReadString('\n')
	require.NoError(l.t, err) // stderr is written to until the process has been waited for
	l.readings = append(l.readings, withoutTimes(line)[0])
	return l.readings[len(l.readings)-1]
}

// stop presses Ctrl-C, takes what still comes, and gives the log.
func (l *listening) stop() (log string) {
	require.NoError(l.t, l.cmd.Process.Signal(os.Interrupt))
	rest, err := io.ReadAll(l.stdout)
	require.NoError(l.t, err)
	l.readings = append(l.readings, withoutTimes(string(rest))...)
	require.NoError(l.t, l.cmd.Wait(), l.stderr.String())
	return l.stderr.String()
}

func TestARecordingReplaysToTheSameReadings(t *testing.T) {
	t.Parallel() // in real time
	dir := t.TempDir()
	port, kept := filepath.Join(dir, "port"), filepath.Join(dir, "kept.log")
	bench, err := simulator.New(simulator.Options{
		Seed: 1, Scale: simulator.ScaleOptions{RateHz: 50}, Damage: simulator.DamageOptions{Seed: 1, Flip: 0.01, Drop: 0.01},
	})
	require.NoError(t, err)
	require.NoError(t, bench.Do("cup", 0))
	plugIn(t, bench, port)
	l := listening{process: begin(t, "listen", port, "--shape", "status-comma", "--record", kept)}
	for range 50 {
		l.next()
	}
	log := l.stop()
	require.Contains(t, log, "rejected", "damage was to be among it")
	code, out, log := heard(t.Context(), "replay:"+kept+"?speed=1000", "--shape", "status-comma")
	require.Zero(t, code, log)
	require.Equal(t, l.readings, withoutTimes(out))
}

func TestListeningOutlivesItsPort(t *testing.T) {
	t.Parallel() // in real time
	port := filepath.Join(t.TempDir(), "port")
	empty, err := simulator.New(simulator.Options{Seed: 1, Scale: simulator.ScaleOptions{RateHz: 50}})
	require.NoError(t, err)
	unplug := plugIn(t, empty, port)
	l := listening{process: begin(t, "listen", port, "--shape", "status-comma")}
	require.Regexp(t, `^-?0\.[01] g  (stable|moving)  gross  normal  "(ST|US),GS,[+-]000000\.[01]  g"$`, l.next(), "one division of noise either way")
	unplug()
	laden, err := simulator.New(simulator.Options{Seed: 2, Scale: simulator.ScaleOptions{RateHz: 50}})
	require.NoError(t, err)
	require.NoError(t, laden.Do("cup", 0))
	plugIn(t, laden, port)
	for strings.HasPrefix(l.next(), "0.0 g") {
	}
	l.next()
	l.next()
	log := l.stop()
	require.Contains(t, log, "link down: ")
	require.Regexp(t, fmt.Sprintf(`in all: %d readings at [0-9.]+ Hz; .*; 1 reconnects\n$`, len(l.readings)), log)
}

// A scale that only answers is asked as often as told, and nothing else is sent to it.
func TestAScaleThatAnswersIsAsked(t *testing.T) {
	t.Parallel()
	bench, err := simulator.New(simulator.Options{Seed: 1, Scale: simulator.ScaleOptions{OnRequest: []byte("SI\r\n")}})
	require.NoError(t, err)
	port := filepath.Join(t.TempDir(), "port")
	plugIn(t, bench, port)
	p := begin(t, "listen", port, "--shape", "status-comma", "--request", `SI\r\n`, "--every", "20ms", "--json")
	for n := 0; n < 3; {
		text, err := p.stdout.ReadString('\n')
		require.NoError(t, err)
		var line struct{ Event, Outcome string }
		require.NoError(t, json.Unmarshal([]byte(text), &line))
		if line.Event == "line" && line.Outcome == "read" {
			n++
		}
	}
	go func() { _, _ = io.Copy(io.Discard, p.stdout) }()
	code, _ := p.end(syscall.SIGTERM)
	require.Zero(t, code, p.stderr.String())
}
