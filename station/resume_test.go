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
	"twocup/station/pour"
)

// restart ends the station as a kill does, without a word, and starts another on the same ledger after a while. What was
// not durable by then is lost.
func (s *scripted) restart(off time.Duration, change ...func(*Config)) {
	s.Helper()
	cfg := s.cfg
	persist, trace := cfg.persist, cfg.trace
	killed := errors.New("killed")
	s.hold(func(context.Context, string, ...batch.Fact) error { return killed })
	s.cancel()
	s.Wait()
	s.pass(off)
	s.hold(takes(0))
	cfg.persist, cfg.trace = persist, trace
	for _, c := range change {
		c(&cfg)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s.cancel = cancel
	s.Station = Start(ctx, cfg)
	synctest.Wait()
	s.send("\r\n")
}

// killedMidPour is a batch of 200 g of A and 100 g of B with 80 g of A in its cup of 50 g, whose daemon was killed.
func killedMidPour(s *scripted) (id string) {
	id = s.start()
	s.cup()
	s.pour(130, 8*time.Second)
	s.pass(300 * time.Millisecond) // the trace is kept within a quarter of a second
	s.restart(700 * time.Millisecond)
	return id
}

func TestAPourGoesOnWhereItStoodWhenTheDaemonWasKilled(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := killedMidPour(s)
		require.Equal(s, id, s.batchNow().ID, "before any reading")
		s.rest(130, time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
		s.pour(250, 20*time.Second)
		s.rest(250, 8*time.Second)
		view := s.batchNow()
		require.True(s, view.Parts[0].Accepted)
		require.Equal(s, 200*reading.Gram, view.Parts[0].Poured)
		require.Nil(s, view.Doubt)
	})
}

func TestWhatWasPouredWhileTheDaemonWasDownCounts(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		killedMidPour(s)
		s.rest(150, 2*time.Second)
		require.Equal(s, 100*reading.Gram, *s.batchNow().Poured, "the scale has it")
	})
}

func TestACupThatWasLiftedMeanwhileIsSetBack(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		killedMidPour(s)
		s.rest(0, 3*time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured, "poured mass survives")
		require.Contains(s, []pour.Cue{pour.CuePlace, pour.CueAnswer}, s.batchNow().Cue)
		s.rest(130, 4*time.Second)
		require.Contains(s, []pour.Cue{pour.CuePour, pour.CueTopUp}, s.batchNow().Cue)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
	})
}

// One power cut for daemon and scale: the scale comes back with the cup as its zero.
func TestAScaleThatWasZeroedByTheSamePowerCutIsAskedAbout(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := killedMidPour(s)
		s.rest(0, 3*time.Second)
		view := s.batchNow()
		require.NotNil(s, view.Question)
		require.Equal(s, []string{"tared", "scrap"}, view.Question.Choices)
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "tared"}})
		require.NoError(s, err)
		s.rest(0, time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
		s.pour(120, 15*time.Second)
		s.rest(120, 8*time.Second)
		require.True(s, s.batchNow().Parts[0].Accepted)
		require.Equal(s, 200*reading.Gram, s.batchNow().Parts[0].Poured)
	})
}

func TestABatchThatWaitedForItsCupStillDoes(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.rest(0, time.Second)
		s.restart(time.Second)
		require.Equal(s, id, s.batchNow().ID)
		s.rest(0, 2*time.Second)
		require.Equal(s, pour.CuePlace, s.batchNow().Cue)
		s.cup()
		require.Equal(s, pour.CuePour, s.batchNow().Cue)
	})
}

// A decision that was on its way to the ledger when the daemon was killed is made again from the trace.
func TestAnAcceptanceThatWasNotYetDurableIsMadeAgain(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.pour(250, 20*time.Second)
		s.hold(func(context.Context, string, ...batch.Fact) error { return errors.New("killed") })
		s.rest(250, 6*time.Second)
		require.Zero(s, count(s.recorded(id), "accepted"))
		s.restart(time.Second)
		s.rest(250, 3*time.Second)
		require.True(s, s.batchNow().Parts[0].Accepted)
		require.Equal(s, 1, count(s.recorded(id), "accepted"))
	})
}

