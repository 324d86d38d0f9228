package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
)

const sound = `listen: 127.0.0.1:8280
data: /var/lib/twocup
stations:
  - id: bench-1
    name: Casting bench
    scales:
      - id: small
        link: serial:/dev/ttyUSB0?baud=9600
        shape: status-comma
        capacity: 6000 g
        division: 0.1 g
    auto: {tare: false, settle: 2s}
    keys: {pedal: F13}
`

func TestASoundConfigurationIsReadWhole(t *testing.T) {
	cfg, faults := readConfig([]byte(sound))
	require.Empty(t, faults)
	require.Equal(t, "127.0.0.1:8280", cfg.listen)
	require.Equal(t, "/var/lib/twocup", cfg.data)
	require.Len(t, cfg.stations, 1)
	st := cfg.stations[0]
	require.Equal(t, "bench-1", st.ID)
	require.Equal(t, "Casting bench", st.Name)
	require.Equal(t, "F13", st.Pedal)
	require.Equal(t, reading.Gram/10, st.Scale.Division)
	require.Equal(t, 6*reading.Kilogram, st.Scale.Capacity)
	require.Zero(t, st.Scale.Repeatability)
	require.Equal(t, 2*time.Second, st.Driver.StaleAfter)
	require.Equal(t, 2*time.Second, st.Auto.Settle)
	require.Equal(t, 4*time.Second, st.Auto.HandOver)
	require.False(t, st.Auto.Tare)
	require.True(t, st.Auto.Accept)
}

func TestHowAScaleIsAskedIsReadAsItStands(t *testing.T) {
	cfg, faults := readConfig([]byte(strings.Replace(sound, "        capacity:", `        request: "\x1bP\r\n"
        every: 100ms
        auto_off: 3m
        commands: {tare: "T\r\n", zero: 'Z'}
        unit: kg
        capacity:`, 1)))
	require.Empty(t, faults)
	require.Equal(t, scaledrv.Options{
		StaleAfter: 2 * time.Second, Request: []byte("\x1bP\r\n"), Every: 100 * time.Millisecond, AutoOff: 3 * time.Minute,
		Tare: []byte("T\r\n"), Zero: []byte("Z"),
	}, cfg.stations[0].Driver)
}

func TestAScaleThatIsToBeIdentifiedNeedsNoShapeAndNoDivision(t *testing.T) {
	for _, entry := range []string{"        shape: auto\n", ""} {
		text := strings.Replace(sound, "        shape: status-comma\n", entry, 1)
		cfg, faults := readConfig([]byte(strings.Replace(text, "        division: 0.1 g\n", "", 1)))
		require.Empty(t, faults)
		require.Equal(t, "auto", cfg.stations[0].Shape.Name())
		require.Zero(t, cfg.stations[0].Scale.Division)
	}
}

func TestAFaultSaysWhereAndWhat(t *testing.T) {
	for _, tt := range []struct{ name, old, with, want string }{
		{"an unknown key", "data:", "date:", "2: date: is not a known key"},
		{"a required key", "data: /var/lib/twocup\n", "", "1: data: is required"},
		{"an address that others reach", "127.0.0.1:8280", "0.0.0.0:8280", "1: listen: \"0.0.0.0:8280\" is not this machine's own"},
		{"access", "stations:", "access: {}\nstations:", "3: access: is not built yet"},
		{"a beat without a request", "        capacity:", "        every: 100ms\n        capacity:", "10: stations[0].scales[0].every: needs a request"},
		{"a beat slower than values grow stale", "        capacity:", "        request: Q\n        every: 2s\n        capacity:", "11: stations[0].scales[0].every: 2s leaves each value stale"},
		{"a unit that is none", "        capacity:", "        unit: stone\n        capacity:", "10: stations[0].scales[0].unit: unknown unit of mass \"stone\""},
		{"a pattern without its shape", "        capacity:", "        pattern: x\n        capacity:", "10: stations[0].scales[0].pattern: a pattern goes with shape: pattern"},
		{"a pattern without a value", "status-comma\n", "pattern\n        pattern: 'W(?P<unit>g)'\n", "10: stations[0].scales[0].pattern: "},
		{"a hopeless pattern", "status-comma\n", "pattern\n        pattern: '(?P<value>'\n", "10: stations[0].scales[0].pattern: "},
		{"an unknown command", "        capacity:", "        commands: {dance: X}\n        capacity:", "10: stations[0].scales[0].commands.dance: is not a known key"},
		{"a key that a scanner sends is no pedal", "F13", "b", `13: stations[0].keys.pedal: "b" is no key of a pedal: Enter, F1 to F24, PageUp, PageDown, Home, End, Insert, Pause, ScrollLock or ArrowUp, ArrowDown, ArrowLeft, ArrowRight`},
		{"a link that is not built", "serial:/dev/ttyUSB0?baud=9600", "manual", "8: stations[0].scales[0].link: "},
		{"a shape that is not built", "status-comma", "hid", "9: stations[0].scales[0].shape: "},
		{"a shape that must know its unit", "status-comma", "reversed", "9: stations[0].scales[0].shape: "},
		{"a division without unit", "0.1 g", "0.1", "11: stations[0].scales[0].division: "},
		{"a negative division", "0.1 g", "-0.1 g", "11: stations[0].scales[0].division: -0.1 g must be more than 0"},
		{"divisions by range", "0.1 g", "[{to: 1500 g, d: 0.1 g}]", "11: stations[0].scales[0].division: divisions by range are not built yet"},
		{"no division", "        division: 0.1 g\n", "", "7: stations[0].scales[0].division: is required"},
		{"a second scale", "    auto:", "      - {id: big}\n    auto:", "12: stations[0].scales[1]: more than one scale"},
		{"a time that is none", "settle: 2s", "settle: soon", "12: stations[0].auto.settle: \"soon\""},
		{"neither true nor false", "tare: false", "tare: maybe", "12: stations[0].auto.tare: \"maybe\""},
		{"an unknown key inside", "tare: false", "taring: false", "12: stations[0].auto.taring: is not a known key"},
		{"an id that is none", "id: bench-1", "id: Bench 1", "4: stations[0].id: "},
		{"a key that stands twice", "data: /var/lib/twocup", "data: a\ndata: b", "3: the file: is no YAML"},
		{"no YAML", "listen:", "\tlisten:", "the file: is no YAML"},
		{"a list where one value belongs", "/var/lib/twocup", "[a, b]", "2: data: must be one plain value"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Contains(t, sound, tt.old)
			_, faults := readConfig([]byte(strings.Replace(sound, tt.old, tt.with, 1)))
			var text []string
			for _, f := range faults {
				text = append(text, fmt.Sprintf("%d: %s: %s", f.line, f.key, f.detail))
			}
			require.Contains(t, strings.Join(text, "\n"), tt.want)
		})
	}
}

