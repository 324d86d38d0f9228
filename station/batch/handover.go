package batch

import (
	"time"

	"twocup/scaledrv/reading"
)

// handOver tells the tail of the part before from the part at hand, which has not begun. A rise that began late enough
// is the part at hand. An earlier one belongs to the part before, unless it came as a stream or is too much: that is a
// question.
func (s *State) handOver() []Fact {
	rise, d := s.Pan.Now.Mass-s.from, s.Pan.Division
	if rise < d {
		s.level, s.early, s.Question = s.Pan.Now.At, false, Question{}
		return nil
	}
	if s.Question.Ask != "" {
		return nil
	}
	settled := s.Pan.Settled(0) && s.Pan.Lowest()-s.from >= d
	last := &s.Dosings[s.at-1]
	if s.level.Sub(last.AcceptedAt) >= s.Start.Auto.HandOver {
		if rise >= 2*d || settled {
			return s.begin(s.level, "rise")
		}
		return nil
	}
	s.early = s.early || rise >= 2*d
	switch {
	case !settled:
		return nil
	case s.streamed(rise, last) || s.closedTotal(s.at-1)+rise > last.High:
		s.Question = aOrB(last.Part.Part, s.dosing().Part.Part, rise)
		return nil
	}
	return s.atOnce(Reopened{inForce: now, At: s.Pan.Now.At, Dosing: s.at - 1, Part: last.Part.Part, Why: "drip"})
}

// streamed says whether the rise was faster than a tenth of the flow of the part before: too fast for its tail. A drop
// lands within one reading, so a rise is taken to last a second at least.
func (s *State) streamed(rise reading.Mass, last *Dosing) bool {
	took := max(time.Second, s.Pan.Since().Sub(s.level))
	return rise.Grams()/took.Seconds() > last.Flow/10
}

// begin starts the part at hand at once: its cues don't wait for the disk. The clock that it starts is shown once the
// fact is durable.
func (s *State) begin(at time.Time, by string) []Fact {
	s.waiting, s.early, s.rises = false, false, at
	return []Fact{Begun{At: at, Part: s.dosing().Part.Part, By: by}}
}
