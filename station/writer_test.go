package station

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/pour"
)

// weighOut plays the same lines whatever the station says, and gives the batch as it was shown after each.
func weighOut(t *testing.T, hold persist) (views []batch.View) {
	onBench(t, hold, func(s *scripted) {
		see := func(play func()) {
			stop := s.watch()
			play()
			stop()
		}
		s.rest(0, time.Second)
		start := s.ask(func() error { _, err := s.StartBatch(context.Background(), order(300*reading.Gram)); return err })
		s.rest(0, 5*time.Second)
		require.NoError(s, start.err(s))
		see(func() {
			s.rest(50, 4*time.Second) // the cup
			s.pour(210, 10*time.Second)
			s.pour(247, 15*time.Second)
			s.rest(247, 6*time.Second)
			s.rest(247, 5*time.Second) // the hand-over
			s.pour(320, 10*time.Second)
			s.pour(343, 20*time.Second)
			s.rest(343, 5*time.Second) // a little short
			s.pour(345.5, 4*time.Second)
			s.rest(345.5, 6*time.Second)
		})
		// One view a line: the last that was made of it.
		for i, snap := range s.watched {
			if i+1 == len(s.watched) || s.watched[i+1].Read != snap.Read {
				views = append(views, *snap.Batch)
			}
		}
	})
	return views
}

// Held up for 2 s at every write, the ledger moves no cue by more than one reading. What has to be durable before it is
// shown, an acceptance, waits for it: until then the hand is held.
func TestALedgerHeldUpMovesNoCue(t *testing.T) {
	fast, slow := weighOut(t, takes(0)), weighOut(t, takes(2*time.Second))
	require.Len(t, slow, len(fast))
	given := map[pour.Cue]int{}
	saving, waited := 0, 0
	for i := range fast {
		given[slow[i].Cue]++
		if slow[i].Saving {
			saving++
		}
		require.False(t, fast[i].Saving)
		held := slow[i].Cue == pour.CueHold && (fast[i].Cue == pour.CueChangeOver || fast[i].Cue == pour.CueDone)
		if held {
			waited++
			continue
		}
		near := []pour.Cue{fast[max(0, i-1)].Cue, fast[i].Cue, fast[min(i+1, len(fast)-1)].Cue}
		require.Contains(t, near, slow[i].Cue, "line %d", i)
	}
	for _, cue := range []pour.Cue{pour.CuePlace, pour.CuePour, pour.CueEase, pour.CueStop, pour.CueHold, pour.CueTopUp, pour.CueChangeOver, pour.CueDone} {
		require.NotZero(t, given[cue], "%s was never given, so it was not tested", cue)
	}
	require.NotZero(t, saving)
	require.LessOrEqual(t, waited, 2*21, "two acceptances of 2 s each")
	require.NotZero(t, waited)
}

func TestAcceptedIsNeverShownBeforeItIsDurable(t *testing.T) {
	onBench(t, takes(2*time.Second), func(s *scripted) {
		start := s.ask(func() error { _, err := s.StartBatch(context.Background(), order(300*reading.Gram)); return err })
		s.rest(0, 3*time.Second)
		require.NoError(s, start.err(s))
		s.rest(50, 3*time.Second)
		s.pour(250, 15*time.Second)
		shown, early := 0, 0
		for range 50 {
			s.rest(250, 100*time.Millisecond)
			accepted, view, waiting := s.accepted.Load(), s.batchNow(), 0
			require.NoError(s, s.inLoop(s.Context(), func() { waiting = len(s.queue) }))
			if view.Parts[0].Accepted || *view.Part == "B" {
				require.Equal(s, int32(1), accepted)
				shown++
			} else if waiting > 0 {
				require.Equal(s, pour.CueHold, view.Cue)
				require.Equal(s, batch.PhaseSettle, view.Phase)
				early++
			}
		}
		require.InDelta(s, 20, early, 1, "readings at rest while it was written")
		require.NotZero(s, shown)
	})
}

func TestSavingShowsWhileAWriteTakesLong(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.hold(takes(2 * time.Second))
		stop := s.watch()
		begun := time.Now()
		note := s.ask(s.note(id, "x"))
		for range 250 {
			after := time.Since(begun)
			require.Equal(s, after >= 250*time.Millisecond && after < 2*time.Second, s.batchNow().Saving, "after %v", after)
			require.Equal(s, after >= 2*time.Second, note.answered(), "after %v", after)
			s.pass(10 * time.Millisecond)
		}
		stop()
		require.NoError(s, note.err(s))
		var shown, gone time.Time // with not one line from the scale, watchers hear of it
		for _, snap := range s.watched {
			switch {
			case snap.Batch.Saving && shown.IsZero():
				shown = snap.At
			case !snap.Batch.Saving && !shown.IsZero() && gone.IsZero():
				gone = snap.At
			}
		}
		require.LessOrEqual(s, shown.Sub(begun), 350*time.Millisecond)
		require.Equal(s, 2*time.Second, gone.Sub(begun))
	})
}