func TestAnEndedBatchIsNotTakenUp(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "abandon", Reason: "given up"}})
		require.NoError(s, err)
		s.restart(time.Second)
		require.Nil(s, s.now().Batch)
	})
}

func TestAnotherStationsBatchStaysThere(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.start()
		s.restart(time.Second, func(c *Config) { c.ID = "bench-2" })
		require.Nil(s, s.now().Batch)
	})
}

// poured has both parts in the cup at rest, which makes the first contact some seconds ago.
func poured(s *scripted) (id string) {
	id = s.start()
	s.cup()
	s.pour(250, 20*time.Second)
	s.rest(250, 8*time.Second)
	s.rest(250, 5*time.Second)
	s.pour(350, 20*time.Second)
	s.rest(350, 8*time.Second)
	require.NotNil(s, s.batchNow().Verdict)
	return id
}

func TestPotLifeGoesOnFromItsStart(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := poured(s)
		before := s.batchNow().PotLife
		s.restart(time.Minute)
		require.Equal(s, id, s.batchNow().ID, "its cup may still stand there")
		require.Equal(s, before, s.batchNow().PotLife)
		require.Equal(s, "running", s.now().Clocks[0].State)
		s.rest(0, 3*time.Second)
		require.Nil(s, s.now().Batch, "the cup was taken off")
	})
}

func TestPotLifeIsUnknownWhereTheClockCannotBeTrusted(t *testing.T) {
	for name, c := range map[string]func(now time.Time) clock{
		"booted and not synchronised": func(now time.Time) clock { return clock{booted: now.Add(-time.Second)} },
	} {
		t.Run(name, func(t *testing.T) {
			onBench(t, takes(0), func(s *scripted) {
				id := poured(s)
				s.restart(time.Minute, func(cfg *Config) { cfg.clock = func() clock { return c(time.Now()) } })
				require.Equal(s, "unknown", *s.batchNow().PotLife.Basis)
				require.Nil(s, s.batchNow().PotLife.Ends)
				require.NotNil(s, s.batchNow().PotLife.Started)
				require.Equal(s, "over", s.now().Clocks[0].State, "treated as over")
				require.Equal(s, 1, count(s.recorded(id), "clock_doubted"))
				s.restart(time.Minute)
				require.Equal(s, "unknown", *s.batchNow().PotLife.Basis, "for good")
				require.Equal(s, 1, count(s.recorded(id), "clock_doubted"))
			})
		})
	}
}

func TestWhenTheClockIsInDoubt(t *testing.T) {
	last := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		name string
		now  time.Time
		c    clock
		want string
	}{
		{"it goes on", last.Add(time.Second), clock{synchronised: true}, ""},
		{"it stands before the last event", last.Add(-time.Second), clock{synchronised: true}, "set back"},
		{"booted since, and nobody has set it", last.Add(time.Hour), clock{booted: last.Add(time.Minute)}, "switched on again"},
		{"booted since, and set", last.Add(time.Hour), clock{booted: last.Add(time.Minute), synchronised: true}, ""},
		{"never set, but running all the time", last.Add(time.Hour), clock{booted: last.Add(-time.Minute)}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.c.doubt(last, tt.now)
			require.Equal(t, tt.want == "", got == "")
			require.Contains(t, got, tt.want)
		})
	}
}

