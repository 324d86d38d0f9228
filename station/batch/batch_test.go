package batch

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/pour"
)

func TestAWholeWeighOut(t *testing.T) {
	b := newBench(t, "300 g", "6000 g")
	require.Equal(t, PhaseCup, b.view().Phase)
	require.Equal(t, pour.CuePlace, b.view().Cue)
	require.Nil(t, b.view().Part)

	b.cupPlaced()
	v := b.view()
	require.Equal(t, PhasePour, v.Phase)
	require.Equal(t, "A", *v.Part)
	require.Equal(t, pour.Below, *v.Band)
	require.Equal(t, 200.0, grams(v.Remaining))

	b.poured(250.4)
	v = b.view()
	require.Equal(t, "B", *v.Part)
	require.Equal(t, pour.CueChangeOver, v.Cue)
	require.True(t, v.Parts[0].Accepted)
	require.Equal(t, 200.4, v.Parts[0].Poured.Grams())
	require.Equal(t, 100.2, grams(v.Target), "B follows the A that was poured")
	require.Equal(t, pour.Below, *v.Band)
	require.Nil(t, v.PotLife.Started)

	b.handedOver()
	before := b.now
	b.pour(350.6, 8*time.Second)
	v = b.view()
	require.Equal(t, before, *v.PotLife.Started, "pot life runs from where the rise began")
	require.Equal(t, before.Add(20*time.Minute), *v.PotLife.Ends)
	require.Equal(t, pour.Inside, *v.Band)
	require.Nil(t, v.Verdict)

	b.rest(350.6, 3*time.Second)
	v = b.view()
	require.Equal(t, PhaseMix, v.Phase)
	require.Equal(t, pour.CueDone, v.Cue)
	require.Equal(t, metrology.Within, *v.Verdict)
	require.Equal(t, 0.0, *v.Error)
	require.Nil(t, v.Part)
	require.Equal(t, []string{"started", "cup_taken", "accepted", "begun", "accepted"}, b.kinds())

	b.rest(0, time.Second)
	require.True(t, b.state.Left())
}

func TestCuesComeInTheirOrderAndNeverFlicker(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	var cues []pour.Cue
	see := func() {
		if c := b.view().Cue; len(cues) == 0 || cues[len(cues)-1] != c {
			cues = append(cues, c)
		}
	}
	for value := 50.0; value < 249.5; { // 20 g/s, throttled at the ease, ended at the stop
		switch b.view().Cue {
		case pour.CuePour:
			value += 2
		case pour.CueEase:
			value += 0.3
		default:
			value = 249.5
		}
		b.line(value, reading.Moving)
		see()
	}
	for range 30 {
		b.rest(249.5, 100*time.Millisecond)
		see()
	}
	require.Equal(t, []pour.Cue{pour.CuePour, pour.CueEase, pour.CueStop, pour.CueHold, pour.CueChangeOver}, cues)
}

func TestBelowItsWindowAPartIsToppedUp(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	b.pour(240, 6*time.Second)
	b.rest(240, 3*time.Second)
	require.Equal(t, pour.CueTopUp, b.view().Cue)
	require.Equal(t, pour.Near, *b.view().Band)
	require.Equal(t, PhasePour, b.view().Phase)
	b.pour(250, 3*time.Second)
	b.rest(250, 3*time.Second)
	require.True(t, b.view().Parts[0].Accepted)
}

func TestTooMuchAIsNoFaultBFollows(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced().poured(270)
	require.Equal(t, "B", *b.view().Part)
	require.Equal(t, 110.0, grams(b.view().Target))
}

func TestTooMuchAWithNoRoomForItsBIsAQuestion(t *testing.T) {
	b := newBench(t, "300 g", "360 g").cupPlaced().poured(270) // 270 on the pan and 110 to come
	v := b.view()
	require.Equal(t, pour.CueAnswer, v.Cue)
	require.Equal(t, []string{"accept", "scrap"}, v.Question.Choices)
	require.Contains(t, v.Question.Detail, "360 g")
	require.NoError(t, b.act(Act{Action: "accept"}))
	require.Equal(t, "B", *b.view().Part)
}

