package station

import (
	"bytes"
	"context"
	"encoding/json"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/ledger"
	"twocup/station/pour"
)

// slowHand goes on for 3 s after the stop: nobody is taken for that before.
var slowHand = pour.Habit{Stop: pour.Lag{Seconds: 3.0625, SD: 0.05, Times: 9}, Tail: pour.Lag{Seconds: 0.5, SD: 0.1, Times: 9}}

// knows has the ledger know an operator's hand with A of harbour-clear.
func (s *scripted) knows(operator string) {
	s.Helper()
	h, err := s.ledger.Hand(s.Context(), operator, "harbour-clear")
	require.NoError(s, err)
	h.Habits = batch.Habits{"A": slowHand}
	require.NoError(s, s.ledger.Learn(s.Context(), h))
}

func (s *scripted) habits() []ledger.Habit {
	s.Helper()
	list, err := s.ledger.Habits(s.Context())
	require.NoError(s, err)
	return list
}

// startFor is a batch of an operator's, its cup taken.
func (s *scripted) startFor(o Order, operator string) (id string) {
	s.Helper()
	o.Operator = operator
	s.rest(0, 2*time.Second)
	record, err := s.StartBatch(s.Context(), o)
	require.NoError(s, err)
	synctest.Wait()
	s.cup()
	return record.ID
}

// easesAt pours A at 15 g/s and gives what was in the cup when the hand was first asked to slow down.
func (s *scripted) easesAt() reading.Mass {
	s.Helper()
	for s.batchNow().Cue == pour.CuePour {
		s.line("US", s.grams+1.5)
	}
	require.Equal(s, pour.CueEase, s.batchNow().Cue)
	return *s.batchNow().Poured
}

// weighedOut is a batch of an operator's from start to end, off the pan again.
func (s *scripted) weighedOut(o Order, operator string) (id string) {
	s.Helper()
	id = s.startFor(o, operator)
	s.partA()
	s.partB()
	s.rest(0, 3*time.Second)
	return id
}

func TestTheNextBatchOfAHandStartsWithWhatIsKnownOfIt(t *testing.T) {
	ease := func(operator string, o Order) (at reading.Mass) {
		onBench(t, takes(0), func(s *scripted) {
			s.knows("Ada")
			s.startFor(o, operator)
			at = s.easesAt()
		})
		return at
	}
	ordered := order(300 * reading.Gram)
	practice := ordered
	practice.Practice = true
	stranger := ease("Bo", ordered)
	require.Less(t, ease("Ada", ordered), stranger-10*reading.Gram)
	require.Less(t, ease("Ada", practice), stranger-10*reading.Gram, "a practice pour is guided as a real one is")
	require.Equal(t, stranger, ease("", ordered))
}

func TestWhatABatchHasShownIsKeptOfItsOperator(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.weighedOut(order(300*reading.Gram), "Ada")
		list := s.habits()
		require.Len(t, list, 2)
		for i, part := range []string{"A", "B"} {
			require.Equal(s, ledger.Habit{Operator: "Ada", Material: "harbour-clear", Part: part, Pours: 1, StopLag: list[i].StopLag}, list[i])
			require.NotEqual(s, pour.FirstHabit("thin").Stop.Seconds, list[i].StopLag)
		}
		s.weighedOut(order(300*reading.Gram), "Ada")
		require.Equal(s, 2, s.habits()[0].Pours)
	})
}

func TestNothingIsKeptOfAHandWithoutANameOrOfAPracticePour(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.weighedOut(order(300*reading.Gram), "")
		practice := order(300 * reading.Gram)
		practice.Practice = true
		s.weighedOut(practice, "Ada")
		require.Empty(s, s.habits())
	})
}

func TestAHandThatIsForgottenInMidBatchStaysForgotten(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.knows("Ada")
		s.startFor(order(300*reading.Gram), "Ada")
		require.NoError(s, s.ledger.Forget(s.Context(), "Ada"))
		s.partA()
		s.partB()
		s.rest(0, 3*time.Second)
		require.Empty(s, s.habits())
		s.weighedOut(order(300*reading.Gram), "Ada")
		require.Equal(s, 1, s.habits()[0].Pours, "the next batch begins anew")
	})
}

func TestABatchTakenUpAfterAKillIsGuidedByTheSameHabit(t *testing.T) {
	ease := func(known bool) (at reading.Mass) {
		onBench(t, takes(0), func(s *scripted) {
			if known {
				s.knows("Ada")
			}
			s.startFor(order(300*reading.Gram), "Ada")
			s.pour(100, 4*time.Second)
			s.pass(300 * time.Millisecond)
			s.restart(700 * time.Millisecond)
			s.rest(100, time.Second)
			s.pour(115, time.Second)
			at = s.easesAt()
			s.pour(250, 20*time.Second)
			s.rest(250, 3*time.Second)
			s.partB()
			s.rest(0, 3*time.Second)
			require.NotEmpty(s, s.habits(), "and goes on teaching")
		})
		return at
	}
	require.Less(t, ease(true), ease(false)-10*reading.Gram)
}

// Habits are in no event and so in nothing that is made of events.
func TestAHabitIsInNoRecordAndNoExport(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.knows("Ada")
		id := s.startFor(order(300*reading.Gram), "Ada")
		s.easesAt()
		texts := map[string][]byte{}
		note := func(name string, v any, err error) {
			require.NoError(s, err)
			texts[name], err = json.Marshal(v)
			require.NoError(s, err)
		}
		live, err := s.Record(s.Context(), id)
		note("the live record", live, err)
		note("the snapshot", s.now(), nil)
		s.pour(250, 15*time.Second)
		s.rest(250, 3*time.Second)
		s.partB()
		s.rest(0, 3*time.Second)
		require.Equal(s, 2, s.habits()[0].Pours)
		kept, err := s.Record(s.Context(), id)
		note("the record", kept, err)
		var csv, lines bytes.Buffer
		require.NoError(s, ExportCSV(s.Context(), &csv, &s.ledger.Reader, ledger.Query{}))
		require.NoError(s, ExportLines(s.Context(), &lines, &s.ledger.Reader, ledger.Query{}))
		texts["CSV"], texts["JSON Lines"] = csv.Bytes(), lines.Bytes()
		for name, text := range texts {
			require.NotContains(s, string(text), "3.0625", name)
			require.NotContains(s, string(text), "seconds", name)
			require.NotContains(s, string(text), "habit", name)
		}
		report, err := s.ledger.Verify(s.Context(), "")
		require.NoError(s, err)
		require.True(s, report.Whole(), "the chain doesn't know of them")
	})
}

func TestAStationThatEndsInMidBatchKeepsWhatWasLearnedByThen(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		s.startFor(order(300*reading.Gram), "Ada")
		s.partA()
		require.Empty(s, s.habits())
		s.cancel()
		s.Wait()
		require.Len(s, s.habits(), 1)
	})
}

// A write that is slow holds up what comes after it: so a habit is handed over when nothing is left to be weighed.
func TestAHabitIsWrittenOnceNothingIsLeftToBeWeighed(t *testing.T) {
	var written atomic.Int32
	onBench(t, takes(0), func(s *scripted) {
		s.startFor(order(300*reading.Gram), "Ada")
		s.partA()
		s.rest(250, 2*time.Second)
		require.Zero(s, written.Load())
		s.partB()
		s.rest(350, time.Second)
		require.EqualValues(s, 2, written.Load(), "A's and B's")
	}, func(cfg *Config) {
		cfg.learn = func(ctx context.Context, hands ...ledger.Hand) error {
			written.Add(int32(len(hands)))
			return nil
		}
	})
}
