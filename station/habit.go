package station

import (
	"context"

	"twocup/station/batch"
	"twocup/station/ledger"
)

// hand is what is kept of the operator of a batch. Where that can't be read, they are guided as a stranger is.
func (s *Station) hand(ctx context.Context, f batch.Started) ledger.Hand {
	h, err := s.cfg.Ledger.Hand(ctx, f.Operator, f.Card.ID)
	if err != nil {
		s.log.Warn("the operator is guided as a stranger is", "err", err)
	}
	return h
}

// learn notes what an acceptance that has just become durable shows of the hand. A practice pour's liquid is another one.
func (s *Station) learn(f batch.Accepted) {
	habit, learned := s.state.Learned(f)
	if !learned || s.pouring.Operator == "" || s.state.Start.Practice {
		return
	}
	shown := s.pouring
	shown.Habits = batch.Habits{f.Part: habit}
	s.lessons = append(s.lessons, shown)
}

// keepLessons hands what was learned to the ledger. It is tried once: what a disk then loses, the next pours teach again.
func (s *Station) keepLessons() (handed bool) {
	if len(s.lessons) == 0 {
		return false
	}
	s.writer.jobs <- job{lessons: s.lessons}
	s.tracing, s.lessons = &trace{}, nil
	return true
}
