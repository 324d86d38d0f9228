package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/simulator"
)

// onPTY runs a simulated scale on a pseudo-terminal until the test has ended.
func onPTY(t *testing.T, scale simulator.ScaleOptions) (bench *simulator.Bench, path string) {
	t.Helper()
	bench, err := simulator.New(simulator.Options{Seed: 11, Scale: scale})
	require.NoError(t, err)
	line, err := simulator.OpenPTY()
	require.NoError(t, err)
	require.NoError(t, line.Honour(bench.UART()))
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = bench.Run(ctx, line)
	}()
	t.Cleanup(func() { stop(); <-ended; line.Close() })
	return bench, line.Path()
}

// underScales is a configuration with an entry pasted in.
func underScales(entry string) string {
	return "data: /var/lib/twocup\nstations:\n  - id: bench-1\n    scales:\n" + entry
}

func TestIdentifyPrintsAnEntryThatTheConfigurationTakes(t *testing.T) {
	for _, tt := range []struct {
		name   string
		scale  simulator.ScaleOptions
		args   []string
		shape  string
		faults int
	}{
		{"lines that say all", simulator.ScaleOptions{Baud: 4800}, nil, "status-comma", 0},
		{"a scale that must be asked", simulator.ScaleOptions{OnRequest: []byte("SI\r\n")}, []string{"--ask"}, "status-comma", 0},
		{"a unit that is given", simulator.ScaleOptions{Shape: "reversed"}, []string{"--unit", "g"}, "reversed", 0},
		{"a unit that nobody states is a fault of the entry as printed", simulator.ScaleOptions{Shape: "reversed"}, nil, "reversed", 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, path := onPTY(t, tt.scale)
			var out, log bytes.Buffer
			require.Equal(t, exitDone, run(t.Context(), append([]string{"identify", path}, tt.args...), streams{nil, &out, &log}), log.String())
			require.Contains(t, out.String(), "# Sure, after ")
			require.Contains(t, out.String(), "shape: "+tt.shape+"\n")
			require.Contains(t, log.String(), "listening at 9600 baud")
			cfg, faults := readConfig([]byte(underScales(out.String())))
			require.Len(t, faults, tt.faults, "%s\n%v", out.String(), faults)
			if tt.faults == 0 {
				st := cfg.stations[0]
				require.Equal(t, tt.shape, st.Shape.Name())
				require.Equal(t, reading.Gram/10, st.Scale.Division)
				require.Equal(t, string(tt.scale.OnRequest), string(st.Driver.Request))
			}
		})
	}
}

func TestIdentifySaysWhenItIsNotSureAndExitsSo(t *testing.T) {
	t.Parallel()
	_, path := onPTY(t, simulator.ScaleOptions{Shape: "bare", NoiseSD: -1, Line: simulator.LineOptions{Sign: true, Unit: true}})
	var out, log bytes.Buffer
	require.Equal(t, exitFault, run(t.Context(), []string{"identify", "serial:" + path + "?baud=9600"}, streams{nil, &out, &log}))
	require.Contains(t, out.String(), "# NOT SURE")
	require.Contains(t, out.String(), "# Or:\n")
	require.Contains(t, log.String(), "put something on the pan")
	_, faults := readConfig([]byte(underScales(out.String())))
	require.Empty(t, faults, out.String())
}

func TestIdentifyAsJSON(t *testing.T) {
	t.Parallel()
	_, path := onPTY(t, simulator.ScaleOptions{Shape: "letter-status"})
	var out, log bytes.Buffer
	require.Equal(t, exitDone, run(t.Context(), []string{"identify", "--json", path}, streams{nil, &out, &log}), log.String())
	var found struct {
		Link           string
		Identification struct {
			Sure       bool
			Candidates []struct {
				Baud               int
				Frame, Shape, Unit string
			}
		}
		Entries []string
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &found), out.String())
	require.Equal(t, "serial:"+path, found.Link)
	require.True(t, found.Identification.Sure)
	require.Len(t, found.Entries, 1)
	c := found.Identification.Candidates[0]
	require.Equal(t, []any{9600, "8N1", "letter-status", "g"}, []any{c.Baud, c.Frame, c.Shape, c.Unit})
}

func TestIdentifyOfWhatIsNotThere(t *testing.T) {
	for _, tt := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no such port", []string{"/dev/no-such-port"}, exitUnreachable, "plug the adapter in, or correct the path"},
		{"no path", []string{"ttyUSB0"}, exitUsage, "write it as serial:/dev/ttyUSB0"},
		{"no unit", []string{"/dev/ttyUSB0", "--unit", "stone"}, exitUsage, "--unit: unknown unit"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var out, log bytes.Buffer
			require.Equal(t, tt.code, run(t.Context(), append([]string{"identify"}, tt.args...), streams{nil, &out, &log}))
			require.Contains(t, log.String(), tt.says)
			require.Empty(t, out.String())
		})
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, path := onPTY(t, simulator.ScaleOptions{})
	var out, log bytes.Buffer
	require.Equal(t, exitFault, run(ctx, []string{"identify", path}, streams{nil, &out, &log}))
	require.True(t, strings.Contains(log.String(), "interrupted"), log.String())
}
