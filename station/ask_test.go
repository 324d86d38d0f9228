package station

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/material"
	"twocup/station/plan"
	"twocup/station/pour"
)

func TestStartBatchRefuses(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
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
			{"more than one cup", Order{Material: "harbour-clear", Amount: order(300 * reading.Gram).Amount, Split: new(4)}, "split", "not built yet"},
			{"a cup of no volume", Order{Material: "harbour-clear", Amount: order(300 * reading.Gram).Amount, Cup: &plan.Cup{VolumeML: new(0.0)}}, "", "cup.volume_ml"},
			{"a lot of a part that there is none of", Order{Material: "harbour-clear", Amount: order(300 * reading.Gram).Amount, Lots: map[string][]string{"C": {"x"}}}, "lots", `"C"`},
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
	onBench(t, takes(0), func(s *scripted) {
		_, err := s.StartBatch(s.Context(), order(300*reading.Gram))
		var bad *BadOrder
		require.ErrorAs(s, err, &bad)
		require.ErrorContains(s, err, "division")
	}, func(c *Config) { c.Scale.Division = 0 })
}

// listened is what has come from the station's scale.
func (s *scripted) listened() Heard {
	all, err := s.Heard(s.Context(), 0)
	require.NoError(s, err)
	return all[0]
}

func TestADivisionThatTheDigitsShowIsTheScales(t *testing.T) {
	auto, err := scaledrv.ShapeByName("auto", scaledrv.ShapeOptions{})
	require.NoError(t, err)
	onBench(t, takes(0), func(s *scripted) {
		show := func(tenths int) {
			_, _ = fmt.Fprintf(s.link.scale(), "ST,GS,+%05d.%d  g\r\n", tenths/10, tenths%10) // the port is left once it is identified
			time.Sleep(100 * time.Millisecond)
			synctest.Wait()
		}
		for range 50 {
			show(0)
		}
		snap, err := s.Snapshot(s.Context())
		require.NoError(s, err)
		require.Equal(s, "up", snap.Scale.Link)
		require.Equal(s, "status-comma", s.listened().Found.Shape)
		_, err = s.StartBatch(s.Context(), order(300*reading.Gram))
		var bad *BadOrder
		require.ErrorAs(s, err, &bad)
		require.ErrorContains(s, err, "has not shown in its digits yet")
		for i := range 30 {
			show(1502 + 2*i)
		}
		require.Equal(s, reading.Gram/5, s.Scale().Division)
		for range 40 {
			show(0)
		}
		record, err := s.StartBatch(s.Context(), order(300*reading.Gram))
		require.NoError(s, err)
		require.Equal(s, reading.Gram/5, record.Scales[0].Division)
		snap, err = s.Snapshot(s.Context())
		require.NoError(s, err)
		require.Equal(s, reading.Gram/5, snap.Scale.Division)

		for i := range 30 {
			show(i % 10) // below a cup's weight
		}
		require.Equal(s, reading.Gram/10, s.Scale().Division, "the even values were chance")
		require.Equal(s, "0.1 g", s.listened().Found.Division.String())
		snap, err = s.Snapshot(s.Context())
		require.NoError(s, err)
		require.Equal(s, reading.Gram/5, snap.Scale.Division, "a batch keeps the one it began with")
		require.NoError(s, s.act(record.ID, batch.Act{Action: "abandon", Reason: "wrong division"}))
		for range 40 {
			show(0)
		}
		record, err = s.StartBatch(s.Context(), order(300*reading.Gram))
		require.NoError(s, err)
		require.Equal(s, reading.Gram/10, record.Scales[0].Division)
		snap, err = s.Snapshot(s.Context())
		require.NoError(s, err)
		require.Equal(s, reading.Gram/10, snap.Scale.Division)
	}, func(c *Config) { c.Shape, c.Scale.Division = auto, 0 })
}

func TestOneBatchOnTheScaleAtATime(t *testing.T) {
	onBench(t, takes(2*time.Second), func(s *scripted) {
		start := func() error { _, err := s.StartBatch(context.Background(), order(300*reading.Gram)); return err }
		s.rest(0, time.Second)
		first := s.ask(start)
		require.Nil(s, s.now().Batch, "a start is durable before it is shown")
		requireMisfit(t, start(), "another batch is on the scale")
		s.pass(2 * time.Second)
		require.True(s, first.answered())
		require.NoError(s, first.err(s))
		requireMisfit(t, start(), "another batch is on the scale")

		id := s.batchNow().ID
		abandon := s.ask(func() error { return s.act(id, batch.Act{Action: "abandon", Reason: "wrong card"}) })
		requireMisfit(t, start(), "another batch is on the scale")
		s.pass(2 * time.Second)
		require.NoError(s, abandon.err(s))
		require.Nil(s, s.now().Batch, "an abandoned batch frees the station at once")
		second := s.ask(start)
		s.pass(2 * time.Second)
		require.NoError(s, second.err(s))
		require.NotEqual(s, id, s.batchNow().ID)
	})
}

