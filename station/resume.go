package station

import (
	"context"
	"time"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
)

// openFor is how long a batch that is weighed counts as open: its pot life and the steps after it may still run.
const openFor = 24 * time.Hour

// resume takes up the batch that stood on the scale when the daemon ended, however it ended, before anything runs.
func (s *Station) resume(ctx context.Context) {
	open, err := s.cfg.Ledger.Unfinished(ctx, time.Now().Add(-openFor))
	if err != nil {
		s.log.Error("look for open batches", "err", err)
		return
	}
	doubt := s.clockDoubt(ctx)
	here := ""
	for _, b := range open {
		if b.Station != s.cfg.ID {
			continue
		}
		entries, err := s.cfg.Ledger.Entries(ctx, b.ID)
		if err != nil {
			s.log.Error("take up a batch again", "batch", b.ID, "err", err)
			continue
		}
		facts := factsOf(entries)
		state := batch.Replay(facts)
		if fact, ok := state.DoubtClock(time.Now().UTC(), doubt); ok {
			facts = append(facts, fact)
			if err := s.cfg.persist(ctx, b.ID, fact); err != nil {
				s.log.Error("record that the clock can't be trusted", "batch", b.ID, "err", err)
			}
		}
		if here == "" { // the newest: the one that stood on the scale
			here = b.ID
			s.takeUp(ctx, b.ID, facts)
		}
	}
}

// takeUp makes a batch the station's again. What its trace decides beyond its facts is recorded now.
func (s *Station) takeUp(ctx context.Context, id string, facts []batch.Fact) {
	points, _, err := s.cfg.Ledger.Trace(ctx, id)
	if err != nil {
		s.log.Error("read a batch's trace: what was poured since its last recorded event is counted from the scale", "batch", id, "err", err)
	}
	hand, division := ledger.Hand{}, s.cfg.Scale.Division
	if started, ok := facts[0].(batch.Started); ok {
		if division == 0 {
			division = started.Plan.Scale.Division // that was found then
		}
		hand = s.hand(ctx, started)
		started.Habits = hand.Habits
		facts[0] = started
	}
	state, more := batch.Resume(facts, division, readings(points))
	if !state.Running() || state.Left() {
		return
	}
	s.state, s.pouring = state, hand
	s.log.Info("batch taken up again", "batch", id, "facts", len(facts), "readings", len(points))
	if len(more) > 0 {
		s.record(more, nil)
	}
}

// clockDoubt says why the clock can't be trusted; empty where it can.
func (s *Station) clockDoubt(ctx context.Context) string {
	last, err := s.cfg.Ledger.LastAt(ctx)
	if err != nil {
		s.log.Error("look for the newest event", "err", err)
	}
	doubt := s.cfg.clock().doubt(last, time.Now())
	if doubt != "" {
		s.log.Warn("the clock can't be trusted: the pot lives that run are unknown", "why", doubt)
	}
	return doubt
}

func factsOf(entries []ledger.Entry) []batch.Fact {
	facts := make([]batch.Fact, len(entries))
	for i, e := range entries {
		facts[i] = e.Fact
	}
	return facts
}

// readings of a trace, as far as it holds them: the digits of the display, without its flags.
func readings(points []ledger.TracePoint) []reading.Reading {
	list := make([]reading.Reading, len(points))
	for i, p := range points {
		list[i] = reading.Reading{Value: reading.ValueOf(p.Mass, p.Step), Mass: p.Mass, At: p.At}
	}
	return list
}
