package station

import (
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/ledger"
)

const (
	traceWithin = 250 * time.Millisecond // points go to the ledger at least so often
	traceGroup  = 64                     // or as soon as there are so many
	maxTrace    = 20_000                 // points that wait for a ledger that takes nothing: some minutes of a fast scale
)

// trace is points of one batch on their way to the ledger.
type trace struct {
	batch  string
	points []ledger.TracePoint
}

// takeTrace keeps what the scale showed of a batch that stands on it.
func (s *Station) takeTrace(r reading.Reading) {
	if s.state.Start == nil || r.State != reading.Normal {
		return
	}
	if id := s.state.Start.ID; id != s.points.batch {
		s.keepTrace(r.At.Add(traceWithin))
		s.points = trace{batch: id}
	}
	s.points.points = append(s.points.points, ledger.TracePoint{At: r.At, Mass: r.Mass, Step: r.Value.Step()})
	s.keepTrace(r.At)
}

// keepTrace hands the points to the ledger when it is time and nothing is being written: facts go first.
func (s *Station) keepTrace(now time.Time) {
	t := s.points
	due := len(t.points) >= traceGroup || len(t.points) > 0 && now.Sub(t.points[0].At) >= traceWithin
	if !due || s.tracing != nil || len(s.queue) > 0 || now.Before(s.traceAfter) {
		return
	}
	s.writer.jobs <- job{batch: t.batch, points: t.points}
	s.tracing, s.points = &t, trace{batch: t.batch}
}

// traced takes what has become of the points that were being written. Those that failed wait with the newer ones, as far
// as there is room.
func (s *Station) traced(o outcome) {
	t := *s.tracing
	s.tracing = nil
	if o.err == nil {
		return
	}
	s.traceAfter = time.Now().Add(retry)
	if t.batch == s.points.batch && len(t.points)+len(s.points.points) <= maxTrace {
		s.points.points = append(t.points, s.points.points...)
	} else {
		s.log.Warn("readings are missing from a batch's trace: the ledger took none for too long", "batch", t.batch, "readings", len(t.points))
	}
}
