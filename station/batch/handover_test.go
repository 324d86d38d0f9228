package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/pour"
)

func TestTheTailOfAIsNotB(t *testing.T) {
	t.Run("drips soon after re-open A and B's target moves with it", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(250.4, time.Second)
		v := b.view()
		require.Equal(t, "A", *v.Part)
		require.Equal(t, PhaseSettle, v.Phase)
		require.Equal(t, pour.CueHold, v.Cue)
		require.False(t, v.Parts[0].Accepted)
		b.rest(250.4, 2*time.Second)
		v = b.view()
		require.Equal(t, "B", *v.Part)
		require.Equal(t, 100.2, grams(v.Target))
		require.Contains(t, b.kinds(), "reopened")
	})
	t.Run("hand-over starts anew after a drip", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(250, 2*time.Second)
		b.rest(250.4, 3*time.Second) // accepted again at its end
		b.rest(250.4, time.Second)
		b.rest(250.8, 3*time.Second) // more than 4 s after the first acceptance, less after the second
		require.Equal(t, 200.8, b.view().Parts[0].Poured.Grams())
	})
	t.Run("a flicker of one division is no rise", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		for range 100 {
			b.line(250.1, reading.Stable)
			b.line(250, reading.Stable)
		}
		require.Equal(t, pour.CueChangeOver, b.view().Cue)
		require.Equal(t, []string{"started", "cup_taken", "accepted"}, b.kinds())
	})
	t.Run("nor is one that a lone higher line has begun", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.line(250.2, reading.Moving) // noise: for a moment it looks like a drip
		require.Equal(t, pour.CueHold, b.view().Cue)
		for range 100 { // more often a division above what was accepted than at it
			b.line(250.1, reading.Stable)
			b.line(250.1, reading.Stable)
			b.line(250, reading.Stable)
		}
		require.Equal(t, pour.CueChangeOver, b.view().Cue, "nobody would ever be asked for B")
		require.Equal(t, []string{"started", "cup_taken", "accepted"}, b.kinds())
	})
	t.Run("a question about one is not taken back by a lone lower line", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(254) // A is at its window's end
		lines := func(n int, value float64) {
			for range n {
				b.line(value, reading.Stable)
			}
		}
		lines(1, 254.2)
		lines(20, 254.1)
		require.NotNil(t, b.view().Question)
		lines(1, 254)
		lines(40, 254.1)
		require.NotNil(t, b.view().Question)
		lines(1, 254)
		lines(10, 254.1)
		lines(1, 254.3)
		lines(20, 254.1)
		require.NotNil(t, b.view().Question)
		require.NotContains(t, b.kinds(), "begun")
	})
	t.Run("what lands late enough is B", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		b.line(250.2, reading.Moving)
		require.Equal(t, pour.CuePour, b.view().Cue)
		require.Equal(t, "B", *b.view().Part)
	})
	t.Run("b_begins makes it B at once", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		require.NoError(t, b.act(Act{Action: "b_begins"}))
		require.Equal(t, pour.CuePour, b.view().Cue)
		b.pour(260, time.Second)
		require.Equal(t, 10.0, grams(b.view().Poured))
		require.Error(t, b.act(Act{Action: "b_begins"}), "it has begun")
	})
}

