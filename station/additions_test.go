package station

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/material"
	"twocup/station/plan"
	"twocup/station/pour"
)

// Every example material that can be weighed today, with whatever additions it has, in the plan's order: each part is
// poured to its own target and ends the batch within.
func TestEveryExampleMaterialIsWeighedInThePlansOrder(t *testing.T) {
	additions := 0
	for _, card := range material.Demo() {
		if len(card.NotBuilt()) > 0 {
			continue
		}
		t.Run(card.ID, func(t *testing.T) {
			onBench(t, takes(0), func(s *scripted) {
				s.rest(0, time.Second)
				total := 2 * reading.Kilogram
				started, err := s.StartBatch(s.Context(), Order{Material: card.ID, Amount: plan.Amount{TotalG: &total}})
				require.NoError(s, err)
				synctest.Wait()
				for _, check := range started.Plan.OpenChecks() {
					_, err := s.Act(s.Context(), started.ID, Action{Act: batch.Act{Action: "override", Check: check, Reason: "a test", Operator: "T"}})
					require.NoError(s, err)
				}
				require.Len(s, started.Parts, 2+len(card.Additions))
				additions += len(card.Additions)
				s.cup()
				on := 50.0
				for i, planned := range started.Plan.Parts {
					view := s.batchNow()
					require.Equal(s, planned.Part, *view.Part)
					if i > 0 {
						require.Equal(s, pour.CueChangeOver, view.Cue, planned.Part)
						s.rest(on, 5*time.Second)
					}
					on += view.Target.Grams()
					s.pour(on, 20*time.Second)
					s.rest(on, 12*time.Second)
					require.True(s, s.batchNow().Parts[i].Accepted, "%s %+v", planned.Part, s.batchNow())
				}
				record, err := s.Record(s.Context(), started.ID)
				require.NoError(s, err)
				require.Equal(s, "within", string(*record.Verdict))
				require.Nil(s, record.Doubt)
				require.InDelta(s, 0, *record.Error, 0.5)
			})
		})
	}
	require.NotZero(t, additions)
}
