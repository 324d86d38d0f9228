package station

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/plan"
)

// A container's code is as good as the hand: B begins with it, and it is first contact.
func TestTheScannedContainerOfTheNextPartBeginsIt(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.partA()
		require.Equal(s, "change_over", string(s.batchNow().Cue))
		requireMisfit(t, s.act(id, batch.Act{Action: "scanned", Code: "DEMO-HARBOUR-A"}), "part A, and B is next")
		require.NoError(s, s.act(id, batch.Act{Action: "scanned", Code: "DEMO-HARBOUR-B"}))
		now := s.batchNow()
		require.Equal(s, "B", *now.Part)
		require.NotEqual(s, "change_over", string(now.Cue))
		require.NotNil(s, now.PotLife.Started)
		entries, err := s.ledger.Entries(s.Context(), id)
		require.NoError(s, err)
		require.Equal(s, "scanned", entries[len(entries)-1].Fact.(batch.Begun).By)
		s.rest(250, time.Second)
		s.pour(350, 15*time.Second)
		s.rest(350, 3*time.Second)
		require.Equal(s, "within", string(*s.batchNow().Verdict))
		requireMisfit(t, s.act(id, batch.Act{Action: "scanned", Code: "DEMO-HARBOUR-B"}), "everything is weighed")
	})
}

func TestABatchFromBeforeAmountsWereKeptIsMadeAgainByItsTotal(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		require.NoError(s, s.act(id, batch.Act{Action: "abandon", Reason: "test"}))
		entries, err := s.ledger.Entries(s.Context(), id)
		require.NoError(s, err)
		old := entries[0].Fact.(batch.Started)
		old.ID, old.Amount = uuid.NewString(), nil
		require.NoError(s, s.ledger.Append(s.Context(), old.ID, old))
		o, err := s.Again(s.Context(), old.ID)
		require.NoError(s, err)
		require.Equal(s, plan.Amount{TotalG: new(300 * reading.Gram)}, o.Amount)
	})
}
