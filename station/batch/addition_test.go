package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/station/material"
	"twocup/station/metrology"
	"twocup/station/plan"
	"twocup/station/pour"
)

// paste is 1 % of A, half of which counts as A: with 200 g of A it is 2 g, and B is half of 201 g.
func paste() material.Addition {
	return material.Addition{ID: "paste", Name: "Paste", Role: "pigment", Of: "a", Pct: new(1.0), StatedWhen: "after_a",
		StatedCountsAs: "a", StatedCountsFraction: new(0.5)}
}

func addition(id, of string, pct float64, when, counts string) material.Addition {
	return material.Addition{ID: id, Name: id, Role: "other", Of: of, Pct: new(pct), StatedWhen: when, StatedCountsAs: counts}
}

func benchWith(t *testing.T, total string, additions ...material.Addition) *bench {
	return newBenchFor(t, testCard(additions...), total, "6000 g", nil).cupPlaced()
}

// part has the part at hand poured to so much and accepted, at a flow that suits it.
func (b *bench) part(name string, grams float64) *bench {
	b.t.Helper()
	require.Equal(b.t, name, *b.view().Part)
	if b.state.waiting {
		b.handedOver()
	}
	b.pour(b.value+grams, time.Duration(2+grams/20)*time.Second)
	b.rest(b.value, 5*time.Second)
	return b
}

func (b *bench) total(part string) float64 {
	for _, p := range b.view().Parts {
		if p.Part.Part == part {
			return p.Poured.Grams()
		}
	}
	return -1
}

func TestAdditionsAreWeighedInThePlansOrder(t *testing.T) {
	b := benchWith(t, "321.5 g", paste(), addition("first", "a", 2, "before_a", "none"), addition("last", "ab", 5, "after_b", "none"))
	var order []string
	for _, p := range b.view().Parts {
		order = append(order, p.Part.Part)
	}
	require.Equal(t, []string{"first", "A", "paste", "B", "last"}, order)

	v := b.view()
	require.Equal(t, "first", *v.Part)
	require.Equal(t, PhasePour, v.Phase)
	require.Equal(t, pour.CuePour, v.Cue)
	require.InDelta(t, 4, grams(v.Target), 0.01)
	require.Equal(t, 3.8, grams(v.Low))
	require.Equal(t, 4.1, grams(v.High), "rounded inwards")
	b.part("first", 4)

	v = b.view()
	require.Equal(t, "A", *v.Part)
	require.Equal(t, pour.CueChangeOver, v.Cue)
	require.True(t, v.Parts[0].Accepted)
	require.InDelta(t, 200, grams(v.Target), 0.5)
	b.part("A", 202)
	require.InDelta(t, 2.02, grams(b.view().Target), 1e-9, "of the A that was poured")
	b.part("paste", 2)
	require.InDelta(t, 101.5, grams(b.view().Target), 1e-9, "half of 202 g of A and half of 2 g of paste")
	require.Nil(t, b.view().PotLife.Started)
	b.part("B", 101.5)
	require.NotNil(t, b.view().PotLife.Started)
	require.Nil(t, b.view().Verdict, "not everything is weighed")
	require.InDelta(t, 0.05*(202+101.5), grams(b.view().Target), 1e-6)
	b.part("last", 15.2)

	v = b.view()
	require.Equal(t, PhaseMix, v.Phase)
	require.Equal(t, metrology.Within, *v.Verdict)
	require.InDelta(t, 0, *v.Error, 1e-9)
	for _, p := range v.Parts {
		require.True(t, p.Accepted)
	}
	b.requireReplay()
}

