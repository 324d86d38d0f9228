package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
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
	"twocup/station/material"
)

var daemonKills = flag.Int("daemon-kills", 3, "times that TestAKilledDaemonGoesOnWithItsBatch kills the daemon")

// person is a simulated hand that looks at the live view of a daemon in another process, across its restarts.
type person struct {
	t       *testing.T
	bench   *simulator.Bench
	address string
	answers chan string

	mu   sync.Mutex
	last station.Snapshot // newest seen
	seen uint64           // snapshots
}

// watch ends with the connection: then the hand sees a display that has lost its station.
func (p *person) watch(live *websocket.Conn) {
	for {
		var snap station.Snapshot
		if err := live.ReadJSON(&snap); err != nil {
			p.bench.See(simulator.Sight{Cue: "reconnect", Phase: "pour"})
			return
		}
		p.mu.Lock()
		p.last = snap
		p.seen++
		p.mu.Unlock()
		p.bench.See(sight(snap.Batch))
		select {
		case choice := <-p.answers:
			p.act(snap.Batch.ID, choice)
		default:
		}
	}
}

func (p *person) act(id, action string) {
	response, err := http.Post("http://"+p.address+"/api/v1/batches/"+id+"/actions", "application/json", strings.NewReader(fmt.Sprintf(`{"action":%q}`, action)))
	if err == nil {
		response.Body.Close() // the question may have gone
	}
}

func (p *person) now() station.Snapshot {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.last
}

// killable is a daemon that a test kills and starts again.
type killable struct {
	*person
	config  string
	process *process
	watched sync.WaitGroup
}

func (k *killable) start() (ready time.Duration) {
	k.t.Helper()
	begun := time.Now()
	k.process = begin(k.t, "serve", "--config", k.config)
	live := dialUntilUp(k.t, k.address)
	ready = time.Since(begun)
	k.watched.Go(func() { k.watch(live) })
	return ready
}

func (k *killable) kill() {
	k.t.Helper()
	_, _ = k.process.end(syscall.SIGKILL)
	k.watched.Wait()
}

func newKillable(t *testing.T, opt simulator.Options) *killable {
	t.Helper()
	dir, address := t.TempDir(), freePort(t)
	p := &person{t: t, address: address, answers: make(chan string, 1)}
	opt.Auto = true
	opt.Answer = func(choice string) {
		select {
		case p.answers <- choice:
		default:
		}
	}
	var err error
	p.bench, err = simulator.New(opt)
	require.NoError(t, err)
	port := filepath.Join(dir, "port")
	plugIn(t, p.bench, port)
	config := strings.NewReplacer("/dev/ttyUSB0?baud=9600", port, "127.0.0.1:8280", address, "/var/lib/twocup", filepath.Join(dir, "data"),
		"    auto: {tare: false, settle: 2s}\n", "").Replace(sound)
	k := &killable{person: p, config: filepath.Join(dir, "twocup.yaml")}
	require.NoError(t, os.WriteFile(k.config, []byte(config), 0o600))
	cards, err := material.ExportYAML(material.Demo()[:1])
	require.NoError(t, err)
	file := filepath.Join(dir, "cards.yaml")
	require.NoError(t, os.WriteFile(file, cards, 0o600))
	code, _, log := twocup(t, "materials import "+file+" --data "+filepath.Join(dir, "data"))
	require.Equal(t, exitDone, code, log)
	return k
}

func (k *killable) get(path string, to any) {
	k.t.Helper()
	response, err := http.Get("http://" + k.address + "/api/v1" + path)
	require.NoError(k.t, err)
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	require.NoError(k.t, err)
	require.Equal(k.t, http.StatusOK, response.StatusCode, string(body))
	require.NoError(k.t, json.Unmarshal(body, to), string(body))
}

type recordSeen struct {
	batch.View
	Events []struct{ Kind string }
}

// Killed at any moment of its batch, by SIGKILL, the daemon is back with it and goes on where the hand stands. What was
// shown as accepted is there afterwards, what is recorded as poured is in the cup, and no verdict is untrue.
func TestAKilledDaemonGoesOnWithItsBatch(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	random := rand.New(rand.NewPCG(uint64(*daemonKills), 9))
	for kills := 0; kills < *daemonKills; {
		k := newKillable(t, simulator.Options{Seed: random.Uint64(), Hand: quickHand})
		k.start()
		require.Eventually(t, func() bool { return k.now().Scale.Stable }, 20*time.Second, 20*time.Millisecond)
		body := `{"material":"harbour-clear","amount":{"total_g":150}}`
		response, err := http.Post("http://"+k.address+"/api/v1/stations/bench-1/batches", "application/json", bytes.NewReader([]byte(body)))
		require.NoError(t, err)
		var started recordSeen
		require.NoError(t, json.NewDecoder(response.Body).Decode(&started))
		response.Body.Close()
		require.Equal(t, http.StatusCreated, response.StatusCode)
		id := started.ID

		for kills < *daemonKills {
			time.Sleep(time.Duration(random.IntN(12_000)) * time.Millisecond) // when the kill comes, and no synchronisation
			before := k.now()
			if before.Batch == nil || before.Batch.Verdict != nil {
				break
			}
			k.kill()
			kills++
			require.Less(t, k.start(), 3*time.Second, "a second after the machine is idle; here it may be busy")
			require.Eventually(t, func() bool { b := k.now().Batch; return b != nil && b.ID == id }, 5*time.Second, 10*time.Millisecond,
				"killed in phase %s, cue %s", before.Batch.Phase, before.Batch.Cue)
			for i, p := range before.Batch.Parts {
				if p.Accepted {
					require.True(t, k.now().Batch.Parts[i].Accepted, "part %s was shown as accepted", p.Part.Part)
					require.Equal(t, p.Poured, k.now().Batch.Parts[i].Poured)
				}
			}
		}
		var record recordSeen
		require.Eventually(t, func() bool { k.get("/batches/"+id, &record); return record.Verdict != nil }, 4*time.Minute, 100*time.Millisecond)
		a, b := k.bench.Truth()
		if record.Doubt == nil {
			require.InDelta(t, a.Grams(), record.Parts[0].Poured.Grams(), 0.4)
			require.InDelta(t, b.Grams(), record.Parts[1].Poured.Grams(), 0.4)
		}
		truth := 100 * (b.Grams()/(0.5*a.Grams()) - 1)
		if *record.Verdict == "within" {
			require.LessOrEqual(t, max(truth, -truth), 2+*record.U)
		}
		t.Logf("%d kills so far; A %v, B %v, verdict %s, doubt %v", kills, a, b, *record.Verdict, record.Doubt)
		k.kill()
		code, out, log := twocup(t, "records verify --config "+k.config)
		require.Equal(t, exitDone, code, out+log)
	}
}