func TestTooMuchBIsCorrectedWithA(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
	b.pour(354, 8*time.Second)
	b.rest(354, 3*time.Second) // B 104 g of 100 g
	v := b.view()
	require.Equal(t, PhaseCorrect, v.Phase)
	require.Equal(t, "A", *v.Part)
	require.Equal(t, pour.CueCorrect, v.Cue)
	require.Equal(t, 208.0, grams(v.Target), "A's new total: 104/0.5")
	require.Equal(t, 8.0, grams(v.Remaining))
	require.Equal(t, 200.0, grams(v.Poured))
	require.Nil(t, v.Verdict)

	b.handedOver()
	b.pour(362, 4*time.Second)
	require.Equal(t, PhaseCorrect, b.view().Phase)
	b.rest(362, 3*time.Second)
	v = b.view()
	require.Equal(t, metrology.Within, *v.Verdict)
	require.Equal(t, 0.0, *v.Error)
	require.Equal(t, 208.0, v.Parts[0].Poured.Grams())
	require.True(t, v.Parts[0].Accepted)
}

func TestACorrectionThatDoesNotFitIsAQuestion(t *testing.T) {
	b := newBench(t, "300 g", "358 g").cupPlaced().poured(250).handedOver()
	b.pour(354, 8*time.Second)
	b.rest(354, 3*time.Second)
	require.Equal(t, pour.CueAnswer, b.view().Cue)
	require.NoError(t, b.act(Act{Action: "accept"}))
	require.Equal(t, metrology.Outside, *b.view().Verdict)
}

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

func TestWhatHappensAtThePanKeepsWhatWasPoured(t *testing.T) {
	t.Run("cup lifted at rest and set back elsewhere on the pan", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.rest(150, 2*time.Second)
		b.pour(0, 300*time.Millisecond)
		b.rest(0, 2*time.Second)
		v := b.view()
		require.Equal(t, pour.CuePlace, v.Cue)
		require.Equal(t, 100.0, grams(v.Poured))
		b.pour(150.2, 300*time.Millisecond)
		b.rest(150.2, 2*time.Second)
		v = b.view()
		require.Equal(t, pour.CueTopUp, v.Cue)
		require.Equal(t, 100.0, grams(v.Poured))
	})
	t.Run("cup lifted in mid-stream: what was not shown yet is not lost", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.pour(0, 300*time.Millisecond)
		b.rest(0, 2*time.Second)
		b.pour(153, 300*time.Millisecond)
		b.rest(153, 2*time.Second)
		require.Equal(t, 103.0, grams(b.view().Poured))
	})
	t.Run("TARE pressed at the scale", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.rest(150, 2*time.Second)
		b.kind = reading.Net
		b.line(0, reading.Stable)
		require.Equal(t, 100.0, grams(b.view().Poured))
		b.pour(100, 4*time.Second)
		b.rest(100, 3*time.Second)
		require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
		b.kind = reading.Gross // and cancelled again
		b.line(250, reading.Stable)
		require.Equal(t, pour.CueChangeOver, b.view().Cue)
	})
	t.Run("ZERO pressed at the scale looks like a lift: lifted and set back, nothing is lost", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		b.rest(150, 2*time.Second)
		b.rest(0, time.Second)
		require.Equal(t, pour.CuePlace, b.view().Cue)
		b.rest(-150, time.Second)
		b.rest(0, time.Second)
		require.Equal(t, pour.CueTopUp, b.view().Cue)
		require.Equal(t, 100.0, grams(b.view().Poured))
		require.True(t, b.view().Provable)
	})
	t.Run("over range there is no weight, then it goes on", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		next, facts := Follow(b.state, reading.Reading{State: reading.Over, At: b.now})
		require.Empty(t, facts)
		b.state = next
		require.False(t, b.state.Pan.Settled(0))
		b.rest(150, time.Second)
		require.Equal(t, 100.0, grams(b.view().Poured))
	})
}