func TestBetweenAnyTwoPartsThereIsAChangeOver(t *testing.T) {
	t.Run("a drip of A is A, and the addition follows it", func(t *testing.T) {
		b := benchWith(t, "302.5 g", paste()).poured(250)
		require.Equal(t, "paste", *b.view().Part)
		b.rest(250.3, time.Second)
		require.Equal(t, "A", *b.view().Part)
		b.rest(250.3, 2*time.Second)
		require.Equal(t, 200.3, b.total("A"))
		require.Equal(t, 2.003, grams(b.view().Target))
	})
	t.Run("what lands later is the addition", func(t *testing.T) {
		b := benchWith(t, "302.5 g", paste()).poured(250).handedOver()
		b.line(250.3, 2)
		require.Equal(t, "paste", *b.view().Part)
		require.Equal(t, pour.CuePour, b.view().Cue)
	})
	t.Run("it can be said to begin", func(t *testing.T) {
		b := benchWith(t, "302.5 g", paste()).poured(250)
		require.NoError(t, b.act(Act{Action: "b_begins", Part: "paste"}))
		b.pour(251, time.Second)
		require.Equal(t, 1.0, grams(b.view().Poured))
		require.Nil(t, b.view().PotLife.Started, "A and B have not met")
	})
	t.Run("a stream too soon is asked about by the names of the parts", func(t *testing.T) {
		b := benchWith(t, "302.5 g", paste()).part("A", 200)
		b.part("paste", 2)
		b.pour(b.value+20, 2*time.Second)
		b.rest(b.value, time.Second)
		b.requireAsked("to_paste", "to_b")
		require.NoError(t, b.act(Act{Action: "to_b"}))
		require.Equal(t, 20.0, grams(b.view().Poured))
		require.Equal(t, 2.0, b.total("paste"))
	})
	t.Run("a drip after the last of them takes the verdict back", func(t *testing.T) {
		b := benchWith(t, "306 g", addition("last", "ab", 2, "after_b", "none")).part("A", 200).part("B", 100)
		b.handedOver()
		b.pour(b.value+6, 3*time.Second)
		for b.view().Verdict == nil {
			b.rest(b.value, 100*time.Millisecond)
		}
		b.rest(b.value+0.2, time.Second)
		require.Nil(t, b.view().Verdict)
		require.Equal(t, "last", *b.view().Part)
	})
}

func TestTooMuchOfAnAdditionIsNoFaultWhatFollowsFollowsIt(t *testing.T) {
	b := benchWith(t, "302.5 g", paste()).part("A", 200).part("paste", 4)
	require.Equal(t, "B", *b.view().Part)
	require.Equal(t, 101.0, grams(b.view().Target))
	require.Equal(t, 4.0, b.total("paste"))
	b.part("B", 101)
	require.Equal(t, metrology.Within, *b.view().Verdict)
	require.InDelta(t, 0, *b.view().Error, 1e-9)
}

func TestTooLittleOfAnAdditionIsToppedUp(t *testing.T) {
	b := benchWith(t, "302.5 g", paste()).part("A", 200).part("paste", 1.5)
	b.rest(b.value, time.Second) // a drop is more than a tenth of its window
	require.Equal(t, "paste", *b.view().Part)
	require.Equal(t, pour.CueTopUp, b.view().Cue)
	require.NoError(t, b.act(Act{Action: "accept"}), "it can be taken as it stands")
	require.Equal(t, 100.375, grams(b.view().Target))
}

