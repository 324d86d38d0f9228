package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/pour"
)

func TestAWholeWeighOut(t *testing.T) {
	b := newBench(t, "300 g", "6000 g")
	require.Equal(t, PhaseCup, b.view().Phase)
	require.Equal(t, pour.CuePlace, b.view().Cue)
	require.Nil(t, b.view().Part)

	b.pour(50, 400*time.Millisecond)
	require.Equal(t, pour.CueWait, b.view().Cue, "a cup not yet at rest")
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

// With a tolerance of 0 to +4 % B's target is below its guarded window: a person told to stop there would never be done.
func TestWhatIsStillToPourIsNeverNegativeBelowTheWindow(t *testing.T) {
	var d Dosing
	d.Target, d.Low, d.High = 50200*reading.Gram/1000, 50500*reading.Gram/1000, 51900*reading.Gram/1000
	require.Equal(t, 550*reading.Gram/1000, d.remaining(50300*reading.Gram/1000))
	d.Low = 50 * reading.Gram
	require.Equal(t, -100*reading.Gram/1000, d.remaining(50300*reading.Gram/1000), "past a target inside the window")
}

// A display at an edge of the window flickers over it: one line on the good side makes nothing green and accepts nothing.
func TestOneLineOfFlickerDecidesNothing(t *testing.T) {
	b := newBench(t, "300 g", "6000 g").cupPlaced()
	b.pour(245, 6*time.Second)
	b.rest(245.9, 2*time.Second) // A's window begins at 196 g: 246 on the scale
	for i := range 60 {
		b.line([]float64{245.9, 245.9, 245.9, 246}[i%4], reading.Stable)
		require.Equal(t, pour.Near, *b.view().Band)
	}
	require.Equal(t, pour.CueTopUp, b.view().Cue)
	for range 30 {
		b.line(246, reading.Stable)
	}
	require.True(t, b.view().Parts[0].Accepted)
	require.Equal(t, 196.0, b.view().Parts[0].Poured.Grams())
}

func TestACupIsTakenAtTheValueShownMost(t *testing.T) {
	b := newBench(t, "300 g", "6000 g")
	b.pour(50, 400*time.Millisecond)
	for i := range 40 {
		b.line([]float64{50, 50, 50, 50, 50.1}[i%5], reading.Stable) // at rest on a flicker
	}
	b.poured(250)
	require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
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

func TestACupTooHeavyForWhatIsToComeIsAQuestion(t *testing.T) {
	heavy := func(t *testing.T) *bench {
		b := newBench(t, "300 g", "400 g")
		b.pour(150, 400*time.Millisecond)
		b.rest(150, time.Second)
		require.Equal(t, PhaseCup, b.view().Phase)
		require.Equal(t, pour.CueAnswer, b.view().Cue)
		require.Contains(t, b.view().Question.Detail, "400 g")
		return b
	}
	t.Run("another cup takes it away", func(t *testing.T) {
		b := heavy(t)
		b.rest(0, time.Second)
		require.Nil(t, b.view().Question)
		b.cupPlaced()
	})
	t.Run("it can be taken as it is", func(t *testing.T) {
		b := heavy(t)
		require.NoError(t, b.act(Act{Action: "accept"}))
		require.Equal(t, pour.CuePour, b.view().Cue)
		require.Nil(t, b.view().Question)
	})
	t.Run("or scrapped, without a reason asked", func(t *testing.T) {
		require.NoError(t, heavy(t).act(Act{Action: "scrap"}))
	})
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
	b.requireReplay()
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

// What the card says of a liquid's tail decides how long it is waited for; what the hand has shown decides no fact.
func TestAThickerLiquidIsAcceptedLater(t *testing.T) {
	accepted := func(viscosity string, habits Habits) time.Duration {
		card := testCard()
		card.StatedViscosity = viscosity
		b := newBenchFor(t, card, "60 g", "6000 g", nil) // A within 0.8 g either side
		b.state.habits = habits
		b.cupPlaced().pour(b.value+40, 4*time.Second)
		at := b.now
		for !b.state.waiting {
			require.Less(t, b.now.Sub(at), 12*time.Second)
			b.line(b.value, reading.Stable)
		}
		return b.now.Sub(at).Round(100 * time.Millisecond)
	}
	require.Equal(t, 1500*time.Millisecond, accepted("thin", nil), "auto.settle is the least")
	require.Equal(t, 2500*time.Millisecond, accepted("", nil))
	require.Equal(t, 3200*time.Millisecond, accepted("thick", nil), "3.125 s, by the next line")
	require.Equal(t, 5200*time.Millisecond, accepted("paste", nil))
	require.Equal(t, 5200*time.Millisecond, accepted("paste", Habits{"A": pour.FirstHabit("thin")}))
}
