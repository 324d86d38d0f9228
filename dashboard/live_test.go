package dashboard

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gorilla/websocket"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station"
	"twocup/station/plan"
)

func (h *house) dial() *websocket.Conn {
	h.t.Helper()
	conn, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(h.http.URL, "http")+"/api/v1/stations/bench-1/live", nil)
	require.NoError(h.t, err)
	h.t.Cleanup(func() { conn.Close() })
	return conn
}

// line is the scale's, for a number of tenths of a gram.
func line(status string, tenths int) string {
	return fmt.Sprintf("%s,GS,%+09.1f  g", status, float64(tenths)/10)
}

// Every message of the live view is a whole snapshot as openapi.yaml has it.
func TestLiveMessagesAreAsDescribed(t *testing.T) {
	h := newHouse(t, nil)
	schema := readDescription(t).Components.Schemas["Snapshot"].Value
	conn := h.dial()
	next := func() (snap station.Snapshot) {
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(10*time.Second)))
		_, data, err := conn.ReadMessage()
		require.NoError(t, err)
		var value any
		require.NoError(t, json.Unmarshal(data, &value))
		require.NoError(t, schema.VisitJSON(value), string(data))
		require.NoError(t, json.Unmarshal(data, &snap))
		require.WithinDuration(t, time.Now(), snap.At, 1500*time.Millisecond)
		return snap
	}
	first := next()
	require.Equal(t, "down", first.Scale.Link)
	require.Nil(t, first.Scale.Shown)
	id := h.start()
	for n := range 30 { // a pan that was empty, then a cup
		tenths := 0
		if n > 8 {
			tenths = 1523
		}
		h.scale.say(t, line("ST", tenths))
	}
	var snap station.Snapshot
	for last := first.Seq; snap.Batch == nil || snap.Scale.Shown == nil || *snap.Scale.Shown != "152.3 g"; {
		snap = next()
		require.Greater(t, snap.Seq, last)
		last = snap.Seq
	}
	require.Equal(t, id, snap.Batch.ID)
	require.Equal(t, "up", snap.Scale.Link)
	require.Equal(t, 1.0, testutil.ToFloat64(h.server.cfg.Metrics.viewers))
	conn.Close()
	require.Eventually(t, func() bool { return testutil.ToFloat64(h.server.cfg.Metrics.viewers) == 0 }, 10*time.Second, 5*time.Millisecond)
}

// bubble is a hub over a scripted scale in synctest's time.
type bubble struct {
	t     *testing.T
	scale *scriptedScale
	st    *station.Station
	hub   *hub
	stop  func()
}

func newBubble(t *testing.T, dir string) *bubble {
	ctx, cancel := context.WithCancel(context.Background())
	metrics := NewMetrics()
	st, scale, l := testStation(t, ctx, dir, metrics)
	b := &bubble{t: t, scale: scale, st: st, hub: newHub(st, metrics)}
	go b.hub.run(ctx)
	b.stop = func() {
		cancel()
		<-b.hub.done
		b.st.Wait()
		b.scale.far.Close()
		require.NoError(t, l.Close())
	}
	return b
}

func (b *bubble) view() *viewer {
	v := &viewer{slot: make(chan frame, 1)}
	b.hub.join <- v
	return v
}

// count takes frames for a while, as fast as they come.
func (v *viewer) count(d time.Duration) (n int) {
	for over := time.After(d); ; {
		select {
		case <-v.slot:
			n++
		case <-over:
			return n
		}
	}
}

func TestThePaceOfTheLiveView(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		b := newBubble(t, dir)
		defer b.stop()
		v := b.view()
		synctest.Wait()
		v.count(time.Second)
		require.InDelta(t, 5, v.count(5*time.Second), 1, "one a second when nothing is new")

		go func() { // 100 lines a second, moving
			for n := range 300 {
				b.scale.say(t, line("US", n))
				time.Sleep(10 * time.Millisecond)
			}
		}()
		v.count(500 * time.Millisecond)
		n := v.count(2 * time.Second)
		require.LessOrEqual(t, n, 51, "at most 25 a second")
		require.GreaterOrEqual(t, n, 40)
		v.count(time.Second)

		begun := time.Now()
		amount := 300 * reading.Gram
		_, err := b.st.StartBatch(t.Context(), station.Order{Material: "harbour-clear", Amount: plan.Amount{TotalG: &amount}})
		require.NoError(t, err)
		<-v.slot
		require.Zero(t, time.Since(begun), "a change of batch is sent at once")
	})
}