// Figures of the hand calculation: r 0.5, A 200 g, paste 1 % of A counted half, so A_eq 201 g; B 104 g needs 6.965 g of A
// and 0.070 g of paste, A_eq 208.0 g.
func TestACorrectionGrowsTheAdditionsWithIt(t *testing.T) {
	b := benchWith(t, "302.5 g", paste()).part("A", 200).part("paste", 2).part("B", 104)
	v := b.view()
	require.Equal(t, PhaseCorrect, v.Phase)
	require.Equal(t, "A", *v.Part)
	require.InDelta(t, 206.965, grams(v.Target), 0.0005)
	b.handedOver()
	b.part("A", 7)
	require.Equal(t, metrology.Within, *b.view().Verdict, "0.07 g of paste more is inside its window: none is asked for")
	require.InDelta(t, 207.0, b.total("A"), 1e-9)

	t.Run("where they lack more than their window allows they are asked for", func(t *testing.T) {
		thin := addition("thinner", "a", 20, "after_a", "a")
		thin.StatedTolerancePct = new(1.0)
		b := benchWith(t, "360 g", thin).part("A", 200).part("thinner", 40).part("B", 130)
		require.Equal(t, PhaseCorrect, b.view().Phase)
		target := grams(b.view().Target)
		require.InDelta(t, 130/0.5/1.2, target, 1e-6, "A and its thinner together are twice of B")
		b.part("A", 16.7)
		require.Equal(t, PhaseCorrect, b.view().Phase)
		require.Equal(t, "thinner", *b.view().Part)
		require.InDelta(t, 43.34, grams(b.view().Target), 1e-9)
		b.part("thinner", 3.3)
		require.Equal(t, metrology.Within, *b.view().Verdict)
		require.InDelta(t, 0, *b.view().Error, 0.1)
		require.Equal(t, 43.3, b.total("thinner"))
		b.requireReplay()
	})
}

func TestTooMuchBIsCorrectedBeforeWhatComesAfterB(t *testing.T) {
	b := benchWith(t, "306 g", addition("last", "ab", 2, "after_b", "none")).part("A", 200).part("B", 104)
	require.Equal(t, PhaseCorrect, b.view().Phase)
	b.part("A", 8)
	require.Nil(t, b.view().Verdict)
	require.Equal(t, "last", *b.view().Part)
	require.Equal(t, PhasePour, b.view().Phase)
	require.InDelta(t, 0.02*312, grams(b.view().Target), 1e-9)
	b.part("last", 6.2)
	require.Equal(t, metrology.Within, *b.view().Verdict)
	require.Equal(t, 208.0, b.total("A"))
	b.requireReplay()

	t.Run("a correction taken back goes with what it was to mend", func(t *testing.T) {
		b := benchWith(t, "306 g", addition("last", "ab", 2, "after_b", "none")).part("A", 200).part("B", 104)
		require.NoError(t, b.act(Act{Action: "reopen"}))
		require.Equal(t, "B", *b.view().Part)
		require.Len(t, b.state.Dosings, 3)
		require.NoError(t, b.act(Act{Action: "accept"}))
		require.Equal(t, "last", *b.view().Part, "taken as it stands it is not mended")
	})
}

// The window of a correction with A was worked out with the whole dose of what counts as A: short of it the ratio would be
// outside, although each part lies in its own window.
func TestACorrectionAsksForTheWholeDoseOfWhatCounts(t *testing.T) {
	b := benchWith(t, "600 g", addition("filler", "a", 20, "after_a", "a")).part("A", 333.3).part("filler", 66.6)
	b.handedOver()
	b.pour(b.value+208.9, 12*time.Second)
	b.rest(b.value, 12*time.Second)
	require.Equal(t, PhaseCorrect, b.view().Phase)
	require.Equal(t, "A", *b.view().Part)
	b.part("A", grams(b.view().Remaining))
	require.Equal(t, "filler", *b.view().Part, "it is in its window, and not the whole dose")
	require.InDelta(t, 0.2*b.total("A"), grams(b.view().Target), 1e-6)
	b.part("filler", grams(b.view().Remaining))
	require.Equal(t, metrology.Within, *b.view().Verdict)
}

