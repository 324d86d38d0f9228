package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/ledger"
)

// programPath is this program, built once.
var programPath = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "twocup-test-")
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "twocup")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if path, err := programPath(); err == nil {
		os.RemoveAll(filepath.Dir(path))
	}
	os.Exit(code)
}

// process is the program as a user runs it.
type process struct {
	t      *testing.T
	cmd    *exec.Cmd
	stdout *bufio.Reader
	stderr bytes.Buffer
}

func begin(t *testing.T, args ...string) *process {
	t.Helper()
	path, err := programPath()
	require.NoError(t, err)
	p := &process{t: t, cmd: exec.Command(path, args...)}
	out, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	p.stdout, p.cmd.Stderr = bufio.NewReader(out), &p.stderr
	require.NoError(t, p.cmd.Start())
	t.Cleanup(func() { _ = p.cmd.Process.Kill() })
	return p
}

// end sends a signal and returns the exit code and how long the end took.
func (p *process) end(s os.Signal) (code int, took time.Duration) {
	p.t.Helper()
	require.NoError(p.t, p.cmd.Process.Signal(s))
	begun := time.Now()
	err := p.cmd.Wait()
	if exit := (*exec.ExitError)(nil); err != nil && !errors.As(err, &exit) {
		require.NoError(p.t, err)
	}
	return p.cmd.ProcessState.ExitCode(), time.Since(begun)
}

func freePort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

func TestTheDemoStandsAtOnceAndEndsCleanlyWithinASecond(t *testing.T) {
	address := freePort(t)
	p := begin(t, "demo", "--listen", address)
	line, err := p.stdout.ReadString('\n')
	require.NoError(t, err)
	require.Contains(t, line, "http://"+address+"/bench/bench-1")
	response, err := http.Get("http://" + address + "/bench/bench-1")
	require.NoError(t, err)
	response.Body.Close()
	require.Equal(t, 200, response.StatusCode)
	live, _, err := websocket.DefaultDialer.Dial("ws://"+address+"/api/v1/stations/bench-1/live", nil)
	require.NoError(t, err)
	defer live.Close()
	code, took := p.end(os.Interrupt)
	require.Zero(t, code, p.stderr.String())
	require.Less(t, took, time.Second)
	_, _, err = live.ReadMessage()
	for err == nil {
		_, _, err = live.ReadMessage()
	}
	require.True(t, websocket.IsCloseError(err, websocket.CloseGoingAway), "%v", err)
}

func TestWhatIsMissingIsSaidInOneLine(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	held := t.TempDir()
	holder := begin(t, "demo", "--listen", "127.0.0.1:0", "--data", held)
	_, err = holder.stdout.ReadString('\n')
	require.NoError(t, err)
	for _, tt := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"a taken port", []string{"demo", "--listen", taken.Addr().String()}, exitUnreachable, "address already in use"},
		{"an unwritable data folder", []string{"demo", "--data", filepath.Join(file, "data")}, exitUnreachable, "not a directory"},
		{"a data folder without a parent", []string{"demo", "--data", filepath.Join(held, "a", "b")}, exitUnreachable, "its parent must exist"},
		{"a data folder that another process holds", []string{"demo", "--listen", "127.0.0.1:0", "--data", held}, exitUnreachable, "held by another twocup"},
		{"an address that others reach", []string{"demo", "--listen", "0.0.0.0:0"}, exitUsage, "loopback"},
		{"an unknown hand", []string{"demo", "--hand", "left"}, exitUsage, "--hand"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var out, log bytes.Buffer
			require.Equal(t, tt.code, run(t.Context(), tt.args, streams{nil, &out, &log}))
			require.Equal(t, 1, strings.Count(log.String(), "\n"), log.String())
			require.Contains(t, log.String(), tt.says)
			require.Empty(t, out.String())
		})
	}
}

// The daemon outlives its scale: no device at the start is no reason to exit, and one that comes is read.
func TestServeWaitsForItsScale(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	dir := t.TempDir()
	port, address := filepath.Join(dir, "port"), freePort(t)
	config := strings.NewReplacer("/dev/ttyUSB0?baud=9600", port, "127.0.0.1:8280", address, "/var/lib/twocup", filepath.Join(dir, "data")).Replace(sound)
	file := filepath.Join(dir, "twocup.yaml")
	require.NoError(t, os.WriteFile(file, []byte(config), 0o600))
	p := begin(t, "serve", "--config", file)
	live := dialUntilUp(t, address)
	defer live.Close()
	snap := waitFor(t, live, func(s station.Snapshot) bool { return s.Scale.Advice != nil })
	require.Equal(t, "down", snap.Scale.Link)
	require.Contains(t, *snap.Scale.Advice, "no such file or directory (plug the adapter in, or correct the path)")
	require.Nil(t, snap.Scale.Shown)

	bench, err := simulator.New(simulator.Options{Seed: 1})
	require.NoError(t, err)
	unplug := plugIn(t, bench, port)
	snap = waitFor(t, live, func(s station.Snapshot) bool { return s.Scale.Link == "up" })
	require.Equal(t, "0.0 g", *snap.Scale.Shown)
	unplug()
	snap = waitFor(t, live, func(s station.Snapshot) bool { return s.Scale.Link == "down" })
	require.Equal(t, "0.0 g", *snap.Scale.Shown, "the last good value stays")
	require.Nil(t, snap.Scale.Value)
	plugIn(t, bench, port)
	waitFor(t, live, func(s station.Snapshot) bool { return s.Scale.Link == "up" })

	code, took := p.end(syscall.SIGTERM)
	require.Zero(t, code, p.stderr.String())
	require.Less(t, took, 2*time.Second)
	require.Equal(t, 1, strings.Count(p.stderr.String(), "no such file"), "told once and not at each try:\n%s", p.stderr.String())
}

