package batch

import (
	"time"

	"twocup/scaledrv/reading"
)

// handOver tells the tail of the part before from the part at hand, which has not begun. A rise that began late enough
// is the part at hand. An earlier one belongs to the part before, unless it came as a stream or is too much: that is a
// question.
func (s *State) handOver() []Fact {
	rise, d := s.Pan.Value()-s.from, s.Pan.Division
	settled := s.Pan.Settled(0)
	risen := settled && s.Pan.Lowest()-s.from >= d
	switch {
	case rise < d && (!s.held() || settled), // a lone low line does not unsay what rose
		s.held() && s.Question.Ask == "" && settled && !risen: // nor does a lone high one say it
		s.level, s.early, s.fastest, s.Question = s.Pan.Now.At, false, 0, Question{}
		return nil
	case rise < d, s.Question.Ask != "", s.acting, s.Pan.Abrupt(): // what comes at once may not be poured
		return nil
	case s.put != nil:
		s.Question = pouredOrPut(s.put.size())
		return nil
	}
	last := &s.Dosings[s.at-1]
	if s.level.Sub(last.AcceptedAt) >= s.Start.Auto.HandOver {
		if rise >= 2*d || risen {
			return s.begin(s.level, "rise")
		}
		return nil
	}
	s.early, s.fastest = s.early || rise >= 2*d || risen, max(s.fastest, s.Pan.Flow())
	switch {
	case !risen:
		return nil
	case s.streamed(rise, last), s.closedTotal(s.at-1)+rise > last.High:
		s.Question = aOrB(last.Part.Part, s.dosing().Part.Part, rise)
		return nil
	case !s.Pan.Settled(max(s.Start.Auto.Settle, s.aim(last).SettleTime(d))):
		return nil // more may come, and it may be the part at hand
	}
	return s.takeTail(last)
}

// streamed says whether the rise came faster than a tenth of the flow of the part before: too fast for its tail. Of a
// few divisions no flow can be told.
func (s *State) streamed(rise reading.Mass, last *Dosing) bool {
	return rise > 3*s.Pan.Division && s.fastest > last.Flow/10
}

// takeTail adds what dripped to the part before and accepts it anew. Both are decided at once: while the part is open
// nothing that is poured could be told from it.
func (s *State) takeTail(last *Dosing) []Fact {
	facts := s.atOnce(Reopened{inForce: now, At: s.Pan.Now.At, Dosing: s.at - 1, Part: last.Part.Part, Why: "drip"})
	again, _ := s.accept("auto") // below its window's end, so what follows has the room it had
	s.taken = true
	return append(facts, again)
}

// begin starts the part at hand at once: its cues don't wait for the disk. The clock that it starts is shown once the
// fact is durable.
func (s *State) begin(at time.Time, by string) []Fact {
	s.waiting, s.early, s.rises = false, false, at
	return []Fact{Begun{At: at, Part: s.dosing().Part.Part, By: by}}
}