func TestTheLiveWeightGoesOnWhileAWriteTakesLong(t *testing.T) {
	onBench(t, takes(time.Minute), func(s *scripted) {
		start := s.ask(func() error { _, err := s.StartBatch(context.Background(), order(300*reading.Gram)); return err })
		s.pour(100, 3*time.Second)
		require.Equal(s, "100.0 g", *s.now().Scale.Shown)
		require.Zero(s, *s.now().Scale.AgeMS)
		s.pass(7 * time.Second)
		err := start.err(s)
		require.ErrorIs(s, err, ErrNotDurable, "nobody is kept waiting for ever")
		require.ErrorContains(s, err, "and will be once it can")
		require.Nil(s, s.now().Batch)
		s.pass(time.Minute)
		require.NotNil(s, s.now().Batch, "what was asked for came into force late, as the answer said")
	})
}

func TestALedgerThatFailsAndComesBackLosesNothing(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		var tries atomic.Int32
		s.hold(func(context.Context, string, ...batch.Fact) error { tries.Add(1); return errors.New("disk full") })
		var notes []asked
		for i := range 5 {
			notes = append(notes, s.ask(s.note(id, fmt.Sprint(i))))
		}
		s.cup() // goes on without the disk
		s.pass(5 * time.Second)
		require.GreaterOrEqual(s, tries.Load(), int32(5))
		require.Equal(s, []string{"started"}, s.recorded(id))
		require.True(s, s.batchNow().Saving)
		for _, n := range notes {
			require.False(s, n.answered())
		}
		const said = "the ledger can't be written"
		require.Equal(s, 1, strings.Count(s.log.String(), said), "it is said once and not at each try")
		require.Contains(s, s.log.String(), "disk full")

		s.hold(takes(0))
		s.pass(time.Second)
		for _, n := range notes {
			require.True(s, n.answered())
			require.NoError(s, n.err(s))
		}
		require.Equal(s, []string{"started", "noted", "noted", "noted", "noted", "noted", "cup_taken"}, s.recorded(id))
		entries, err := s.ledger.Entries(s.Context(), id)
		require.NoError(s, err)
		for i := range notes {
			require.Equal(s, fmt.Sprint(i), entries[i+1].Fact.(batch.Noted).Text, "in the order they were asked for")
		}
		require.False(s, s.batchNow().Saving)
		require.Equal(s, 1, strings.Count(s.log.String(), said))

		s.hold(func(context.Context, string, ...batch.Fact) error { return errors.New("disk full again") })
		again := s.ask(s.note(id, "x"))
		s.pass(3 * time.Second)
		require.Equal(s, 2, strings.Count(s.log.String(), said), "the next failure is another")
		s.hold(takes(0))
		s.pass(time.Second)
		require.NoError(s, again.err(s))
	})
}

func TestTheQueueHasABound(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		release := make(chan struct{})
		s.hold(func(context.Context, string, ...batch.Fact) error { <-release; return nil })
		var notes []asked
		for range maxQueue {
			notes = append(notes, s.ask(s.note(id, "x")))
		}
		for _, n := range notes {
			require.False(s, n.answered())
		}
		err := s.note(id, "one too many")()
		require.Equal(s, ErrNotDurable, err, "refused at once, and not in the queue")
		s.cup() // what the pan shows is never refused
		close(release)
		synctest.Wait()
		for _, n := range notes {
			require.True(s, n.answered())
			require.NoError(s, n.err(s))
		}
		require.Equal(s, maxQueue, count(s.recorded(id), "noted"))
		require.Equal(s, 1, count(s.recorded(id), "cup_taken"))
		require.NoError(s, s.note(id, "there is room again")())
	})
}

func TestTheEndWritesWhatIsQueued(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.hold(takes(200 * time.Millisecond))
		var notes []asked
		for range 4 {
			notes = append(notes, s.ask(s.note(id, "x")))
		}
		begun := time.Now()
		s.cancel()
		s.Wait()
		require.Equal(s, 800*time.Millisecond, time.Since(begun))
		require.Equal(s, 4, count(s.recorded(id), "noted"))
		synctest.Wait()
		for _, n := range notes {
			require.True(s, n.answered(), "nobody is left waiting")
		}
		require.NotContains(s, s.log.String(), "ended before")
	})
}

func TestTheEndDoesNotWaitForALedgerThatIsStuck(t *testing.T) {
	for _, tt := range []struct {
		name string
		hold persist
		lost string
	}{
		{"it hangs", takes(time.Minute), "jobs_lost=3"},
		{"it fails", func(context.Context, string, ...batch.Fact) error { return errors.New("disk full") }, "jobs_lost=3"},
		{"it is slow", takes(400 * time.Millisecond), "jobs_lost=1"},
	} {
		onBench(t, takes(0), func(s *scripted) {
			id := s.start()
			s.hold(tt.hold)
			for range 3 {
				s.ask(s.note(id, "x"))
			}
			begun := time.Now()
			s.cancel()
			s.Wait()
			require.Equal(s, time.Second, time.Since(begun), tt.name)
			require.Contains(s, s.log.String(), "ended before the ledger could be written")
			require.Contains(s, s.log.String(), tt.lost, tt.name)
			s.pass(time.Minute) // the bubble would not end on a goroutine left behind
		})
	}
}