func TestTheShapeOfAHIDLinkIsHID(t *testing.T) {
	const serial, shape = "serial:/dev/ttyUSB0?baud=9600", "        shape: status-comma\n"
	hid := strings.Replace(sound, serial, "hid:1209:0001", 1)
	for name, text := range map[string]string{
		"left out": strings.Replace(hid, shape, "", 1), "auto": strings.Replace(hid, "status-comma", "auto", 1), "stated": strings.Replace(hid, "status-comma", "hid", 1),
		"of a recording": strings.Replace(strings.Replace(sound, serial, "replay:a.log", 1), "status-comma", "hid", 1),
	} {
		cfg, faults := readConfig([]byte(text))
		require.Empty(t, faults, name)
		require.Equal(t, "hid", cfg.stations[0].Shape.Name(), name)
	}
	for _, tt := range []struct{ name, text, want string }{
		{"another", hid, `9: stations[0].scales[0].shape: "hid:1209:0001" is read by what the scale's descriptor says`},
		{"on a serial line", strings.Replace(sound, "status-comma", "hid", 1), "9: stations[0].scales[0].shape: a scale on a serial line has no reports"},
		{"with a request", strings.Replace(hid, shape, "        request: Q\n", 1), "9: stations[0].scales[0].request: nothing is ever sent to a HID scale"},
		{"with a key", strings.Replace(hid, shape, "        commands: {tare: T}\n", 1), "9: stations[0].scales[0].commands: nothing is ever sent to a HID scale"},
	} {
		_, faults := readConfig([]byte(tt.text))
		require.Len(t, faults, 1, tt.name)
		require.Contains(t, fmt.Sprintf("%d: %s: %s", faults[0].line, faults[0].key, faults[0].detail), tt.want)
	}
}

func TestTwoStationsOfOneName(t *testing.T) {
	second := sound[strings.Index(sound, "  - id: bench-1"):]
	_, faults := readConfig([]byte(sound + second))
	require.Len(t, faults, 2)
	require.Contains(t, faults[0].detail, "names a station already")
	require.Contains(t, faults[1].detail, "another station's scale already")
}

func TestCheckTellsAllFaultsAtOnceAndItsExitCode(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "twocup.yaml")
	require.NoError(t, os.WriteFile(file, []byte("listen: 10.0.0.1:80\nstations: []\ncolour: red\n"), 0o600))
	var out, log bytes.Buffer
	require.Equal(t, exitFault, run(t.Context(), []string{"check", "--config", file}, streams{nil, &out, &log}))
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.Len(t, lines, 4)
	for _, line := range lines {
		require.Regexp(t, `^`+file+`:\d+: \w+: .+`, line)
	}
	require.Equal(t, exitUnreachable, run(t.Context(), []string{"check", "--config", filepath.Join(dir, "none")}, streams{nil, &out, &log}))
	require.Equal(t, exitUsage, run(t.Context(), []string{"check"}, streams{nil, &out, &log}))
	require.Equal(t, exitUsage, run(t.Context(), []string{"dance"}, streams{nil, &out, &log}))
	require.Equal(t, exitDone, run(t.Context(), []string{"version"}, streams{nil, &out, &log}))
	require.Equal(t, exitDone, run(t.Context(), []string{"--help"}, streams{nil, &out, &log}))
}

func TestTheExampleConfigurationIsSound(t *testing.T) {
	var out, log bytes.Buffer
	require.Equal(t, exitDone, run(t.Context(), []string{"check", "--config", "../../deploy/twocup.yaml"}, streams{nil, &out, &log}))
	require.Empty(t, out.String()+log.String())
}

func FuzzReadConfig(f *testing.F) {
	f.Add([]byte(sound))
	f.Add([]byte("a: &x [*x]"))
	f.Add([]byte("- 1\n---\n- 2"))
	f.Fuzz(func(t *testing.T, data []byte) {
		cfg, faults := readConfig(data)
		if len(faults) == 0 {
			require.NotEmpty(t, cfg.stations)
			require.NotEmpty(t, cfg.data)
			require.True(t, cfg.stations[0].Scale.Division > 0 || cfg.stations[0].Shape.Name() == "auto")
		}
	})
}
