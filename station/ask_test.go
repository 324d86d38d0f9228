package station

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
	"twocup/station/pour"
)

func TestStartBatchRefuses(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		s.rest(0, time.Second)
		needsMore := material.Demo()[0]
		needsMore.ID, needsMore.StatedHurry = "hasty", new(true)
		_, err := s.ledger.AddMaterial(s.Context(), needsMore, time.Now())
		require.NoError(s, err)
		two := order(300 * reading.Gram)
		two.Amount.PartAG = new(reading.Gram)
		for _, tt := range []struct {
			name   string
			order  Order
			field  string // of a BadOrder; empty where the amount's own faults are named
			detail string
		}{
			{"a material that does not exist", Order{Material: "no-such", Amount: two.Amount}, "material", `there is no material "no-such"`},
			{"a card that asks for what is not built", Order{Material: "hasty", Amount: order(300 * reading.Gram).Amount}, "material", "not built yet"},
			{"no amount", Order{Material: "harbour-clear"}, "", "amount"},
			{"two amounts", two, "", "amount"},
			{"a negative amount", order(-reading.Gram), "", "amount"},
			{"more than the scale can carry", order(7 * reading.Kilogram), "amount", "capacity"},
		} {
			_, err := s.StartBatch(s.Context(), tt.order)
			require.ErrorContains(s, err, tt.detail, tt.name)
			var bad *BadOrder
			var faults material.Faults
			if tt.field == "" {
				require.ErrorAs(s, err, &faults, tt.name)
			} else {
				require.ErrorAs(s, err, &bad, tt.name)
				require.Equal(s, tt.field, bad.Field, tt.name)
			}
			require.Nil(s, s.now().Batch, tt.name)
		}
		ids, _, err := s.ledger.Batches(s.Context(), ledger.Query{})
		require.NoError(s, err)
		require.Empty(s, ids, "nothing is left behind")
	})
}

func TestABatchOnAScaleWithoutDivisionIsRefused(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		s.cfg.Scale.Division = 0 // before anything is asked of the station: nothing else reads it
		_, err := s.StartBatch(s.Context(), order(300*reading.Gram))
		var bad *BadOrder
		require.ErrorAs(s, err, &bad)
		require.ErrorContains(s, err, "division")
	})
}

func TestOneBatchOnTheScaleAtATime(t *testing.T) {
	onBench(t, takes(2*time.Second), func(s *scripted) {
		start := func() error { _, err := s.StartBatch(context.Background(), order(300*reading.Gram)); return err }
		s.rest(0, time.Second)
		first := s.ask(start)
		require.Nil(s, s.now().Batch, "a start is durable before it is shown")
		requireMisfit(t, start(), "another batch is on the scale")
		s.pass(2 * time.Second)
		require.True(s, first.answered)
		require.NoError(s, first.err)
		requireMisfit(t, start(), "another batch is on the scale")

		id := s.batchNow().ID
		abandon := s.ask(func() error { return s.act(id, batch.Act{Action: "abandon", Reason: "wrong card"}) })
		requireMisfit(t, start(), "another batch is on the scale")
		s.pass(2 * time.Second)
		require.NoError(s, abandon.err)
		require.Nil(s, s.now().Batch, "an abandoned batch frees the station at once")
		second := s.ask(start)
		s.pass(2 * time.Second)
		require.NoError(s, second.err)
		require.NotEqual(s, id, s.batchNow().ID)
	})
}