// A stick that was told to be one is still one after a restart: taken out with the cup off, it is no loss of the mix.
func TestAStickInTheCupIsNotForgotten(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.pour(250, 20*time.Second)
		s.rest(250, 8*time.Second)
		require.True(s, s.batchNow().Parts[0].Accepted)
		s.rest(250, 5*time.Second)
		s.rest(256, 3*time.Second) // 6 g at once
		require.NotNil(s, s.batchNow().Question)
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "put_in"}})
		require.NoError(s, err)
		s.rest(256, time.Second)
		s.restart(5 * time.Second)
		s.rest(256, 3*time.Second)
		s.rest(0, 3*time.Second)   // lifted
		s.rest(250, 5*time.Second) // and set back without the stick
		view := s.batchNow()
		require.Equal(s, 200*reading.Gram, view.Parts[0].Poured, "%+v", view)
		require.Equal(s, 100*reading.Gram, view.Parts[1].Target)
	})
}

// Whatever was open when the daemon was killed is open again, after one restart and after two.
func TestAnOpenQuestionIsOpenAgain(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := killedMidPour(s)
		s.rest(0, 3*time.Second)
		require.NotNil(s, s.batchNow().Question)
		for range 2 {
			s.restart(time.Second)
			s.rest(0, 3*time.Second)
			view := s.batchNow()
			require.NotNil(s, view.Question)
			require.Contains(s, view.Question.Choices, "tared")
			require.Equal(s, 80*reading.Gram, *view.Poured)
		}
		require.Equal(s, 1, count(s.recorded(id), "jumped"), "it happened once")
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "tared"}})
		require.NoError(s, err)
		s.rest(0, time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
		s.restart(3 * time.Second)
		s.rest(0, 2*time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured, "and the key is known for one")
		s.pour(120, 15*time.Second)
		s.rest(120, 8*time.Second)
		require.Equal(s, 200*reading.Gram, s.batchNow().Parts[0].Poured)
	})
}

func TestACupThatIsOffIsStillOff(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.start()
		s.cup()
		s.pour(130, 8*time.Second)
		s.rest(130, 3*time.Second)
		s.rest(0, 2*time.Second)
		off := []pour.Cue{pour.CuePlace, pour.CueAnswer} // without values in between it may have been a key
		require.Contains(s, off, s.batchNow().Cue)
		s.restart(5 * time.Second)
		s.rest(0, 2*time.Second)
		require.Contains(s, off, s.batchNow().Cue)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
		s.rest(130, 4*time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
		require.Nil(s, s.batchNow().Doubt)
	})
}

func TestAPartTakenBackByHandStaysTakenBack(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.pour(249, 20*time.Second)
		s.rest(249, 8*time.Second)
		require.True(s, s.batchNow().Parts[0].Accepted)
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "reopen"}})
		require.NoError(s, err)
		s.rest(249, time.Second)
		s.restart(3 * time.Second)
		s.rest(249, 10*time.Second)
		require.False(s, s.batchNow().Parts[0].Accepted, "nothing has changed since")
		s.pour(250, 2*time.Second)
		s.rest(250, 8*time.Second)
		require.Equal(s, 200*reading.Gram, s.batchNow().Parts[0].Poured)
		require.True(s, s.batchNow().Parts[0].Accepted)
	})
}

func TestWhatComesOntoAWeighedCupInAnOutageIsNoB(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		poured(s)
		s.restart(time.Minute)
		s.rest(356, 5*time.Second)
		require.NotNil(s, s.batchNow().Verdict)
		require.Equal(s, 100*reading.Gram, s.batchNow().Parts[1].Poured)
	})
}

// With shape: auto the division is found anew after a restart; the batch goes on with its own until then.
func TestABatchKeepsTheDivisionThatWasFoundForIt(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.pour(130, 8*time.Second)
		s.pass(300 * time.Millisecond)
		s.restart(700*time.Millisecond, func(c *Config) { c.Scale.Division = 0 })
		snap, err := s.Snapshot(s.Context())
		require.NoError(s, err)
		require.Equal(s, id, snap.Batch.ID)
		require.Equal(s, reading.Gram/2, snap.Scale.Division, "coarser than the last digit")
		s.rest(130, time.Second)
		require.Equal(s, 80*reading.Gram, *s.batchNow().Poured)
	}, func(c *Config) { c.Scale.Division = reading.Gram / 2 })
}