func TestWhereNobodyCanSayWhatIsInTheCupTheVerdictIsUnproven(t *testing.T) {
	for _, tt := range []struct {
		name   string
		happen func(*bench) // with A accepted at 250
	}{
		{"a stream too soon, then the cup is lifted before it was said whose it is", func(b *bench) {
			b.pour(260, time.Second)
			b.rest(260, time.Second)
			b.rest(0, time.Second)
			b.rest(260, 2*time.Second)
		}},
		{"a stream too soon, then TARE", func(b *bench) {
			b.pour(260, time.Second)
			b.rest(260, time.Second)
			b.kind = reading.Net
			b.rest(0, 2*time.Second)
		}},
		{"the cup comes back a little lighter", func(b *bench) {
			b.rest(0, time.Second)
			b.rest(246, 2*time.Second)
		}},
		{"the cup comes back much heavier, and is said to be the same", func(b *bench) {
			b.rest(0, time.Second)
			b.rest(300, 2*time.Second)
			require.Equal(b.t, []string{"same_cup", "scrap"}, b.view().Question.Choices)
			require.NoError(b.t, b.act(Act{Action: "same_cup"}))
		}},
		{"some of A is taken out again", func(b *bench) { b.rest(240, 2*time.Second) }},
		{"TARE while B is landing", func(b *bench) {
			b.rest(250, 5*time.Second)
			b.pour(270, time.Second)
			b.kind = reading.Net
			b.pour(0, 100*time.Millisecond)
		}},
		{"the cup is lifted while B is landing", func(b *bench) {
			b.rest(250, 5*time.Second)
			b.pour(270, time.Second)
			b.pour(0, 300*time.Millisecond)
			b.rest(0, time.Second)
			b.pour(272, 300*time.Millisecond)
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
			tt.happen(b)
			b.handedOver()
			require.Equal(t, "B", *b.view().Part)
			require.False(t, b.view().Provable)
			b.pour(b.value+grams(b.view().Remaining), 8*time.Second)
			b.rest(b.value, 3*time.Second)
			require.Equal(t, metrology.Unproven, *b.view().Verdict)
			require.NotEmpty(t, b.state.Doubt)
			again := b.reread()
			require.Equal(t, metrology.Unproven, again.Verdict)
		})
	}
}

func TestALoneLowLineDoesNotUnsayWhatLanded(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
	b.pour(260, time.Second)
	b.rest(260, time.Second)
	b.line(240, reading.Moving) // a hand on the cup
	b.rest(260, 5*time.Second)
	require.NotNil(t, b.view().Question)
}

func TestAKeyWhileAnAcceptanceIsOnItsWayKeepsItsReference(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	b.held = true
	b.poured(250)
	b.kind = reading.Net
	b.rest(0, time.Second)
	b.release()
	require.Equal(t, 100.0, grams(b.view().Remaining))
	require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
	b.handedOver()
	b.pour(100, 8*time.Second)
	b.rest(100, 3*time.Second)
	require.Equal(t, metrology.Unproven, *b.view().Verdict, "nobody saw what landed in between")
	again := b.reread()
	require.Equal(t, b.view().Parts, again.View(false).Parts)
}

func TestAWindowFollowsTheReadingsThatALiftAdds(t *testing.T) {
	b := newBench(t, "100 g", "6000 g").cupPlaced()
	b.pour(116.7, 6*time.Second)
	b.rest(116.7, 3*time.Second)
	b.handedOver()
	b.pour(140, 3*time.Second)
	b.rest(140, 2*time.Second)
	before := *b.view().Low
	b.rest(0, time.Second)
	b.rest(140, 2*time.Second)
	require.Greater(t, *b.view().Low, before)
	b.pour(50+66.7+b.view().Low.Grams(), 3*time.Second) // the very edge
	b.rest(b.value, 8*time.Second)
	require.Equal(t, metrology.Within, *b.view().Verdict)
}