func TestARecordSaysWhereTheBatchCameFrom(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
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
		s.pour(150, 5*time.Second)
		pouring, err := s.Record(s.Context(), r.ID)
		require.NoError(s, err)
		require.Equal(s, s.batchNow(), pouring.View)
		require.Equal(s, 100*reading.Gram, *pouring.Poured, "what is in the cup now stands in no event yet")
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
	onBench(t, takes(0), func(s *scripted) {
		before := s.now().Seq
		id := s.start()
		note := func(seq uint64) error {
			_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "note", Text: "x"}, Seq: &seq})
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
		stop := s.watch()
		s.cup()
		stop()
		requireMisfit(t, note(placing), movedOn)
		i := slices.IndexFunc(s.watched, func(snap Snapshot) bool { return snap.Batch.Phase == batch.PhasePour })
		pouring := s.watched[i].Seq // the very one that brought the change
		s.pour(210, 5*time.Second)
		require.Equal(s, pour.CueEase, s.batchNow().Cue)
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

// Phase, part and question each count by themselves.
func TestAnActionWithSeqAfterOneChange(t *testing.T) {
	for _, tt := range []struct {
		name         string
		capacity     reading.Mass
		before, then func(s *scripted, id string)
	}{
		{"the phase", 6 * reading.Kilogram, func(s *scripted, _ string) { s.pour(247, 15*time.Second) }, func(s *scripted, _ string) {
			s.rest(247, 700*time.Millisecond)
			require.Equal(s, batch.PhaseSettle, s.batchNow().Phase)
			require.Equal(s, "A", *s.batchNow().Part)
		}},
		{"the part", 6 * reading.Kilogram, func(s *scripted, _ string) { s.rest(150, 4*time.Second) }, func(s *scripted, id string) {
			require.NoError(s, s.act(id, batch.Act{Action: "accept"}))
			require.Equal(s, batch.PhasePour, s.batchNow().Phase)
			require.Equal(s, "B", *s.batchNow().Part)
		}},
		{"the question", 360 * reading.Gram, func(s *scripted, _ string) { s.pour(270, 15*time.Second); s.rest(270, time.Second) }, func(s *scripted, _ string) {
			require.Equal(s, batch.PhaseSettle, s.batchNow().Phase)
			s.rest(270, 2*time.Second)
			require.Equal(s, []string{"accept", "scrap"}, s.batchNow().Question.Choices)
			require.Equal(s, batch.PhaseSettle, s.batchNow().Phase)
		}},
	} {
		onBench(t, takes(0), func(s *scripted) {
			id := s.start()
			s.cup()
			tt.before(s, id)
			seq := s.now().Seq
			_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "note", Text: "x"}, Seq: &seq})
			require.NoError(s, err, tt.name)
			tt.then(s, id)
			_, err = s.Act(s.Context(), id, Action{Act: batch.Act{Action: "note", Text: "x"}, Seq: &seq})
			requireMisfit(t, err, "has moved on")
		}, func(c *Config) { c.Scale.Capacity = tt.capacity })
	}
}

func TestActionsThatDoNotFit(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
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
	onBench(t, takes(0), func(s *scripted) {
		first := s.start()
		s.cup()
		s.partA()
		s.partB()
		s.rest(0, 3*time.Second)
		second := s.start()
		requireMisfit(t, s.act(first, batch.Act{Action: "reopen"}), "on no scale")
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

func TestWhatIsRecordedLateOfABatchDoesNotTouchTheNext(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		first := s.start()
		s.cup()
		s.partA()
		s.partB()
		s.hold(takes(2 * time.Second))
		start := s.ask(func() error { _, err := s.StartBatch(context.Background(), order(300*reading.Gram)); return err })
		scrap := s.ask(func() error { return s.act(first, batch.Act{Action: "scrap", Reason: "x"}) })
		s.pass(4 * time.Second)
		require.NoError(s, start.err(s))
		require.NoError(s, scrap.err(s))
		require.NotEqual(s, first, s.batchNow().ID)
		require.Equal(s, batch.PhaseCup, s.batchNow().Phase)
		require.Equal(s, 1, count(s.recorded(first), "ended"))
	})
}

// Scrapping is final. Two hands that scrap the same batch at once do it once.
func TestTwoHandsScrapABatchOnce(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
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
	onBench(t, takes(0), func(s *scripted) {
		slow, leave, err := s.Watch(s.Context())
		require.NoError(s, err)
		synctest.Wait()
		require.Len(s, slow, 1, "the first comes at once")
		first := <-slow // then it sleeps
		defer s.watch()()
		for i := range 100 {
			s.line("ST", float64(i))
		}
		seen := map[string]bool{}
		for i, snap := range s.watched {
			require.True(s, i == 0 || snap.Seq > s.watched[i-1].Seq)
			if snap.Scale.Shown != nil {
				seen[*snap.Scale.Shown] = true
			}
		}
		require.Len(s, seen, 98, "the quick one saw every line but the first two, which prove the layout")
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
	onBench(t, takes(0), func(s *scripted) {
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
		require.ErrorIs(s, start.err(s), context.Canceled)
		s.pass(2 * time.Second)
		require.NotNil(s, s.now().Batch, "a browser that leaves undoes nothing")
		_, err := s.Snapshot(ctx)
		require.True(s, err == nil || errors.Is(err, context.Canceled))
	})
}

func TestWhatAStationIs(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		require.Equal(s, "bench-1", s.ID())
		require.Equal(s, "Test bench", s.Name())
		require.Equal(s, plan.Scale{ID: "small", Division: reading.Gram / 10, Capacity: 6 * reading.Kilogram}, s.Scale())
		s.rest(1, time.Second)
		require.Equal(s, uint64(8), s.Stats().Readings, "the first of ten lines may be cut, the second waits for its like")
	})
}