func TestARecordSaysWhereTheBatchCameFrom(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		s.rest(0, time.Second)
		o := order(300 * reading.Gram)
		o.Operator, o.Practice, o.Lots = "P", true, map[string][]string{"A": {"lot 1"}}
		r, err := s.StartBatch(s.Context(), o)
		require.NoError(s, err)
		require.Equal(s, "bench-1", r.Station)
		require.Equal(s, "P", r.Operator)
		require.True(s, r.Practice)
		require.Equal(s, map[string][]string{"A": {"lot 1"}}, r.Lots)
		require.Equal(s, time.Now().UTC(), r.Created)
		require.Equal(s, []ScaleUsed{{ID: "small", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram}}, r.Scales)
		require.Equal(s, 1, r.Plan.Revision)
		require.Nil(s, r.Weighed)
		require.Nil(s, r.Finished)
		require.Equal(s, pour.CuePlace, r.Cue)

		s.cup()
		s.partA()
		s.partB()
		live, err := s.Record(s.Context(), r.ID)
		require.NoError(s, err)
		require.NotNil(s, live.Weighed)
		require.Equal(s, s.batchNow(), live.View)
		s.rest(0, 3*time.Second) // the cup taken off: the batch leaves the snapshot
		require.Nil(s, s.now().Batch)
		kept, err := s.Record(s.Context(), r.ID)
		require.NoError(s, err)
		require.Equal(s, live, kept, "by the ledger alone it is the same")
		_, err = s.Record(s.Context(), "no-such")
		require.ErrorIs(s, err, ledger.ErrNotFound)
	})
}

// With seq an action is done only if nothing it could be meant for has changed since that snapshot.
func TestAnActionWithSeq(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		before := s.now().Seq
		id := s.start()
		note := func(seq uint64) error {
			_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "note", Text: "x"}, Seq: &seq})
			synctest.Wait()
			return err
		}
		const movedOn = "has moved on"
		requireMisfit(t, note(before), movedOn)
		placing := s.now().Seq
		require.NoError(s, note(placing))
		s.rest(0, time.Second)
		require.NoError(s, note(placing), "readings alone are no change")
		require.NoError(s, note(s.now().Seq))
		requireMisfit(t, note(s.now().Seq+1), movedOn) // from before a restart, when numbers had grown further
		s.cup()
		requireMisfit(t, note(placing), movedOn)
		pouring := s.now().Seq
		s.pour(200, 5*time.Second)
		require.Equal(s, pour.CueStop, s.batchNow().Cue)
		require.NoError(s, note(pouring), "a cue alone is no change")
		s.pass(3 * time.Second)
		require.Equal(s, pour.CueReconnect, s.batchNow().Cue)
		require.NoError(s, note(pouring), "nor is the link")
		s.rest(250, 4*time.Second)
		requireMisfit(t, note(pouring), movedOn) // the part is another
		partB := s.now().Seq
		s.rest(270, time.Second) // a stream right after the acceptance: a question
		require.NotNil(s, s.batchNow().Question)
		requireMisfit(t, note(partB), movedOn)
		asking := s.now().Seq
		require.NoError(s, note(asking))
		require.Equal(s, 6, count(s.recorded(id), "noted"), "what was refused was not done")
		require.NoError(s, s.act(id, batch.Act{Action: "abandon", Reason: "over"}))
		requireMisfit(t, note(asking), movedOn) // also now that the batch is off the scale
	})
}

func TestActionsThatDoNotFit(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		id := s.start()
		var refusal *batch.Refusal
		require.ErrorAs(s, s.act(id, batch.Act{Action: "juggle"}), &refusal)
		require.False(s, refusal.Misfit)
		requireMisfit(t, s.act(id, batch.Act{Action: "accept"}), "place the cup")
		requireMisfit(t, s.act(id, batch.Act{Action: "note", Text: "x", Phase: batch.PhaseMix}), `in phase "cup" now`)
		require.ErrorIs(s, s.act("no-such", batch.Act{Action: "note", Text: "x"}), ledger.ErrNotFound)
		require.Equal(s, []string{"started"}, s.recorded(id))
	})
}

func TestABatchThatHasLeftTheScaleCanBeNotedAndScrapped(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		first := s.start()
		s.cup()
		s.partA()
		s.partB()
		s.rest(0, 3*time.Second)
		second := s.start()
		require.NoError(s, s.act(first, batch.Act{Action: "note", Text: "bubbles"}))
		require.NoError(s, s.act(first, batch.Act{Action: "scrap", Reason: "never cured"}))
		requireMisfit(t, s.act(first, batch.Act{Action: "note", Text: "too late"}), "has ended")
		record, err := s.Record(s.Context(), first)
		require.NoError(s, err)
		require.Equal(s, batch.PhaseScrapped, record.Phase)
		require.NotNil(s, record.Finished)
		require.Equal(s, []string{"started", "cup_taken", "accepted", "begun", "accepted", "noted", "ended"}, s.recorded(first))
		require.Equal(s, second, s.batchNow().ID, "the one on the scale is untouched")
		require.Equal(s, []string{"started"}, s.recorded(second))
	})
}

