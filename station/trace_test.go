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
	"twocup/station/ledger"
)

// failing is an error that a test turns on and off while the writer's goroutine asks for it.
type failing struct{ err atomic.Pointer[error] }

func (f *failing) with(err error) { f.err.Store(&err) }

func (f *failing) now() error {
	if err := f.err.Load(); err != nil {
		return *err
	}
	return nil
}

func TestWhatTheScaleShowedOfABatchIsInItsTrace(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.rest(0, time.Second)
		s.rest(50, 2*time.Second)
		s.pour(80.5, 3*time.Second)
		s.pass(300 * time.Millisecond)
		points, thinned, err := s.ledger.Trace(s.Context(), id)
		require.NoError(s, err)
		require.False(s, thinned)
		require.Len(s, points, 8+10+20+30, "every reading since the start, and those of the empty pan before")
		require.Equal(s, 805*reading.Gram/10, points[67].Mass)
		require.Equal(s, reading.Gram/10, points[67].Step)
		require.Equal(s, 100*time.Millisecond, points[67].At.Sub(points[66].At))
	})
}

// Whatever happens, points are in the ledger within a quarter of a second of their reading, or with the end.
func TestPointsAreNoOlderThanAQuarterOfASecondBeforeTheyAreKept(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		for range 40 {
			s.rest(0, 100*time.Millisecond)
			points, _, err := s.ledger.Trace(s.Context(), id)
			require.NoError(s, err)
			if len(points) > 0 {
				require.LessOrEqual(s, time.Since(points[len(points)-1].At), 300*time.Millisecond)
			}
		}
		s.line("ST", 12)
		s.cancel()
		s.Wait()
		points, _, err := s.ledger.Trace(s.Context(), id)
		require.NoError(s, err)
		require.Equal(s, 12*reading.Gram, points[len(points)-1].Mass, "the end writes what is left")
	})
}

func TestATraceNeverHoldsFactsUpAndIsWholeAfterwards(t *testing.T) {
	var fail failing
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.rest(0, time.Second)
		fail.with(ledger.ErrFull)
		s.rest(0, 5*time.Second)
		require.NoError(s, s.note(id, "recorded at once")())
		require.Equal(s, 1, count(s.recorded(id), "noted"))
		s.rest(0, 5*time.Second)
		require.Contains(s, *s.now().Ledger, "the disk is full: free some of it")
		require.LessOrEqual(s, strings.Count(s.log.String(), "the ledger can't be written"), 2, "told of each change and not at each try")
		fail.with(nil)
		s.rest(0, 2*time.Second)
		require.Nil(s, s.now().Ledger)
		points, _, err := s.ledger.Trace(s.Context(), id)
		require.NoError(s, err)
		require.GreaterOrEqual(s, len(points), 125)
		for i := range points[1:] {
			require.Equal(s, 100*time.Millisecond, points[i+1].At.Sub(points[i].At), "no gap")
		}
	}, func(c *Config) {
		kept := c.Ledger.AppendTrace
		c.trace = func(ctx context.Context, id string, points []ledger.TracePoint) error {
			if err := fail.now(); err != nil {
				return fmt.Errorf("write: %w", err)
			}
			return kept(ctx, id, points)
		}
	})
}

func TestABatchThatTheDiskCannotTakeIsNotStartedLater(t *testing.T) {
	var full failing
	full.with(fmt.Errorf("write: %w", ledger.ErrReadOnly))
	onBench(t, takes(0), func(s *scripted) {
		s.rest(0, time.Second)
		s.hold(func(context.Context, string, ...batch.Fact) error { return fmt.Errorf("write: %w", ledger.ErrReadOnly) })
		begun := time.Now()
		_, err := s.StartBatch(s.Context(), order(300*reading.Gram))
		require.ErrorIs(s, err, ErrNotDurable)
		require.ErrorIs(s, err, ledger.ErrReadOnly)
		require.Zero(s, time.Since(begun), "told at once")
		synctest.Wait()
		require.Contains(s, *s.now().Ledger, "the data folder can't be written")
		s.rest(0, 5*time.Second)
		require.NotNil(s, s.now().Ledger, "as long as it is so")
		full.with(nil)
		s.hold(takes(0))
		s.rest(0, 5*time.Second)
		require.Nil(s, s.now().Ledger, "no batch is needed to see that it can be written again")
		require.Nil(s, s.now().Batch, "nobody asked for it now")
		_, err = s.StartBatch(s.Context(), order(300*reading.Gram))
		require.NoError(s, err)
		synctest.Wait()
		require.Nil(s, s.now().Ledger)
		require.NotNil(s, s.now().Batch)
	}, func(c *Config) { c.probe = func(context.Context) error { return full.now() } })
}

func TestAPourGoesOnLiveWhileNothingCanBeRecorded(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.hold(func(context.Context, string, ...batch.Fact) error {
			return errors.Join(errors.New("write"), ledger.ErrFull)
		})
		s.pour(250, 15*time.Second)
		require.Equal(s, "250.0 g", *s.now().Scale.Shown)
		require.Equal(s, 200*reading.Gram, *s.batchNow().Poured, "the live weight goes on")
		s.rest(250, 10*time.Second)
		require.True(s, s.batchNow().Saving)
		require.False(s, s.batchNow().Parts[0].Accepted, "not before it is recorded")
		require.Contains(s, *s.now().Ledger, "the disk is full")
		require.Zero(s, count(s.recorded(id), "accepted"))
		s.hold(takes(0))
		s.rest(250, 3*time.Second)
		require.True(s, s.batchNow().Parts[0].Accepted)
		require.Equal(s, 1, count(s.recorded(id), "accepted"))
	})
}