func TestWhatEndsInMidPourSaysWhatIsInTheCup(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	b.pour(150, 4*time.Second)
	require.NoError(t, b.act(Act{Action: "scrap", Reason: "wrong jug"}))
	again := b.reread()
	require.Equal(t, 100.0, again.View(false).Parts[0].Poured.Grams())
}

func TestNothingIsShownBeforeItIsDurable(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	b.held = true
	b.poured(250)
	require.False(t, b.view().Parts[0].Accepted)
	require.Equal(t, "A", *b.view().Part)
	require.Equal(t, pour.CueHold, b.view().Cue)
	require.Len(t, b.queue, 1, "asked for once")
	b.release()
	require.True(t, b.view().Parts[0].Accepted)

	b.handedOver()
	b.held = true
	b.pour(300, 4*time.Second)
	require.Equal(t, 50.0, grams(b.view().Poured), "the live weight goes on")
	require.Nil(t, b.view().PotLife.Started)
	b.release()
	require.NotNil(t, b.view().PotLife.Started)

	b.pour(350, 4*time.Second)
	b.held = true
	b.rest(350, 3*time.Second)
	require.Nil(t, b.view().Verdict)
	b.release()
	require.Equal(t, metrology.Within, *b.view().Verdict)
}

func TestASecondTapOfTheSameHandDoesNothing(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	b.pour(250, 8*time.Second)
	b.rest(250, time.Second)
	b.held = true
	require.NoError(t, b.act(Act{Action: "accept"}))
	var refusal *Refusal
	for _, action := range []string{"accept", "reopen", "abandon"} {
		require.ErrorAs(t, b.act(Act{Action: action, Reason: "x"}), &refusal)
		require.True(t, refusal.Misfit)
	}
	b.rest(250, 3*time.Second) // long enough to be accepted without being told
	require.Len(t, b.queue, 1)
	b.release()
	require.Equal(t, pour.CueChangeOver, b.view().Cue)
	require.NoError(t, b.act(Act{Action: "reopen"}))
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

func TestActionsThatDoNotFitDoNothing(t *testing.T) {
	b := newBench(t, "300 g", "6000 g")
	for _, tt := range []struct {
		name   string
		act    Act
		misfit bool
	}{
		{"accept without a cup", Act{Action: "accept"}, true},
		{"reopen before anything", Act{Action: "reopen"}, true},
		{"b_begins before A", Act{Action: "b_begins"}, true},
		{"an answer without a question", Act{Action: "to_a"}, true},
		{"for another phase", Act{Action: "note", Text: "x", Phase: PhasePour}, true},
		{"for another part", Act{Action: "note", Text: "x", Part: "A"}, true},
		{"override of a check that is not open", Act{Action: "override", Check: "resolution", Reason: "r", Operator: "o"}, true},
		{"override without a name", Act{Action: "override", Check: "resolution", Reason: "r"}, false},
		{"a note without a text", Act{Action: "note"}, false},
		{"scrap without a reason", Act{Action: "scrap"}, false},
		{"unknown", Act{Action: "dance"}, false},
		{"not built", Act{Action: "park"}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before := b.view()
			var refusal *Refusal
			require.ErrorAs(t, b.act(tt.act), &refusal)
			require.Equal(t, tt.misfit, refusal.Misfit)
			require.Equal(t, before, b.view())
			require.Equal(t, []string{"started"}, b.kinds())
		})
	}
	require.NoError(t, b.act(Act{Action: "abandon", Reason: "wrong jug"}))
	require.Equal(t, PhaseAbandoned, b.view().Phase)
	require.Error(t, b.act(Act{Action: "note", Text: "too late"}))
}

