package dashboard

import (
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m, goleak.IgnoreTopFunction("database/sql.(*DB).connectionOpener"))
}

// scriptedScale is a scale whose lines a test writes.
type scriptedScale struct {
	far, near net.Conn
	opened    bool          // the driver's
	hold      chan struct{} // where it is made, the line can be opened again only once this is closed
}

func newScriptedScale() *scriptedScale {
	far, near := net.Pipe()
	return &scriptedScale{far: far, near: near}
}

func (s *scriptedScale) Name() string { return "scripted" }
func (s *scriptedScale) Open(ctx context.Context) (scaledrv.Port, error) {
	if s.opened && s.hold != nil {
		select {
		case <-s.hold:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	s.opened = true
	return s.near, nil
}
func (s *scriptedScale) say(t *testing.T, line string) {
	t.Helper()
	_, err := s.far.Write([]byte(line + "\r\n"))
	require.NoError(t, err)
}

// house is a dashboard with one station on a scripted scale, and a description that every answer is held against.
type house struct {
	t      *testing.T
	scale  *scriptedScale
	server *Server
	http   *httptest.Server
	router routers.Router
}

// testStation is a station on a scripted scale, with the example materials in its ledger.
func testStation(t *testing.T, ctx context.Context, dir string, m *Metrics) (*station.Station, *scriptedScale, *ledger.Ledger) {
	l, err := ledger.Open(dir)
	require.NoError(t, err)
	for _, card := range material.Demo() {
		_, err := l.AddMaterial(t.Context(), card, time.Now())
		require.NoError(t, err)
	}
	shape, err := scaledrv.ShapeByName("status-comma", scaledrv.ShapeOptions{})
	require.NoError(t, err)
	scale := newScriptedScale()
	return station.Start(ctx, station.Config{
		ID: "bench-1", Name: "Test bench", Link: scale, Shape: shape, Ledger: l, Recorded: m.Recorded, Wrote: m.Wrote,
		Auto:  batch.Auto{Tare: true, Accept: true, Settle: time.Second, HandOver: 4 * time.Second},
		Scale: plan.Scale{ID: "small", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram},
	}), scale, l
}

func newHouse(t *testing.T, hand Hand) *house {
	ctx, cancel := context.WithCancel(context.Background())
	metrics := NewMetrics()
	st, scale, l := testStation(t, ctx, t.TempDir(), metrics)
	server := New(ctx, Config{Stations: []*station.Station{st}, Ledger: l, Metrics: metrics, Version: "test", Hand: hand, Log: slog.New(slog.DiscardHandler)})
	h := &house{t: t, scale: scale, server: server, http: httptest.NewServer(server)}
	h.router = description(t)
	t.Cleanup(func() {
		cancel()
		h.http.Close()
		server.Wait()
		st.Wait()
		require.NoError(t, l.Close())
		http.DefaultClient.CloseIdleConnections()
	})
	return h
}

func readDescription(t *testing.T) *openapi3.T {
	data, err := os.ReadFile("openapi.yaml")
	require.NoError(t, err)
	doc, err := openapi3.NewLoader().LoadFromData(data)
	require.NoError(t, err)
	require.NoError(t, doc.Validate(t.Context()))
	return doc
}

func description(t *testing.T) routers.Router {
	router, err := gorillamux.NewRouter(readDescription(t))
	require.NoError(t, err)
	return router
}

// ask sends a request and holds the answer against the description.
func (h *house) ask(method, path, body string) (status int, answer string) {
	h.t.Helper()
	r, err := http.NewRequest(method, h.http.URL+path, strings.NewReader(body))
	require.NoError(h.t, err)
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return h.send(r)
}

func (h *house) send(r *http.Request) (status int, answer string) {
	h.t.Helper()
	response, err := http.DefaultClient.Do(r)
	require.NoError(h.t, err)
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	require.NoError(h.t, err)
	h.described(r, response, string(text))
	return response.StatusCode, string(text)
}

// described fails where an answer is not what openapi.yaml says of it.
func (h *house) described(r *http.Request, response *http.Response, body string) {
	h.t.Helper()
	clean := r.Clone(h.t.Context())
	clean.URL.Host, clean.URL.Scheme, clean.Host = "", "", ""
	route, params, err := h.router.FindRoute(clean)
	if err != nil {
		require.GreaterOrEqual(h.t, response.StatusCode, 400, "%s is answered and not described", r.URL.Path)
		require.Equal(h.t, "application/problem+json", response.Header.Get("Content-Type"))
		return
	}
	in := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: clean, PathParams: params, Route: route},
		Status:                 response.StatusCode,
		Header:                 response.Header,
		Options:                &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true},
	}
	require.NoError(h.t, openapi3filter.ValidateResponse(h.t.Context(), in.SetBodyBytes([]byte(body))), "%s %s", r.Method, r.URL.Path)
}
