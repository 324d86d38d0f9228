package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station"
)

// serving runs `serve` inside this process on a free port and gives the address that it serves on.
func serving(t *testing.T, config string, args ...string) (address string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "twocup.yaml")
	require.NoError(t, os.WriteFile(file, []byte(config), 0o600))
	ctx, cancel := context.WithCancel(context.Background())
	read, write := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"serve", "--config", file}, args...), streams{nil, io.Discard, write})
		write.Close()
	}()
	t.Cleanup(func() {
		cancel()
		require.Equal(t, exitDone, <-ended)
	})
	log := bufio.NewScanner(read)
	for log.Scan() {
		if found := regexp.MustCompile(`msg=serving address=(\S+)`).FindStringSubmatch(log.Text()); found != nil {
			go io.Copy(io.Discard, read)
			return found[1]
		}
	}
	require.Fail(t, "serve has ended before it served")
	return ""
}

// eventually asks for the stations until they are as wanted.
func eventually(t *testing.T, address string, wanted func([]station.Snapshot) bool) {
	t.Helper()
	require.Eventually(t, func() bool {
		response, err := http.Get("http://" + address + "/api/v1/stations")
		if err != nil {
			return false
		}
		defer response.Body.Close()
		var answer struct{ Stations []station.Snapshot }
		return json.NewDecoder(response.Body).Decode(&answer) == nil && wanted(answer.Stations)
	}, 20*time.Second, 50*time.Millisecond)
}

// Each shape from the simulator's own encoder, over a pseudo-terminal or a pseudo HID device, through the daemon to its snapshot.
func TestADaemonReadsASimulatedScaleOfEveryShape(t *testing.T) {
	t.Parallel()
	config := "listen: 127.0.0.1:0\ndata: " + filepath.Join(t.TempDir(), "data") + "\nstations:\n"
	for _, shape := range simulator.Shapes() {
		config += fmt.Sprintf("  - {id: %s, scales: [{id: small, link: 'sim:', shape: %s, unit: g, division: 0.1 g, capacity: 6000 g}]}\n", shape, shape)
	}
	address := serving(t, config)
	eventually(t, address, func(stations []station.Snapshot) bool {
		require.Len(t, stations, len(simulator.Shapes()))
		for _, s := range stations {
			if s.Scale.Link != "up" || s.Scale.Shown == nil || *s.Scale.Shown != "0.0 g" || !s.Scale.Stable {
				return false
			}
		}
		return true
	})
}

// A recording of one run is another's scale.
func TestARecordingIsReplayed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	records := filepath.Join(dir, "records")
	config := "listen: 127.0.0.1:0\ndata: %s\nstations:\n  - {id: bench-1, scales: [{id: small, link: '%s', shape: letter-status, division: 0.1 g}]}\n"
	up := func(stations []station.Snapshot) bool {
		return stations[0].Scale.Link == "up" && stations[0].Scale.Stable
	}
	t.Run("recorded", func(t *testing.T) {
		eventually(t, serving(t, fmt.Sprintf(config, filepath.Join(dir, "one"), "sim:"), "--record", records), up)
	})
	files, err := filepath.Glob(filepath.Join(records, "bench-1-small-*.log"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	text, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.Regexp(t, `(?m)^# shape: letter-status .+\n(.*\n)*0\.\d{3} "S [SD] `, string(text))
	t.Run("replayed", func(t *testing.T) {
		address := serving(t, fmt.Sprintf(config, filepath.Join(dir, "two"), "replay:"+files[0]+"?speed=0.5"))
		eventually(t, address, up)
		eventually(t, address, func(stations []station.Snapshot) bool {
			advice := stations[0].Scale.Advice
			return stations[0].Scale.Link == "down" && advice != nil && strings.Contains(*advice, "the recording has ended")
		})
	})
}

func TestAHIDScaleIsSimulatedWithoutALine(t *testing.T) {
	for _, flag := range []string{"--tcp=127.0.0.1:0", "--request=Q", "--tare=T", "--zero=Z"} {
		code, _, log := twocup(t, "simulate --shape hid "+flag)
		require.Equal(t, exitUsage, code, flag)
		require.Contains(t, log, "a HID scale has none")
	}
}

func TestSimulateSaysWhereItSendsAndTakesWhatIsTyped(t *testing.T) {
	t.Parallel()
	for _, carrier := range []struct{ name, args, link string }{
		{"a pseudo-terminal", "--shape unit-when-stable", "serial:%s"},
		{"a pseudo HID device", "--shape hid", "hid:%s"},
		{"a network adapter", "--shape unit-when-stable --tcp 127.0.0.1:0", "tcp://%s"},
	} {
		t.Run(carrier.name, func(t *testing.T) {
			ctx, cancel := context.WithCancel(context.Background())
			typed, typing := io.Pipe()
			out, printing := io.Pipe()
			ended := make(chan int, 1)
			go func() {
				ended <- run(ctx, append([]string{"simulate"}, strings.Fields(carrier.args)...), streams{typed, printing, io.Discard})
			}()
			t.Cleanup(func() { cancel(); typing.Close(); require.Equal(t, exitDone, <-ended) })
			lines := bufio.NewScanner(out)
			require.True(t, lines.Scan())
			config := "listen: 127.0.0.1:0\ndata: " + filepath.Join(t.TempDir(), "data") + "\nstations:\n" +
				"  - {id: bench-1, scales: [{id: small, link: '" + fmt.Sprintf(carrier.link, lines.Text()) + "', shape: " + strings.Fields(carrier.args)[1] + ", division: 0.1 g}]}\n"
			address := serving(t, config)
			empty := func(s []station.Snapshot) bool { return s[0].Scale.Stable && *s[0].Scale.Shown == "0.0 g" }
			eventually(t, address, empty)
			fmt.Fprintln(typing, "cup")
			eventually(t, address, func(s []station.Snapshot) bool {
				return s[0].Scale.Stable && s[0].Scale.Value.Grams() > 15
			})
			fmt.Fprintln(typing, "lift")
			eventually(t, address, empty)
		})
	}
}
