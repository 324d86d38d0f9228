package station

import (
	"slices"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/ledger"
)

const (
	traceWithin = 250 * time.Millisecond // points go to the ledger at least so often
	traceGroup  = 64                     // or as soon as there are so many
	traceBefore = 2 * time.Second        // what came before the batch is kept for so long
	maxTrace    = 20_000                 // points that wait for a ledger that takes nothing: some minutes of a fast scale
)

// trace is points of one batch on their way to the ledger.
type trace struct {
	batch  string
	points []ledger.TracePoint
}

// takeTrace keeps what the scale showed of a batch that stands on it, and for a while before: whether the pan was empty
// then says whether what comes onto it is a cup.
func (s *Station) takeTrace(r reading.Reading) {
	if r.State != reading.Normal {
		return
	}
	point := ledger.TracePoint{At: r.At, Mass: r.Mass, Step: r.Value.Step()}
	if s.state.Start == nil {
		for len(s.earlier) > 0 && (len(s.earlier) == cap(s.earlier) || r.At.Sub(s.earlier[0].At) > traceBefore) {
			s.earlier = slices.Delete(s.earlier, 0, 1)
		}
		s.earlier = append(s.earlier, point)
		return
	}
	if id := s.state.Start.ID; id != s.points.batch {
		s.keepTrace(r.At.Add(traceWithin))
		s.points = trace{batch: id, points: slices.Clone(s.earlier)}
		s.earlier = s.earlier[:0]
	}
	s.points.points = append(s.points.points, point)
	s.keepTrace(r.At)
}

// keepTrace hands what is no fact to the ledger when it is time and nothing is being written: facts go first.
func (s *Station) keepTrace(now time.Time) {
	if s.tracing != nil || len(s.queue) > 0 || now.Before(s.traceAfter) {
		return
	}
	if s.unwritable != nil && len(s.points.points) == 0 {
		s.writer.jobs <- job{probe: true} // so that the display need not say so for longer than it is true
		s.tracing = &trace{}
		return
	}
	if !s.state.OnScale() && s.keepLessons() { // so that no acceptance ever waits behind a habit
		return
	}
	t := s.points
	if len(t.points) >= traceGroup || len(t.points) > 0 && now.Sub(t.points[0].At) >= traceWithin {
		s.writer.jobs <- job{batch: t.batch, points: t.points}
		s.tracing, s.points = &t, trace{batch: t.batch}
	}
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
	if len(t.points) == 0 {
		return
	}
	if t.batch == s.points.batch && len(t.points)+len(s.points.points) <= maxTrace {
		s.points.points = append(t.points, s.points.points...)
	} else {
		s.log.Warn("readings are missing from a batch's trace: the ledger took none for too long", "batch", t.batch, "readings", len(t.points))
	}
}