func TestWhatCountsAfterBIsMadeUpFor(t *testing.T) {
	t.Run("too much of what counts as A by more B", func(t *testing.T) {
		b := benchWith(t, "330 g", addition("late", "a", 10, "after_b", "a")).part("A", 200).part("B", 110)
		require.Nil(t, b.view().Verdict)
		b.part("late", 30)
		require.Equal(t, PhaseCorrect, b.view().Phase)
		require.Equal(t, "B", *b.view().Part)
		require.Equal(t, 115.0, grams(b.view().Target))
		b.part("B", 5)
		require.Equal(t, metrology.Within, *b.view().Verdict)
		require.Equal(t, 115.0, b.total("B"))
	})
	t.Run("too much of what counts as B by more A", func(t *testing.T) {
		b := benchWith(t, "300 g", addition("late", "a", 10, "after_b", "b")).part("A", 200).part("B", 80)
		b.part("late", 30)
		require.Equal(t, PhaseCorrect, b.view().Phase)
		require.Equal(t, "A", *b.view().Part)
		require.Greater(t, grams(b.view().Target), 200.0)
	})
}

// What counts as B and comes last decides the ratio, and its window is about its dose: inside it the ratio may still be
// unproven, and then nothing is green.
func TestWhatCountsAndComesLastIsNotGreenWhereTheRatioIsNotProven(t *testing.T) {
	for _, tt := range []struct {
		name    string
		late    float64
		proven  bool
		verdict metrology.Verdict
	}{
		{"its dose makes the ratio right", 20, true, metrology.Within},
		{"at the end of its window the ratio is not proven", 21.9, false, metrology.Unproven},
	} {
		t.Run(tt.name, func(t *testing.T) {
			late := addition("late", "a", 10, "after_b", "b")
			late.StatedTolerancePct = new(10.0)
			b := benchWith(t, "300 g", late).part("A", 200).part("B", 80)
			b.handedOver()
			b.pour(b.value+tt.late, 3*time.Second)
			b.rest(b.value, time.Second)
			require.Nil(t, b.view().Verdict)
			require.Equal(t, pour.Inside, *b.view().Band)
			require.Equal(t, tt.proven, b.view().Provable)
			b.rest(b.value, 8*time.Second)
			require.Equal(t, tt.verdict, *b.view().Verdict)
		})
	}
}

func TestACorrectionThatHasNoRoomSaysWhy(t *testing.T) {
	refused := func(t *testing.T, b *bench, limit string) {
		require.Equal(t, pour.CueAnswer, b.view().Cue)
		require.Equal(t, []string{"accept", "scrap"}, b.view().Question.Choices)
		require.Contains(t, b.view().Question.Detail, limit)
	}
	dense := testCard()
	dense.Density.Mixed = "1.0"
	t.Run("in the cup", func(t *testing.T) {
		b := newBenchFor(t, dense, "300 g", "6000 g", &plan.Cup{VolumeML: new(310.0)}).cupPlaced().poured(250).handedOver()
		b.pour(354, 8*time.Second)
		b.rest(354, 3*time.Second)
		refused(t, b, "the cup holds 310 mL")
		require.NoError(t, b.act(Act{Action: "accept"}))
		require.Equal(t, metrology.Outside, *b.view().Verdict)
	})
	t.Run("in the cup, of B for too much A", func(t *testing.T) {
		b := newBenchFor(t, dense, "300 g", "6000 g", &plan.Cup{VolumeML: new(310.0)}).cupPlaced().poured(260)
		refused(t, b, "the cup holds 310 mL")
	})
	t.Run("in the cup, of an addition and B for too much A", func(t *testing.T) {
		card := testCard(addition("filler", "ab", 10, "after_b", "none"))
		card.Density.Mixed, card.Additions[0].Density = "1.0", "1.0"
		b := newBenchFor(t, card, "330 g", "6000 g", &plan.Cup{VolumeML: new(340.0)}).cupPlaced().poured(260)
		refused(t, b, "the cup holds 340 mL")
	})
	t.Run("in the pot life", func(t *testing.T) {
		card := testCard()
		card.PotLife.Time = material.Duration(8 * time.Second)
		b := newBenchFor(t, card, "300 g", "6000 g", nil).cupPlaced().poured(250).handedOver()
		b.pour(354, 8*time.Second)
		b.rest(354, 5*time.Second)
		refused(t, b, "pot life is over")
	})
}