// plugIn has a bench send on a new pseudo-terminal under a stable name, until it is unplugged.
func plugIn(t *testing.T, bench *simulator.Bench, name string) (unplug func()) {
	line, err := simulator.OpenPTY()
	require.NoError(t, err)
	next := name + ".next"
	require.NoError(t, os.Symlink(line.Path(), next))
	require.NoError(t, os.Rename(next, name))
	ctx, cancel := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { _ = bench.Run(ctx, line) })
	unplug = sync.OnceFunc(func() {
		cancel()
		running.Wait()
		_ = os.Remove(name)
		line.Close()
	})
	t.Cleanup(unplug)
	return unplug
}

// dialUntilUp opens the live view of a daemon that is just starting.
func dialUntilUp(t *testing.T, address string) *websocket.Conn {
	t.Helper()
	var live *websocket.Conn
	require.Eventually(t, func() bool {
		var err error
		live, _, err = websocket.DefaultDialer.Dial("ws://"+address+"/api/v1/stations/bench-1/live", nil)
		return err == nil
	}, 10*time.Second, 20*time.Millisecond)
	return live
}

// waitFor reads the live view until a snapshot is as wanted.
func waitFor(t *testing.T, live *websocket.Conn, wanted func(station.Snapshot) bool) station.Snapshot {
	t.Helper()
	require.NoError(t, live.SetReadDeadline(time.Now().Add(2*time.Minute)))
	for {
		var snap station.Snapshot
		require.NoError(t, live.ReadJSON(&snap))
		if wanted(snap) {
			return snap
		}
	}
}

// runningDemo is a demo inside this process: its truth can be asked.
type runningDemo struct {
	*simulation
	ledger  *ledger.Ledger // a test may write to it as well
	address string
}

func startDemo(t *testing.T, opt simulator.Options) runningDemo {
	t.Helper()
	bench, err := newSimulation(opt)
	require.NoError(t, err)
	s := streams{nil, io.Discard, io.Discard}
	d, err := openDaemon("127.0.0.1:0", t.TempDir(), s)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- runDemo(ctx, d, bench, s) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
		bench.end()
	})
	running := runningDemo{bench, d.ledger, d.listener.Addr().String()}
	live := dialUntilUp(t, running.address)
	defer live.Close()
	waitFor(t, live, func(s station.Snapshot) bool { return s.Scale.Stable }) // the pan has been seen empty
	return running
}

// quickHand pours as fast as a person can and still stop.
var quickHand = simulator.HandOptions{Flow: 30, Dribble: 3}

func (d runningDemo) post(t *testing.T, path, body string) (status int, answer []byte) {
	t.Helper()
	return d.send(t, "POST", path, body)
}

func (d runningDemo) send(t *testing.T, method, path, body string) (status int, answer []byte) {
	t.Helper()
	r, err := http.NewRequest(method, "http://"+d.address+"/api/v1"+path, strings.NewReader(body))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	response, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer response.Body.Close()
	answer, err = io.ReadAll(response.Body)
	require.NoError(t, err)
	return response.StatusCode, answer
}

// One whole weigh-out as a program outside sees it: bytes on a pseudo-terminal, the daemon, the live view, the record;
// judged by what is really in the cup.
func TestAWeighOutOverAPseudoTerminal(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	d := startDemo(t, simulator.Options{Seed: 7, Auto: true, Hand: quickHand})
	live := dialUntilUp(t, d.address)
	defer live.Close()
	status, answer := d.post(t, "/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":150}}`)
	require.Equal(t, http.StatusCreated, status, string(answer))
	var record struct {
		batch.View
		Weighed *time.Time
	}
	require.NoError(t, json.Unmarshal(answer, &record))

	var last uint64
	waitFor(t, live, func(s station.Snapshot) bool {
		require.Greater(t, s.Seq, last)
		last = s.Seq
		return s.Batch != nil && s.Batch.Verdict != nil
	})
	a, b := d.bench.Truth()
	response, err := http.Get("http://" + d.address + "/api/v1/batches/" + record.ID)
	require.NoError(t, err)
	defer response.Body.Close()
	require.NoError(t, json.NewDecoder(response.Body).Decode(&record))
	require.Equal(t, "within", string(*record.Verdict))
	require.InDelta(t, a.Grams(), record.Parts[0].Poured.Grams(), 0.3)
	require.InDelta(t, b.Grams(), record.Parts[1].Poured.Grams(), 0.3)
	truth := 100 * (b.Grams()/(0.5*a.Grams()) - 1)
	require.InDelta(t, truth, *record.Error, *record.U)
	require.NotNil(t, record.PotLife.Started)
	require.NotNil(t, record.Weighed)
	waitFor(t, live, func(s station.Snapshot) bool { return s.Batch == nil })
}
