package dashboard

import (
	"context"
	"encoding/json"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/gorilla/websocket"

	"twocup/station"
)

const (
	pace       = 40 * time.Millisecond // at most 25 messages a second, but for a change
	writeWait  = 5 * time.Second
	pongWait   = 60 * time.Second
	pingEvery  = 20 * time.Second
	closeWait  = 200 * time.Millisecond // for a viewer that is being written to when the daemon ends
	maxViewers = 100                    // of one station
)

// frame is one message of the live view.
type frame struct {
	data []byte
	read time.Time // arrival of the reading that it shows first; zero where it shows none that is new
}

// hub gives one station's snapshots to its viewers. Its goroutine alone fills their slots.
type hub struct {
	station *station.Station
	metrics *Metrics
	latest  atomic.Pointer[station.Snapshot] // for whoever must not wait
	open    atomic.Int64                     // live views
	join    chan *viewer
	leave   chan *viewer
	done    chan struct{}

	identification *identification

	viewers map[*viewer]struct{}
	frame   frame // the newest sent
	sent    *station.Snapshot
	sentAt  time.Time
}

// viewer is one open live view, with a slot for the newest frame.
type viewer struct{ slot chan frame }

func newHub(st *station.Station, m *Metrics) *hub {
	return &hub{
		station: st, metrics: m, viewers: map[*viewer]struct{}{},
		join: make(chan *viewer), leave: make(chan *viewer), done: make(chan struct{}), identification: newIdentification(),
	}
}

func (h *hub) run(ctx context.Context) {
	defer close(h.done)
	snapshots, stop, err := h.station.Watch(ctx)
	if err != nil {
		return
	}
	defer stop()
	timer := time.NewTimer(pace)
	defer timer.Stop()
	for {
		select {
		case snap, open := <-snapshots:
			if !open {
				return
			}
			h.latest.Store(&snap)
			if wait := pace - time.Since(h.sentAt); wait <= 0 || h.sent == nil || snap.Identity != h.sent.Identity {
				h.send(&snap)
			} else {
				timer.Reset(wait)
			}
		case <-timer.C:
			if newest := h.latest.Load(); newest != h.sent {
				h.send(newest)
			}
		case v := <-h.join:
			h.viewers[v] = struct{}{}
			h.metrics.viewers.Inc()
			if h.sent != nil {
				v.slot <- frame{data: h.frame.data}
			}
		case v := <-h.leave:
			delete(h.viewers, v)
			h.metrics.viewers.Dec()
		case <-ctx.Done():
			return
		}
	}
}

// send offers a snapshot to every viewer: one that is still busy with an older frame skips that.
func (h *hub) send(snap *station.Snapshot) {
	data, err := json.Marshal(snap)
	if err != nil {
		return // a snapshot of plain values always marshals
	}
	f := frame{data: data}
	if h.sent == nil || snap.Read != h.sent.Read {
		f.read = snap.Read
	}
	h.frame, h.sent, h.sentAt = f, snap, time.Now()
	for v := range h.viewers {
		select {
		case <-v.slot:
			h.metrics.skipped.Inc()
		default:
		}
		v.slot <- f // capacity 1, one sender: never blocks
	}
}

var upgrader = websocket.Upgrader{WriteBufferSize: 4096} // the default origin check; no compression

func (s *Server) live(w http.ResponseWriter, r *http.Request) error {
	h := s.hubs[r.PathValue("id")]
	if h == nil {
		return problem(http.StatusNotFound, "there is no station %q", r.PathValue("id"))
	}
	if !websocket.IsWebSocketUpgrade(r) {
		return problem(http.StatusBadRequest, "this is a websocket: ask for an upgrade (RFC 6455)")
	}
	up := upgrader
	up.Error = func(w http.ResponseWriter, r *http.Request, status int, reason error) {
		s.fail(w, r, problem(status, "%v", reason))
	}
	if h.open.Add(1) > maxViewers {
		h.open.Add(-1)
		return problem(http.StatusServiceUnavailable, "%d live views of this station are open already: close some", maxViewers)
	}
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		h.open.Add(-1)
		return nil // the upgrader has answered
	}
	s.running.Go(func() {
		defer h.open.Add(-1)
		h.serve(conn)
	})
	return nil
}

// serve writes frames to one viewer until it leaves, is too slow for a whole write, or the hub ends.
func (h *hub) serve(conn *websocket.Conn) {
	defer conn.Close()
	v := &viewer{slot: make(chan frame, 1)}
	select {
	case h.join <- v:
	case <-h.done:
		sayGoodbye(conn)
		return
	}
	defer func() {
		select {
		case h.leave <- v:
		case <-h.done:
		}
	}()
	gone := make(chan struct{})
	go listen(conn, gone)
	go func() { // a write that waits for a viewer who doesn't read must not hold up the end
		select {
		case <-h.done:
			_ = conn.NetConn().SetWriteDeadline(time.Now().Add(closeWait))
		case <-gone:
		}
	}()
	ping := time.NewTicker(pingEvery)
	defer ping.Stop()
	for {
		select {
		case f := <-v.slot:
			if h.ended() {
				continue
			}
			if write(conn, websocket.TextMessage, f.data, writeWait) != nil {
				return
			}
			if !f.read.IsZero() {
				h.metrics.toDisplay.Observe(time.Since(f.read).Seconds())
			}
		case <-ping.C:
			if write(conn, websocket.PingMessage, nil, writeWait) != nil {
				return
			}
		case <-gone:
			return
		case <-h.done:
			sayGoodbye(conn)
			return
		}
	}
}

func sayGoodbye(conn *websocket.Conn) {
	_ = write(conn, websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseGoingAway, "the daemon ends"), closeWait)
}

func (h *hub) ended() bool {
	select {
	case <-h.done:
		return true
	default:
		return false
	}
}

func write(conn *websocket.Conn, kind int, data []byte, within time.Duration) error {
	if err := conn.SetWriteDeadline(time.Now().Add(within)); err != nil {
		return err
	}
	return conn.WriteMessage(kind, data)
}

// listen reads what a viewer sends, which is nothing but pongs and its leaving.
func listen(conn *websocket.Conn, gone chan<- struct{}) {
	defer close(gone)
	conn.SetReadLimit(512)
	alive := func(string) error { return conn.SetReadDeadline(time.Now().Add(pongWait)) }
	conn.SetPongHandler(alive)
	if alive("") != nil {
		return
	}
	for {
		if _, _, err := conn.NextReader(); err != nil {
			return
		}
	}
}