// hijacked is the server's side of a request whose connection a test holds the other end of.
type hijacked struct {
	*httptest.ResponseRecorder
	conn net.Conn
}

func (h hijacked) Hijack() (net.Conn, *bufio.ReadWriter, error) {
	return h.conn, bufio.NewReadWriter(bufio.NewReader(h.conn), bufio.NewWriter(h.conn)), nil
}

// A viewer that doesn't read must not hold up the end, however full its connection is.
func TestAStuckViewerDoesNotHoldUpTheEnd(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		b := newBubble(t, dir)
		near, far := net.Pipe() // holds nothing: a write waits until it is read
		go func() { _, _ = http.ReadResponse(bufio.NewReaderSize(far, 16), nil) }()
		r := httptest.NewRequest("GET", "/live", nil)
		for name, value := range map[string]string{"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13", "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="} {
			r.Header.Set(name, value)
		}
		conn, err := upgrader.Upgrade(hijacked{httptest.NewRecorder(), near}, r, nil)
		require.NoError(t, err)
		served := make(chan struct{})
		go func() { b.hub.serve(conn); close(served) }()
		time.Sleep(500 * time.Millisecond) // a frame waits to be read by now
		begun := time.Now()
		b.stop()
		<-served
		require.LessOrEqual(t, time.Since(begun), 2*closeWait)
		far.Close()
	})
}

func TestASlowViewerSkipsAndHoldsNobodyUp(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		b := newBubble(t, dir)
		defer b.stop()
		slow, quick := b.view(), b.view()
		go func() {
			for n := range 200 {
				b.scale.say(t, line("US", n))
				time.Sleep(20 * time.Millisecond)
			}
		}()
		require.GreaterOrEqual(t, quick.count(5*time.Second), 80)
		require.GreaterOrEqual(t, testutil.ToFloat64(b.hub.metrics.skipped), 70.0)
		var newest station.Snapshot
		require.NoError(t, json.Unmarshal((<-slow.slot).data, &newest))
		require.WithinDuration(t, time.Now(), newest.At, beatAndSome)
		require.Equal(t, "19.9 g", *newest.Scale.Shown)
	})
}

const beatAndSome = 1100 * time.Millisecond

func TestMetricsAreServed(t *testing.T) {
	h := newHouse(t, nil)
	h.start()
	for range 10 {
		h.scale.say(t, line("ST", 0))
	}
	conn := h.dial()
	require.Eventually(t, func() bool {
		_, _, err := conn.ReadMessage()
		return err == nil && h.snapshot().Scale.Link == "up"
	}, 10*time.Second, 5*time.Millisecond)
	scrape := func() string {
		response, err := http.Get(h.http.URL + "/metrics")
		require.NoError(t, err)
		defer response.Body.Close()
		text, err := io.ReadAll(response.Body)
		require.NoError(t, err)
		return string(text)
	}
	text := scrape()
	for _, want := range []string{
		`twocup_scale_up{scale="small",station="bench-1"} 1`,
		`twocup_scale_readings_total{scale="small",station="bench-1"} 8`, // the first line is dropped, the second waits for its like
		`twocup_scale_rejected_bytes_total{scale="small",station="bench-1"} 0`,
		`twocup_scale_reconnects_total{scale="small",station="bench-1"} 0`,
		`twocup_scale_reading_age_seconds{scale="small",station="bench-1"}`,
		`twocup_batches_total{material="harbour-clear",station="bench-1",verdict="within"} 0`,
		`twocup_viewers 1`,
		`twocup_ledger_write_seconds_count 1`,
		`twocup_reading_to_display_seconds_count`,
	} {
		require.Contains(t, text, want)
	}
}
