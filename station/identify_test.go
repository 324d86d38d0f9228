package station

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/station/batch"
	"twocup/station/ledger"
)

func TestAScaleThatIsLentStartsNoBatch(t *testing.T) {
	s := &Station{writer: writer{jobs: make(chan job, 1)}}
	require.NoError(t, s.lend())
	var refusal *batch.Refusal
	require.ErrorAs(t, s.lend(), &refusal, "one at a time")
	require.ErrorAs(t, s.begin(batch.Started{At: time.Now()}, ledger.Hand{}, nil), &refusal)
	require.Contains(t, refusal.Detail, "being identified")
	require.True(t, refusal.Misfit)
	require.Empty(t, s.queue, "nothing has been started")
}

func TestAScaleIsNotLentWhileABatchNeedsIt(t *testing.T) {
	for name, s := range map[string]*Station{
		"a batch is at the station":     {state: batch.State{Start: &batch.Started{}}},
		"a batch's start is on its way": {queue: []job{{facts: []batch.Fact{batch.Started{}}}}},
	} {
		t.Run(name, func(t *testing.T) {
			require.Error(t, s.lend())
			require.False(t, s.lent)
		})
	}
}
