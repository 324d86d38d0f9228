package batch

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/pour"
)

func TestWhatIsPutInIsNotPoured(t *testing.T) {
	onA := func(t *testing.T, value float64) *bench { // A of 200 g stands at a value, the cup at 50
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.pour(value, 6*time.Second)
		b.rest(value, 2*time.Second)
		return b
	}
	t.Run("a stick that makes a part look full is asked about, and accepts nothing", func(t *testing.T) {
		b := onA(t, 243)
		b.rest(248, 3*time.Second)
		b.requireAsked("poured", "put_in")
		require.False(t, b.view().Parts[0].Accepted)
	})
	t.Run("put in: it counts for nothing, and its leaving neither", func(t *testing.T) {
		b := onA(t, 243)
		b.rest(248, 3*time.Second)
		require.NoError(t, b.act(Act{Action: "put_in"}))
		require.Equal(t, 193.0, grams(b.view().Poured))
		b.poured(255)
		require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
		b.rest(250, 3*time.Second)
		require.Equal(t, metrology.Within, b.finished())
		require.Equal(t, 100.0, b.view().Parts[1].Poured.Grams())
	})
	t.Run("poured: it counts", func(t *testing.T) {
		b := onA(t, 243)
		b.rest(248, 3*time.Second)
		require.NoError(t, b.act(Act{Action: "poured"}))
		b.rest(248, 2*time.Second)
		require.Equal(t, 198.0, b.view().Parts[0].Poured.Grams())
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("taken out again it answers the question", func(t *testing.T) {
		b := onA(t, 243)
		b.rest(248, 3*time.Second)
		b.rest(243, 2*time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, 193.0, grams(b.view().Poured))
		require.True(t, b.view().Provable)
	})
	t.Run("in and out in the middle of a pour nothing is asked", func(t *testing.T) {
		b := onA(t, 150)
		b.rest(155, 2*time.Second)
		b.pour(195, 4*time.Second)
		b.rest(195, 2*time.Second)
		b.rest(190, 2*time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, 140.0, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a jug on the rim is no over-pour", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		b.pour(300, 5*time.Second)
		b.rest(300, time.Second)
		b.rest(900, 4*time.Second)
		b.requireAsked("poured", "put_in")
		require.NotEqual(t, PhaseCorrect, b.view().Phase)
		b.rest(300, 2*time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("a hand that eases off before it leaves", func(t *testing.T) {
		b := onA(t, 243)
		b.rest(258, 2*time.Second)
		b.rest(254, 2*time.Second)
		b.rest(243, 2*time.Second)
		require.Nil(t, b.view().Question)
		require.True(t, b.view().Provable)
		require.Equal(t, 193.0, grams(b.view().Poured))
	})
	t.Run("a stick takes some of the mix along", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(250, 2*time.Second)
		b.rest(257, 3*time.Second)
		b.requireAsked("poured", "put_in") // while A waits for B it may also be B
		require.NoError(t, b.act(Act{Action: "put_in"}))
		b.rest(248, 2*time.Second) // 7 g of stick and 2 g of A
		require.Equal(t, 198.0, b.view().Parts[0].Poured.Grams())
		require.Equal(t, 99.0, grams(b.view().Target))
		require.Equal(t, pour.CueChangeOver, b.view().Cue)
		require.Equal(t, metrology.Within, b.finished())
		require.Equal(t, 0.0, *b.view().Error)
		b.requireReplay()
	})
	t.Run("stirring while A waits for B begins no B", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		b.rest(257, time.Second)
		b.requireAsked("poured", "put_in")
		b.pour(262, 300*time.Millisecond)
		b.pour(255, 300*time.Millisecond)
		b.rest(250, 2*time.Second)
		require.Nil(t, b.view().Question)
		require.Nil(t, b.view().PotLife.Started)
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("lifted out together with the cup", func(t *testing.T) {
		b := onA(t, 200)
		b.rest(206, time.Second)
		b.rest(0, time.Second)
		b.rest(200, 2*time.Second)
		require.Nil(t, b.view().Question)
		require.Equal(t, 150.0, grams(b.view().Poured))
		require.True(t, b.view().Provable)
	})
	for name, happen := range map[string]func(*bench){
		"a key of the scale": func(b *bench) { b.kind = reading.Net; b.rest(0, time.Second) },
		"ZERO": func(b *bench) {
			b.line(0, reading.Stable)
			b.rest(0, time.Second)
			require.NoError(b.t, b.act(Act{Action: "tared"}))
		},
		"a lift": func(b *bench) {
			b.rest(0, time.Second)
			b.rest(206.2, 2*time.Second)
		},
	} {
		t.Run("what goes on after "+name+" is told apart too", func(t *testing.T) {
			b := onA(t, 200)
			b.rest(206, time.Second)
			happen(b)
			stood := b.value
			b.poured(b.value + b.view().Remaining.Grams())
			b.requireAsked("poured", "put_in")
			require.NoError(t, b.act(Act{Action: "put_in"}))
			require.Equal(t, 194.0, grams(b.view().Poured))
			f := b.facts[len(b.facts)-1].(Referenced)
			require.InDelta(t, stood, reading.Mass(f.Reference).Grams(), 1e-9, "from where the display was with it")
		})
	}
	t.Run("right after the verdict it takes that back only until it is said what it is", func(t *testing.T) {
		for name, say := range map[string]func(*bench){
			"put in":    func(b *bench) { require.NoError(b.t, b.act(Act{Action: "put_in"})) },
			"taken out": func(b *bench) { b.rest(350, time.Second) },
		} {
			b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
			b.pour(350, 8*time.Second)
			b.rest(350, 2500*time.Millisecond)
			require.NotNil(t, b.view().Verdict)
			b.rest(357, 3*time.Second)
			require.Nil(t, b.view().Verdict, name)
			b.requireAsked("poured", "put_in")
			say(b)
			b.rest(b.value, 3*time.Second)
			require.Equal(t, metrology.Within, *b.view().Verdict, name)
			require.Equal(t, 100.0, b.view().Parts[1].Poured.Grams(), name)
			b.requireReplay()
		}
	})
	t.Run("taken out while the answer is on its way: nobody knows", func(t *testing.T) {
		b := onA(t, 243)
		b.rest(248, 3*time.Second)
		b.held = true
		require.NoError(t, b.act(Act{Action: "put_in"}))
		b.rest(243, 2*time.Second)
		b.release()
		require.False(t, b.view().Provable)
	})
	t.Run("one by one", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(257, time.Second)
		require.NoError(t, b.act(Act{Action: "put_in"}))
		b.rest(262, time.Second)
		require.NoError(t, b.act(Act{Action: "put_in"}))
		b.rest(255, time.Second)
		b.rest(250, time.Second)
		require.True(t, b.view().Provable)
		require.Equal(t, metrology.Within, b.finished())
		require.Equal(t, 350.0, b.value)
	})
	told := func(t *testing.T) *bench { // a stick of 5 g in A, which stands at 193 g
		b := onA(t, 243)
		b.rest(248, 3*time.Second)
		require.NoError(t, b.act(Act{Action: "put_in"}))
		return b
	}
	t.Run("it leaves once", func(t *testing.T) {
		b := told(t)
		b.rest(243, 2*time.Second)
		require.True(t, b.view().Provable)
		b.rest(238, 2*time.Second)
		require.False(t, b.view().Provable, "that was something else")
	})
	t.Run("a stick that was told and a spatula that was not, both at once", func(t *testing.T) {
		b := told(t)
		b.rest(255, 2*time.Second)
		b.rest(243, 2*time.Second)
		require.Equal(t, 193.0, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("two alike, one told and one not", func(t *testing.T) {
		b := onA(t, 150)
		b.rest(156, 3*time.Second)
		b.pour(243, 5*time.Second)
		b.rest(246, 3*time.Second)
		b.poured(250)
		require.NoError(t, b.act(Act{Action: "put_in"}))
		stood := grams(b.view().Poured)
		b.rest(b.value+6, 2*time.Second)
		b.rest(b.value-6, 2*time.Second)
		require.Equal(t, stood, grams(b.view().Poured), "the one that is not told goes first")
		b.rest(b.value-6, 2*time.Second)
		require.Equal(t, stood, grams(b.view().Poured))
		require.Equal(t, metrology.Within, b.finished())
	})
	t.Run("more than a stick takes along is nobody knows what", func(t *testing.T) {
		b := onA(t, 200)
		b.rest(206, 2*time.Second)
		b.rest(196.5, 2*time.Second)
		require.False(t, b.view().Provable)
	})
	t.Run("a ladle of A says nothing of B", func(t *testing.T) {
		b := onA(t, 245)
		b.rest(250, 3*time.Second)
		require.NoError(t, b.act(Act{Action: "poured"}))
		b.rest(250, 2*time.Second)
		b.handedOver()
		b.pour(345, 8*time.Second)
		b.rest(345, time.Second)
		b.rest(350, 3*time.Second)
		b.requireAsked("poured", "put_in")
	})
}

func TestALadleIsAskedAboutOnceAPart(t *testing.T) {
	t.Run("what lands right inside the window in one go is taken as poured", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		b.rest(250, 4*time.Second)
		require.True(t, b.view().Parts[0].Accepted)
	})
	ladled := func(t *testing.T) *bench {
		b := newBench(t, "300 g", "6000 g").cupPlaced()
		for value := 70.0; value <= 230; value += 20 {
			b.rest(value, 1500*time.Millisecond)
			require.Nil(t, b.view().Question)
			require.False(t, b.view().Provable, "nothing is green before it is said")
		}
		return b
	}
	t.Run("ladle by ladle, the last one into the window", func(t *testing.T) {
		b := ladled(t)
		b.rest(250, 3*time.Second)
		require.True(t, b.view().Parts[0].Accepted)
	})
	t.Run("with a stream at the end", func(t *testing.T) {
		b := ladled(t).poured(250)
		b.requireAsked("poured", "put_in")
		require.Contains(t, b.view().Question.Detail, "180 g")
		require.NoError(t, b.act(Act{Action: "poured"}))
		b.rest(250, time.Second)
		require.True(t, b.view().Parts[0].Accepted)
	})
	t.Run("the first ladle of B is B once it is said so", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		at := b.now
		b.rest(270, time.Second)
		b.requireAsked("poured", "put_in")
		require.NoError(t, b.act(Act{Action: "poured"}))
		b.rest(270, 500*time.Millisecond)
		require.Equal(t, "B", *b.view().Part)
		require.Equal(t, 20.0, grams(b.view().Poured))
		require.Equal(t, at, *b.view().PotLife.Started)
		for value := 290.0; value <= 350; value += 20 {
			b.rest(value, 1500*time.Millisecond)
		}
		b.rest(350, 3*time.Second)
		require.Equal(t, metrology.Within, *b.view().Verdict)
	})
	t.Run("a ladle right after A was accepted is first said to be poured, then whose", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(270, time.Second)
		require.NoError(t, b.act(Act{Action: "poured"}))
		b.rest(270, time.Second)
		b.requireAsked("to_a", "to_b")
	})
}

// A cup that was off the pan and comes back lighter has lost some of its mix, on a stick or a wall.
func TestALossIsTakenFromEverythingInProportion(t *testing.T) {
	t.Run("of A alone: B follows what is left", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(0, time.Second)
		b.rest(246, 2*time.Second)
		require.Equal(t, 196.0, b.view().Parts[0].Poured.Grams())
		require.Equal(t, 98.0, grams(b.view().Target))
		require.True(t, b.view().Provable)
		require.Equal(t, metrology.Within, b.finished())
		require.Equal(t, 0.0, *b.view().Error)
		require.Equal(t, 294.0+50, b.value)
		b.requireReplay()
	})
	t.Run("in the middle of B: of both", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250).handedOver()
		b.pour(300, 5*time.Second)
		b.rest(300, 2*time.Second)
		b.rest(0, time.Second)
		b.rest(295, 2*time.Second) // 2 % of 250 g
		require.Equal(t, 196.0, b.view().Parts[0].Poured.Grams())
		require.Equal(t, 49.0, grams(b.view().Poured))
		require.Equal(t, 98.0, grams(b.view().Target))
		require.Equal(t, metrology.Within, b.finished())
		require.Equal(t, 0.0, *b.view().Error)
	})
	t.Run("of three divisions or less nothing", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(0, time.Second)
		b.rest(249.7, 2*time.Second)
		require.Equal(t, 200.0, b.view().Parts[0].Poured.Grams())
	})
	t.Run("above 5 % it may be another cup", func(t *testing.T) {
		b := newBench(t, "300 g", "6000 g").cupPlaced().poured(250)
		b.rest(0, time.Second)
		b.rest(239.9, 2*time.Second)
		b.requireAsked("same_cup", "scrap")
	})
}