func TestAPlanTheScaleCannotProveWaitsForAName(t *testing.T) {
	b := newBench(t, "6 g", "6000 g")
	require.Equal(t, pour.CueWait, b.view().Cue)
	require.False(t, b.view().Provable)
	b.pour(50, 400*time.Millisecond)
	b.rest(50, 2*time.Second)
	require.Equal(t, PhaseCup, b.view().Phase, "nothing is poured until the check is passed")
	require.NoError(t, b.act(Act{Action: "override", Check: "resolution", Reason: "a test piece", Operator: "Mira"}))
	b.rest(50, time.Second)
	require.Equal(t, PhasePour, b.view().Phase)
	b.pour(54, 4*time.Second)
	b.rest(54, 12*time.Second)
	b.handedOver()
	b.pour(56, 4*time.Second)
	b.rest(56, 20*time.Second)
	require.Equal(t, metrology.Unproven, *b.view().Verdict)
}

func TestACupUsedByABatchIsNotTheNextOnes(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
	start := *b.state.Start
	b.pour(350, 8*time.Second)
	b.rest(350, 3*time.Second)
	b.state = b.state.WithoutBatch()
	start.ID = "b2"
	b.record([]Fact{start})
	b.rest(350, 2*time.Second)
	require.Equal(t, pour.CuePlace, b.view().Cue)
	b.rest(0, 2*time.Second)
	b.cupPlaced()
}

func TestFactsReplayToTheSameBatch(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
	b.rest(250.4, 4*time.Second) // a drip of A
	b.handedOver()
	b.pour(354, 8*time.Second)
	b.rest(354, 3*time.Second)
	b.handedOver()
	b.pour(361.6, 4*time.Second)
	b.rest(361.6, 3*time.Second)
	require.NotNil(t, b.view().Verdict)
	again := b.reread()
	want, err := json.Marshal(b.view())
	require.NoError(t, err)
	got, err := json.Marshal(again.View(false))
	require.NoError(t, err)
	require.JSONEq(t, string(want), string(got))
}

// Whatever happens at the pan, what the batch says was poured is what was poured, as far as the scale showed it.
func TestMassIsConservedThroughAnyOrderOfPanEvents(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		poured, offset := 0.0, 0.0 // offset: what a key of the scale has taken off its display
		at := func() float64 { return 50 + poured - offset }
		for range rapid.IntRange(1, 12).Draw(rt, "events") {
			switch rapid.IntRange(0, 3).Draw(rt, "event") {
			case 0:
				poured += float64(rapid.IntRange(5, 150).Draw(rt, "tenths")) / 10
				if poured > 190 {
					return
				}
				b.pour(at(), 2*time.Second)
				b.rest(at(), 2*time.Second)
			case 1:
				b.pour(-offset, 400*time.Millisecond)
				b.rest(-offset, 2*time.Second)
				b.pour(at(), 400*time.Millisecond)
				b.rest(at(), 2*time.Second)
			case 2: // TARE, or its end
				b.kind, offset = reading.Gross+reading.Net-b.kind, 50+poured-offset
				b.line(at(), reading.Stable)
				b.rest(at(), time.Second)
			case 3:
				b.rest(at(), time.Second)
			}
			require.InDelta(rt, poured, grams(b.view().Poured), 1e-9)
		}
	})
}

func BenchmarkOneReading(b *testing.B) {
	bench := newBench(&testing.T{}, "300 g", "6000 g").cupPlaced()
	bench.pour(150, 4*time.Second)
	r := bench.state.Pan.Now
	s := bench.state
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		r.At = r.At.Add(100 * time.Millisecond)
		r.Mass += reading.Mass(i&1*2-1) * 30 * reading.Gram / 10
		s, _ = Follow(s, r)
	}
}