func TestAStreamTooSoonIsAQuestionAskedAtRest(t *testing.T) {
	early := func(t *testing.T) *bench {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.pour(280, 2*time.Second) // 15 g/s; A came with 20
		require.Nil(t, b.view().Question, "nothing is asked while liquid flows")
		require.Equal(t, pour.CueHold, b.view().Cue)
		require.False(t, b.view().Parts[0].Accepted)
		b.rest(280, time.Second)
		v := b.view()
		require.Equal(t, pour.CueAnswer, v.Cue)
		require.Equal(t, []string{"to_a", "to_b"}, v.Question.Choices)
		require.Equal(t, "A", *v.Part)
		require.Equal(t, 200.0, v.Parts[0].Poured.Grams(), "A keeps the mass that was accepted")
		return b
	}
	t.Run("to_a", func(t *testing.T) {
		b := early(t)
		require.NoError(t, b.act(Act{Action: "to_a"}))
		b.rest(280, 2*time.Second)
		require.Equal(t, 230.0, b.view().Parts[0].Poured.Grams())
		require.Equal(t, 115.0, grams(b.view().Target))
	})
	t.Run("to_b", func(t *testing.T) {
		b := early(t)
		require.NoError(t, b.act(Act{Action: "to_b"}))
		v := b.view()
		require.Equal(t, "B", *v.Part)
		require.Equal(t, 30.0, grams(v.Poured))
		require.Equal(t, 200.0, v.Parts[0].Poured.Grams())
		require.WithinDuration(t, b.now.Add(-3*time.Second), *v.PotLife.Started, 0, "contact was when the stream began")
	})
	t.Run("b_begins says so too", func(t *testing.T) {
		b := early(t)
		require.NoError(t, b.act(Act{Action: "b_begins"}))
		require.Equal(t, 30.0, grams(b.view().Poured))
	})
	t.Run("also one that follows a drip before that is taken in", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(250, 2*time.Second)
		b.rest(250.4, time.Second) // a drip, at rest for 0.6 s
		b.pour(265, time.Second)
		b.rest(265, time.Second)
		require.Equal(t, []string{"to_a", "to_b"}, b.view().Question.Choices)
		require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
	})
	t.Run("a hand that leaned and left takes the question away", func(t *testing.T) {
		b := early(t)
		b.rest(250, time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, pour.CueChangeOver, b.view().Cue)
	})
}

func TestALoneLowLineDoesNotUnsayWhatLanded(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
	b.pour(260, time.Second)
	b.rest(260, time.Second)
	b.line(240, reading.Moving) // a hand on the cup
	b.rest(260, 5*time.Second)
	require.NotNil(t, b.view().Question)
}

func TestADripAfterTheVerdictTakesItBack(t *testing.T) {
	done := func(t *testing.T) *bench {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		b.pour(350, 8*time.Second)
		b.rest(350, 2500*time.Millisecond)
		require.NotNil(t, b.view().Verdict)
		return b
	}
	t.Run("soon after", func(t *testing.T) {
		b := done(t)
		started := *b.view().PotLife.Started
		b.rest(350.4, time.Second)
		v := b.view()
		require.Nil(t, v.Verdict)
		require.Equal(t, "B", *v.Part)
		require.Equal(t, started, *v.PotLife.Started, "pot life keeps its start")
		require.True(t, b.state.Weighed.IsZero())
		b.rest(350.4, 2*time.Second)
		require.Equal(t, 100.4, b.view().Parts[1].Poured.Grams())
		require.NotNil(t, b.view().Verdict)
	})
	t.Run("not later", func(t *testing.T) {
		b := done(t)
		b.rest(350, 6*time.Second)
		b.rest(350.4, 2*time.Second)
		require.NotNil(t, b.view().Verdict)
	})
	t.Run("also one that began in time and came to rest later", func(t *testing.T) {
		b := done(t)
		b.rest(350, 4*time.Second)
		b.rest(351, 3*time.Second)
		require.Equal(t, 101.0, b.view().Parts[1].Poured.Grams())
	})
	t.Run("also one while the ledger was slow", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		b.pour(350, 8*time.Second)
		b.held = true
		b.rest(350, 3*time.Second)
		b.rest(360, 8*time.Second)
		b.release()
		b.rest(360, time.Second)
		require.Nil(t, b.view().Verdict)
	})
	t.Run("by reopen, then only a change or accept closes it again", func(t *testing.T) {
		b := done(t)
		require.NoError(t, b.act(Act{Action: "reopen"}))
		b.rest(350, 5*time.Second)
		require.Nil(t, b.view().Verdict)
		require.NoError(t, b.act(Act{Action: "accept"}))
		require.NotNil(t, b.view().Verdict)
	})
	t.Run("not once the cup is off", func(t *testing.T) {
		b := done(t)
		b.rest(0, time.Second)
		require.Error(t, b.act(Act{Action: "reopen"}))
	})
}
