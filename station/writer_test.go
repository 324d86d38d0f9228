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
		start := s.ask(func() error { _, err := s.StartBatch(context.Background(), order(300*1e12)); return err })
		s.rest(0, 5*time.Second)
		require.NoError(s, start.err)
		see(func() {
			s.rest(50, 4*time.Second) // the cup
			s.pour(210, 10*time.Second)
			s.pour(247, 15*time.Second)
			s.rest(247, 6*time.Second)
			s.rest(247, 5*time.Second) // the hand-over
			s.pour(320, 10*time.Second)
			s.pour(346, 20*time.Second)
			s.rest(346, 3*time.Second) // a little short
			s.pour(348, 4*time.Second)
			s.rest(348, 6*time.Second)
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
	fast, slow := weighOut(t, nil), weighOut(t, takes(2*time.Second))
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
	var durable atomic.Int32
	onBench(t, nil, func(s *scripted) {
		append, parts := s.cfg.persist, 0
		s.cfg.persist = nil // the writer has its own
		require.NotNil(s, append)
		_ = parts
	})
	_ = durable.Load()
}
