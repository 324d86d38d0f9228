package dashboard

import (
	"math"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"twocup/scaledrv"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/metrology"
)

// Metrics of one daemon, in a registry of its own. A scrape reads what is stored and asks nobody.
type Metrics struct {
	registry    *prometheus.Registry
	toDisplay   prometheus.Histogram
	viewers     prometheus.Gauge
	skipped     prometheus.Counter
	writes      prometheus.Histogram
	batches     *prometheus.CounterVec
	overpours   *prometheus.CounterVec
	corrections *prometheus.CounterVec
	partError   *prometheus.HistogramVec
	ratioError  *prometheus.HistogramVec
}

// NewMetrics makes the metrics of one daemon.
func NewMetrics() *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		toDisplay: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "twocup_reading_to_display_seconds", Help: "From a line's last byte to the end of the websocket write.",
			Buckets: prometheus.ExponentialBuckets(0.0001, 2, 14),
		}),
		viewers: prometheus.NewGauge(prometheus.GaugeOpts{Name: "twocup_viewers", Help: "Live views now open."}),
		skipped: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "twocup_viewer_frames_skipped_total", Help: "Messages that a slow viewer did not get.",
		}),
		writes: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "twocup_ledger_write_seconds", Help: "Time until facts were durable.",
			Buckets: prometheus.ExponentialBuckets(0.0005, 2, 14),
		}),
		batches:     counter("twocup_batches_total", "Verdicts reached; one taken back counts again.", "station", "material", "verdict"),
		overpours:   counter("twocup_overpours_total", "Parts accepted above their window.", "station", "part"),
		corrections: counter("twocup_corrections_total", "Corrections started.", "station"),
		partError: histogram("twocup_part_error_grams", "Distance of an accepted part from its target.",
			prometheus.ExponentialBuckets(0.01, 2, 14), "station", "part"),
		ratioError: histogram("twocup_ratio_error_ratio", "Distance of a finished ratio from the card's, as a ratio.",
			prometheus.ExponentialBuckets(0.0005, 2, 10), "station", "material"),
	}
	m.registry.MustRegister(m.toDisplay, m.viewers, m.skipped, m.writes, m.batches, m.overpours, m.corrections, m.partError,
		m.ratioError, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

func counter(name, help string, labels ...string) *prometheus.CounterVec {
	return prometheus.NewCounterVec(prometheus.CounterOpts{Name: name, Help: help}, labels)
}

func histogram(name, help string, buckets []float64, labels ...string) *prometheus.HistogramVec {
	return prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: name, Help: help, Buckets: buckets}, labels)
}

func (m *Metrics) handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{})
}

// Wrote notes how long the ledger took.
func (m *Metrics) Wrote(took time.Duration) { m.writes.Observe(took.Seconds()) }

// Recorded counts what a durable fact says.
func (m *Metrics) Recorded(s batch.State, f batch.Fact) {
	switch f := f.(type) {
	case batch.Started: // every verdict exists from a material's first batch on
		for _, v := range []metrology.Verdict{metrology.Within, metrology.Unproven, metrology.Outside} {
			m.batches.WithLabelValues(f.Station, f.Plan.Material, string(v))
		}
	case batch.Accepted:
		m.accepted(s, f)
	}
}

func (m *Metrics) accepted(s batch.State, f batch.Accepted) {
	bench, material, d := s.Start.Station, s.Start.Plan.Material, s.Dosings[f.Dosing]
	m.partError.WithLabelValues(bench, f.Part).Observe((f.Poured - d.Target).Abs().Grams())
	if f.Poured > d.High {
		m.overpours.WithLabelValues(bench, f.Part).Inc()
	}
	if f.Next != nil && f.Next.Correction {
		m.corrections.WithLabelValues(bench).Inc()
	}
	if f.ErrorPct != nil {
		m.batches.WithLabelValues(bench, material, string(f.Verdict)).Inc()
		m.ratioError.WithLabelValues(bench, material).Observe(math.Abs(*f.ErrorPct) / 100)
	}
}

// watch adds a station's scale.
func (m *Metrics) watch(st *station.Station, h *hub) {
	labels := prometheus.Labels{"station": st.ID(), "scale": st.Scale().ID}
	gauge := func(name, help string, f func() float64) {
		m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help, ConstLabels: labels}, f))
	}
	count := func(name, help string, f func(scaledrv.Stats) uint64) {
		m.registry.MustRegister(prometheus.NewCounterFunc(prometheus.CounterOpts{Name: name, Help: help, ConstLabels: labels},
			func() float64 { return float64(f(st.Stats())) }))
	}
	gauge("twocup_scale_up", "1 while the scale is read.", func() float64 {
		if snap := h.latest.Load(); snap != nil && snap.Scale.Link == scaledrv.LinkUp.String() {
			return 1
		}
		return 0
	})
	gauge("twocup_scale_reading_age_seconds", "Age of the newest reading with a weight; +Inf before the first.", func() float64 {
		if snap := h.latest.Load(); snap != nil && !snap.Read.IsZero() {
			return time.Since(snap.Read).Seconds()
		}
		return math.Inf(1)
	})
	count("twocup_scale_readings_total", "Readings taken.", func(s scaledrv.Stats) uint64 { return s.Readings })
	count("twocup_scale_rejected_bytes_total", "Bytes of damaged lines.", func(s scaledrv.Stats) uint64 { return s.RejectedBytes })
	count("twocup_scale_reconnects_total", "Openings after a port was lost.", func(s scaledrv.Stats) uint64 { return s.Reconnects })
}
