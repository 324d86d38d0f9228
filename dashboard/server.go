package dashboard

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"

	"twocup/station"
	"twocup/station/ledger"
)

// Config is what the dashboard shows.
type Config struct {
	Stations []*station.Station
	Ledger   *ledger.Ledger
	Metrics  *Metrics
	Version  string
	Hand     Hand         // nil outside the demo
	Log      *slog.Logger // nil means silent
}

// Server answers everything under the daemon's address.
type Server struct {
	cfg     Config
	log     *slog.Logger
	mux     *http.ServeMux
	handler http.Handler
	hubs    map[string]*hub
	running sync.WaitGroup
}

// New makes a server and starts its live view, until ctx ends.
func New(ctx context.Context, cfg Config) *Server {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	s := &Server{cfg: cfg, log: cfg.Log, mux: http.NewServeMux(), hubs: map[string]*hub{}}
	for _, st := range cfg.Stations {
		h := newHub(st, cfg.Metrics)
		s.hubs[st.ID()] = h
		cfg.Metrics.watch(st, h)
		s.running.Go(func() { h.run(ctx) })
	}
	for pattern, handle := range s.routes() {
		s.mux.Handle(pattern, handle)
	}
	guard := http.NewCrossOriginProtection()
	guard.SetDenyHandler(s.answer(func(http.ResponseWriter, *http.Request) error {
		return problem(http.StatusForbidden, "a page of another origin may not write here")
	}))
	s.handler = guard.Handler(http.HandlerFunc(s.dispatch))
	return s
}

// routes are all that is answered. Everything under /api/v1 stands in openapi.yaml as well.
func (s *Server) routes() map[string]http.Handler {
	routes := map[string]http.Handler{
		"GET /api/v1/stations":               s.answer(s.listStations),
		"GET /api/v1/stations/{id}":          s.answer(s.getStation),
		"GET /api/v1/stations/{id}/live":     s.answer(s.live),
		"GET /api/v1/stations/{id}/lines":    s.answer(s.getLines),
		"POST /api/v1/stations/{id}/batches": s.answer(s.startBatch),
		"GET /api/v1/materials":              s.answer(s.listMaterials),
		"POST /api/v1/materials":             s.answer(s.addMaterial),
		"GET /api/v1/materials/{id}":         s.answer(s.getMaterial),
		"PUT /api/v1/materials/{id}":         s.answer(s.putMaterial),
		"POST /api/v1/plan":                  s.answer(s.plan),
		"GET /api/v1/batches":                s.answer(s.listBatches),
		"GET /api/v1/batches.csv":            s.answer(s.exportBatches),
		"GET /api/v1/batches/{id}":           s.answer(s.getBatch),
		"GET /api/v1/batches/{id}/trace":     s.answer(s.getTrace),
		"POST /api/v1/batches/{id}/actions":  s.answer(s.act),
		"GET /api/v1/habits":                 s.answer(s.listHabits),
		"DELETE /api/v1/habits":              s.answer(s.forgetHabits),
		"GET /healthz":                       s.answer(s.healthy),
		"GET /readyz":                        s.answer(s.ready),
		"GET /metrics":                       s.cfg.Metrics.handler(),
		"GET /{$}":                           page("index.html"),
		"GET /bench/{id}":                    s.answer(s.bench),
		"GET /start/{id}":                    s.answer(s.startPage),
		"GET /materials":                     page("materials.html"),
		"GET /materials/{id}":                s.answer(s.materialPage),
		"GET /scale/{id}":                    s.answer(s.scalePage),
		"GET /records":                       page("records.html"),
		"GET /records/{id}":                  s.answer(s.recordPage),
		"GET /static/":                       http.StripPrefix("/static/", static()),

		"GET /api/v1/stations/{id}/identify":  s.answer(s.getIdentification),
		"POST /api/v1/stations/{id}/identify": s.answer(s.identify),
	}
	if s.cfg.Hand != nil {
		routes["POST /api/v1/demo/hand"] = s.answer(s.moveHand)
	}
	return routes
}

// Wait returns when the live view has ended.
func (s *Server) Wait() { s.running.Wait() }

func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	s.handler.ServeHTTP(w, r)
}

// dispatch gives the mux's own refusals (404, 405) the form of all others, and keeps out what a hostile page reaches by
// naming this machine in a domain of its own.
func (s *Server) dispatch(w http.ResponseWriter, r *http.Request) {
	if !local(r.Host) {
		s.fail(w, r, problem(http.StatusForbidden, "this address answers to localhost only, not to %q", r.Host))
		return
	}
	h, pattern := s.mux.Handler(r)
	if pattern != "" || !strings.HasPrefix(r.URL.Path, "/api/v1") {
		s.mux.ServeHTTP(w, r)
		return
	}
	refusal := refusal{header: http.Header{}}
	h.ServeHTTP(&refusal, r)
	if refusal.status == http.StatusMethodNotAllowed {
		w.Header().Set("Allow", refusal.header.Get("Allow"))
		s.fail(w, r, problem(refusal.status, "%s is not a method of %s (it has %s)", r.Method, r.URL.Path, refusal.header.Get("Allow")))
		return
	}
	s.fail(w, r, problem(http.StatusNotFound, "there is nothing at %s", r.URL.Path))
}

// refusal is a response of which only the status and headers are wanted.
type refusal struct {
	header http.Header
	status int
}

func (r *refusal) Header() http.Header         { return r.header }
func (r *refusal) Write(b []byte) (int, error) { return len(b), nil }
func (r *refusal) WriteHeader(status int)      { r.status = status }

// local says whether a Host header names this machine itself.
func local(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	if host == "localhost" {
		return true
	}
	addr, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return err == nil && addr.IsLoopback()
}
