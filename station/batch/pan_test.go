package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/pour"
)

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
	t.Run("a hand that presses on the cup before it lifts it", func(t *testing.T) {
		for _, b := range []*bench{newBench(t, "300 g", "6000 g").cupPlaced(), newBench(t, "300 g", "6000 g").cupPlaced().poured(250)} {
			b.rest(b.value, 2*time.Second)
			stood, poured := b.value, b.view().Parts[0].Poured
			b.pour(stood+15, 300*time.Millisecond)
			b.pour(0, 300*time.Millisecond)
			b.rest(0, time.Second)
			b.rest(stood, 2*time.Second)
			require.Equal(t, poured, b.view().Parts[0].Poured)
			require.True(t, b.view().Provable)
			require.Nil(t, b.view().Question)
		}
	})
	t.Run("a cup that came back changed and leaves again is asked about no more", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(0, time.Second)
		b.rest(300, time.Second)
		require.NotNil(t, b.view().Question)
		b.rest(0, time.Second)
		require.Nil(t, b.view().Question)
		b.rest(250, 2*time.Second)
		require.Equal(t, pour.CueChangeOver, b.view().Cue)
		require.True(t, b.view().Provable)
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
	t.Run("a display that leaves its last digit blank while it moves", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g")
		b.blank = true
		b.cupPlaced().poured(250.4).handedOver()
		b.pour(350.6, 8*time.Second)
		b.rest(350.6, 3*time.Second)
		require.Equal(t, metrology.Within, *b.view().Verdict)
		require.Equal(t, []string{"started", "cup_taken", "accepted", "begun", "accepted"}, b.kinds(), "that is no other resolution")
	})
	t.Run("another resolution in the middle of a pour", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		for _, step := range []reading.Value{{Digits: 160, Unit: reading.UnitG}, {Digits: 5644, Decimals: 3, Unit: reading.UnitOZ}, {Digits: 1600, Decimals: 1, Unit: reading.UnitG}} {
			for range 20 {
				b.now = b.now.Add(100 * time.Millisecond)
				m, _ := step.Mass()
				next, facts := Follow(b.state, reading.Reading{Value: step, Mass: m, Motion: reading.Stable, Kind: reading.Gross, At: b.now})
				b.state = next
				b.record(facts)
			}
			require.InDelta(t, 110, grams(b.view().Poured), 0.05)
		}
		b.value = 160
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a value that creeps by a few divisions", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		for _, value := range []float64{150, 149.9, 149.8, 149.7, 149.8} {
			b.rest(value, 30*time.Second)
		}
		require.True(t, b.view().Provable)
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a display that holds small changes back shows them all at once", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(250, time.Second)
		b.rest(250.3, 3*time.Second) // three divisions of A's tail, frozen until now
		require.Equal(t, 200.3, b.view().Parts[0].Poured.Grams())
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a hand that steadies a light cup while it is poured into", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(150, 4*time.Second)
		for range 10 {
			b.pour(b.value+12, 200*time.Millisecond)
			b.pour(b.value-2, 200*time.Millisecond)
		}
		b.pour(248, time.Second)
		b.rest(248, 3*time.Second)
		require.Equal(t, metrology.Within, b.finished())
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
			b.pour(270, 3*time.Second)
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
