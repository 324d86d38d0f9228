package batch

import (
	"twocup/station/plan"
	"twocup/station/pour"
)

// keyed moves the reference with the display, when a key of the scale was pressed.
func (s *State) keyed() []Fact {
	change := s.Pan.Now.Mass - s.Pan.Was
	either := s.foreign() > 0 && (change+s.foreign()).Abs() <= slack*s.Pan.Division
	s.put = s.put.shifted(change)
	if s.off {
		s.from, s.rest, s.top = s.from+change, s.rest+change, s.top+change
		if s.jump != nil {
			j := *s.jump
			j.To += plan.Picograms(change)
			s.jump = &j
		}
		return nil
	}
	facts := s.reference("key", s.Pan.Was)
	switch {
	case !s.Pan.Clean:
		facts = append(facts, s.doubtful("a key of the scale was pressed while its value was moving")...)
	case either:
		facts = append(facts, s.doubtful("the value went to zero by as much as had come at once: a key of the scale, or that was taken off")...)
	}
	return facts
}

// jumped notes a value that went to zero at once, from a load that was no more than that. Until it is known what that
// was, nothing is counted.
func (s *State) jumped(h pour.Happening) []Fact {
	j := Jumped{
		inForce: now, At: s.Pan.Now.At, From: plan.Picograms(s.Pan.Was), To: plan.Picograms(s.Pan.Now.Mass),
		Silent: h == pour.Restarted, Clean: s.Pan.Clean,
	}
	facts := s.atOnce(j)
	s.jump, s.Question = &j, Question{}
	facts = append(facts, s.takenOff(s.Pan.Was, s.Pan.Was, s.Pan.Stood, false)...)
	if !j.Clean {
		facts = append(facts, s.doubtful("the scale went to zero while its value was moving")...)
	}
	return facts
}

// sinceJump lets what follows tell what the jump was: the old load set back, a stream into the cup, or the cup leaving a
// scale that was tared. Meanwhile the person is asked, at rest.
func (s *State) sinceJump(h pour.Happening) []Fact {
	switch {
	case s.acting: // an answer is on its way
	case s.Pan.Back():
		s.jump, s.Question = nil, Question{}
		if s.Pan.Settled(0) {
			return s.cupBack()
		}
	case h == pour.Sank, s.Pan.Streamed():
		return s.refer(s.tared(s.Pan.Now.At))
	case s.Question.Ask == "" && s.Pan.Settled(pour.Rest):
		s.Question = liftedOrTared(s.jump)
	}
	return nil
}