// Scrapping is final. Two hands that scrap the same batch at once do it once.
func TestTwoHandsScrapABatchOnce(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		id := s.start()
		s.cup()
		s.partA()
		s.partB()
		s.rest(0, 3*time.Second)
		answers := make(chan error)
		for range 8 {
			go func() { answers <- s.act(id, batch.Act{Action: "scrap", Reason: "x"}) }()
		}
		done := 0
		for range 8 {
			if err := <-answers; err == nil {
				done++
			} else {
				requireMisfit(t, err, "has ended")
			}
		}
		require.Equal(s, 1, done)
		require.Equal(s, 1, count(s.recorded(id), "ended"))
	})
}

func TestWatchersGetTheNewestAndASlowOneHoldsNobodyUp(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		slow, leave, err := s.Watch(s.Context())
		require.NoError(s, err)
		first := <-slow // then it sleeps
		defer s.watch()()
		for i := range 100 {
			s.line("ST", float64(i))
		}
		require.Len(s, s.watched, 100+1-1, "the quick one saw each line but the first, which waits for its second")
		for i := 1; i < len(s.watched); i++ {
			require.Greater(s, s.watched[i].Seq, s.watched[i-1].Seq)
		}
		last := <-slow
		require.Equal(s, "99.0 g", *last.Scale.Shown)
		require.Greater(s, last.Seq, first.Seq)
		select {
		case snap := <-slow:
			require.FailNow(s, "an old snapshot was kept", "%d", snap.Seq)
		default:
		}
		leave()
		s.line("ST", 5)
		select {
		case <-slow:
			require.FailNow(s, "a watcher that has left is still served")
		default:
		}
	})
}

func TestTheEndOfAStation(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		id := s.start()
		snapshots, leave, err := s.Watch(s.Context())
		require.NoError(s, err)
		s.cancel()
		s.Wait()
		<-snapshots
		_, open := <-snapshots
		require.False(s, open, "its watchers are told")
		leave()
		_, err = s.Snapshot(s.Context())
		require.ErrorIs(s, err, ErrEnded)
		_, _, err = s.Watch(s.Context())
		require.ErrorIs(s, err, ErrEnded)
		_, err = s.StartBatch(s.Context(), order(300*reading.Gram))
		require.ErrorIs(s, err, ErrEnded)
		require.ErrorIs(s, s.act(id, batch.Act{Action: "note", Text: "x"}), ErrEnded)
		_, err = s.Record(s.Context(), id)
		require.ErrorIs(s, err, ErrEnded)
	})
}

func TestWhoeverStopsWaitingIsLetGo(t *testing.T) {
	onBench(t, takes(2*time.Second), func(s *scripted) {
		ctx, cancel := context.WithCancel(s.Context())
		start := s.ask(func() error { _, err := s.StartBatch(ctx, order(300*reading.Gram)); return err })
		cancel()
		synctest.Wait()
		require.ErrorIs(s, start.err, context.Canceled)
		s.pass(2 * time.Second)
		require.NotNil(s, s.now().Batch, "a browser that leaves undoes nothing")
		_, err := s.Snapshot(ctx)
		require.True(s, err == nil || errors.Is(err, context.Canceled))
	})
}

func TestWhatAStationIs(t *testing.T) {
	onBench(t, nil, func(s *scripted) {
		require.Equal(s, "bench-1", s.ID())
		require.Equal(s, "Test bench", s.Name())
		require.Equal(s, plan.Scale{ID: "small", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram}, s.Scale())
		s.line("ST", 1)
		s.line("ST", 1)
		require.Equal(s, uint64(2), s.Stats().Readings+1, "the first line waits for its second")
	})
}
