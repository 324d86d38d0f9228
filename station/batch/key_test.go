package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// muteBench is a scale whose lines say neither motion nor kind, with 100 g of A in the 50 g cup, at rest.
func muteBench(t *testing.T) *bench {
	b := newBench(t, "300 g", "6000 g")
	b.mute = true
	b.cupPlaced()
	b.pour(150, 4*time.Second)
	b.rest(150, 2*time.Second)
	return b
}

// finished pours the rest of A and B by what the batch asks for, and gives the verdict.
func (b *bench) finished() metrology.Verdict {
	b.t.Helper()
	if *b.view().Part == "A" {
		b.poured(b.value + b.view().Remaining.Grams())
	}
	b.handedOver()
	require.Equal(b.t, "B", *b.view().Part)
	b.pour(b.value+b.view().Remaining.Grams(), 8*time.Second)
	b.rest(b.value, 3*time.Second)
	require.NotNil(b.t, b.view().Verdict)
	return *b.view().Verdict
}

func (b *bench) requireAsked(choices ...string) {
	b.t.Helper()
	require.NotNil(b.t, b.view().Question)
	require.Equal(b.t, choices, b.view().Question.Choices)
	require.Equal(b.t, pour.CueAnswer, b.view().Cue)
}

func TestLiftedOrTaredIsAskedWhereNothingTellsThemApart(t *testing.T) {
	jumped := func(t *testing.T) *bench {
		b := muteBench(t)
		b.line(0, reading.MotionUnknown)
		require.Nil(t, b.view().Question, "asked at rest")
		require.Equal(t, pour.CueHold, b.view().Cue, "nobody is to lift anything")
		b.rest(0, time.Second)
		b.requireAsked("lifted", "tared")
		require.Equal(t, 100.0, grams(b.view().Poured))
		return b
	}
	t.Run("tared: what was poured stays, and the pour goes on from zero", func(t *testing.T) {
		b := jumped(t)
		require.NoError(t, b.act(Act{Action: "tared"}))
		require.Equal(t, 100.0, grams(b.view().Poured))
		require.Nil(t, b.view().Question)
		b.poured(100)
		require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("lifted: the cup is waited for", func(t *testing.T) {
		b := jumped(t)
		require.NoError(t, b.act(Act{Action: "lifted"}))
		require.Equal(t, pour.CuePlace, b.view().Cue)
		b.pour(150, 300*time.Millisecond)
		b.rest(150, 2*time.Second)
		require.Equal(t, 100.0, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a stream answers it", func(t *testing.T) {
		b := jumped(t)
		b.pour(60, 5*time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, 160.0, grams(b.view().Poured))
		b.pour(100, 4*time.Second)
		b.rest(100, 3*time.Second)
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a little that was poured counts once it is answered", func(t *testing.T) {
		b := jumped(t)
		b.pour(3, time.Second)
		b.rest(3, time.Second)
		b.requireAsked("lifted", "tared")
		require.Equal(t, 100.0, grams(b.view().Poured))
		require.NoError(t, b.act(Act{Action: "tared"}))
		require.Equal(t, 103.0, grams(b.view().Poured))
	})
	t.Run("the old value answers it", func(t *testing.T) {
		b := jumped(t)
		b.pour(150.1, 300*time.Millisecond)
		b.rest(150.1, time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, 100.0, grams(b.view().Poured), "from a fresh reading")
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("the cup taken off a scale that was tared answers it", func(t *testing.T) {
		b := jumped(t)
		b.pour(-150, 300*time.Millisecond)
		b.rest(-150, time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, pour.CuePlace, b.view().Cue)
		b.pour(0, 300*time.Millisecond)
		b.rest(0, time.Second)
		require.Equal(t, 100.0, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("another cup does not", func(t *testing.T) {
		b := jumped(t)
		b.pour(80, 300*time.Millisecond)
		b.rest(80, time.Second)
		b.requireAsked("lifted", "tared")
		require.NoError(t, b.act(Act{Action: "lifted"}))
		b.rest(80, time.Second)
		b.requireAsked("same_cup", "scrap")
	})
	t.Run("while A waits for B nothing is lost either", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g")
		b.mute = true
		b.cupPlaced().poured(250)
		b.rest(0, time.Second)
		b.requireAsked("lifted", "tared")
		require.NoError(t, b.act(Act{Action: "tared"}))
		require.Equal(t, pour.CueChangeOver, b.view().Cue)
		require.Equal(t, metrology.Within, b.finished())
		require.Equal(t, 100.0, b.view().Parts[1].Poured.Grams())
	})
	t.Run("both readings of it are kept", func(t *testing.T) {
		b := jumped(t)
		require.NoError(t, b.act(Act{Action: "lifted"}))
		require.Equal(t, []string{"started", "cup_taken", "jumped", "answered"}, b.kinds())
		j := b.facts[2].(Jumped)
		require.Equal(t, plan.Picograms(mass(t, "150 g")), j.From)
		require.Zero(t, j.To)
		require.True(t, j.Clean)
		require.False(t, j.Silent)
	})
	t.Run("in mid-stream nobody can say what landed", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g")
		b.mute = true
		b.cupPlaced()
		b.pour(150, 4*time.Second)
		b.line(0, reading.MotionUnknown)
		require.NotEmpty(t, b.state.Doubt)
		b.pour(20, 2*time.Second)
		require.Nil(t, b.view().Question, "nothing is asked while liquid flows")
		b.pour(60, 4*time.Second)
		require.Equal(t, 160.0, grams(b.view().Poured))
		b.pour(100, 4*time.Second)
		b.rest(100, 3*time.Second)
		require.Equal(t, metrology.Unproven, b.finished())
	})
	t.Run("what follows waits for an answer that is on its way", func(t *testing.T) {
		b := jumped(t)
		b.held = true
		require.NoError(t, b.act(Act{Action: "tared"}))
		b.pour(60, 5*time.Second)
		b.release()
		require.Equal(t, 160.0, grams(b.view().Poured))
		require.True(t, b.view().Provable)
	})
	t.Run("also for that it was tared, and is lifted meanwhile", func(t *testing.T) {
		b := jumped(t)
		b.held = true
		require.NoError(t, b.act(Act{Action: "tared"}))
		b.pour(-150, 300*time.Millisecond)
		b.rest(-150, time.Second)
		b.release()
		require.Equal(t, pour.CuePlace, b.view().Cue)
		b.pour(0, 300*time.Millisecond)
		b.rest(0, time.Second)
		require.Equal(t, 100.0, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("another key while it is asked", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.rest(150, 2*time.Second)
		b.line(0, reading.Stable) // ZERO
		b.rest(0, time.Second)
		b.pour(3, time.Second)
		b.rest(3, time.Second)
		b.kind = reading.Net
		b.rest(0, time.Second)
		b.requireAsked("lifted", "tared")
		require.NoError(t, b.act(Act{Action: "tared"}))
		require.Equal(t, 103.0, grams(b.view().Poured))
		b.pour(-153, 300*time.Millisecond)
		b.rest(-153, time.Second)
		require.Equal(t, pour.CuePlace, b.view().Cue)
	})
	t.Run("answers that nobody asked for do nothing", func(t *testing.T) {
		b := muteBench(t)
		for _, answer := range []string{"lifted", "tared", "poured", "put_in", "to_a", "to_pigment"} {
			var refusal *Refusal
			require.ErrorAs(t, b.act(Act{Action: answer}), &refusal)
			require.True(t, refusal.Misfit)
		}
	})
}

func TestOnAScaleThatWasTaredAKeyIsNoQuestion(t *testing.T) {
	b := muteBench(t)
	b.rest(0, time.Second)
	require.NoError(t, b.act(Act{Action: "tared"}))
	b.pour(30, 4*time.Second)
	b.rest(30, 2*time.Second)
	for _, value := range []float64{0, 180} { // TARE, where the empty pan would show -150, and TARE cleared
		b.rest(value, time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, 130.0, grams(b.view().Poured))
	}
	require.Equal(t, metrology.Within, b.finished())
}

func TestAScaleThatComesBackAtZeroIsAsked(t *testing.T) {
	restarted := func(t *testing.T, mute bool) *bench {
		b := newBench(t, "300 g", "6000 g")
		b.mute = mute
		b.cupPlaced()
		b.pour(150, 4*time.Second)
		b.rest(150, 2*time.Second)
		b.now = b.now.Add(3 * time.Minute) // it has switched itself off
		b.rest(0, 1500*time.Millisecond)
		b.requireAsked("tared", "scrap")
		require.Equal(t, 100.0, grams(b.view().Poured))
		return b
	}
	for _, mute := range []bool{false, true} {
		t.Run("tared: the batch goes on", func(t *testing.T) {
			b := restarted(t, mute)
			require.NoError(t, b.act(Act{Action: "tared"}))
			require.Equal(t, 100.0, grams(b.view().Poured))
			b.poured(100)
			require.Equal(t, metrology.Within, b.finished())
		})
		t.Run("scrap, without a reason asked", func(t *testing.T) {
			b := restarted(t, mute)
			require.NoError(t, b.act(Act{Action: "scrap"}))
			require.Equal(t, 100.0, b.view().Parts[0].Poured.Grams())
		})
		t.Run("the cup was only off: set back it answers", func(t *testing.T) {
			b := restarted(t, mute)
			b.pour(150, 300*time.Millisecond)
			b.rest(150, 2*time.Second)
			require.Nil(t, b.view().Question)
			require.Equal(t, 100.0, grams(b.view().Poured))
		})
	}
	t.Run("a silence in mid-stream leaves a doubt", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.now = b.now.Add(3 * time.Minute)
		b.rest(0, 1500*time.Millisecond)
		b.requireAsked("tared", "scrap")
		require.NoError(t, b.act(Act{Action: "tared"}))
		require.False(t, b.view().Provable)
	})
	t.Run("a silence alone is no event", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.now = b.now.Add(3 * time.Minute)
		b.rest(160, 2*time.Second) // some came meanwhile, and shows
		require.Nil(t, b.view().Question)
		require.Equal(t, 110.0, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
}

func TestWithoutAutoAcceptWhatCameAtOnceIsAskedToo(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	start := *b.state.Start
	start.Auto.Accept = false
	b.state.Start = &start
	b.pour(243, 6*time.Second)
	b.rest(243, time.Second)
	b.rest(248, 3*time.Second)
	b.requireAsked("poured", "put_in")
	require.NoError(t, b.act(Act{Action: "poured"}))
	b.rest(248, 3*time.Second)
	require.False(t, b.view().Parts[0].Accepted)
	require.NoError(t, b.act(Act{Action: "accept"}))
	require.Equal(t, 198.0, b.view().Parts[0].Poured.Grams())
}
