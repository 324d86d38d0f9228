package batch

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/pour"
)

// lag is a hand that is known to go on for so long after the stop.
func lag(seconds float64) pour.Habit {
	return pour.Habit{Stop: pour.Lag{Seconds: seconds, SD: 0.05, Times: 9}, Tail: pour.Lag{Seconds: 0.3, SD: 0.1, Times: 9}}
}

// newBenchOf is a batch of 300 g whose hand is known.
func newBenchOf(t *testing.T, habits Habits) *bench {
	b := newBench(t, "300 g", "6000 g")
	start := b.facts[0].(Started)
	start.Habits = habits
	b.facts = nil
	b.record([]Fact{start})
	return b
}

// follow pours as the cues say, up to 12 g/s and never below 2 g/s, going on for so long after the stop; it gives the
// value at which the first ease was said.
func (b *bench) follow(late time.Duration) (eased float64) {
	value := b.value
	for b.view().Cue != pour.CueStop {
		step := 1.2
		if w := b.view().Wanted; w != nil {
			step = max(0.2, *w/10)
			if eased == 0 {
				eased = value
			}
		}
		value += step
		b.line(value, reading.Moving)
	}
	step := max(0.2, *b.view().Flow/10)
	for range int(late / (100 * time.Millisecond)) {
		value += step
		b.line(value, reading.Moving)
	}
	b.rest(value, 8*time.Second)
	return eased
}

func TestAHandThatIsKnownToBeSlowIsSlowedDownEarlier(t *testing.T) {
	eased := map[string]float64{}
	for name, habits := range map[string]Habits{
		"nobody": nil, "quick with A": {"A": lag(0.1), "B": lag(2)}, "slow with A": {"A": lag(2), "B": lag(0.1)},
	} {
		eased[name] = newBenchOf(t, habits).cupPlaced().follow(0)
	}
	require.Less(t, eased["slow with A"], eased["nobody"])
	require.Less(t, eased["nobody"], eased["quick with A"])
}

func TestEachPartHasItsOwnHabit(t *testing.T) {
	eased := func(habits Habits) float64 {
		return newBenchOf(t, habits).cupPlaced().poured(250).handedOver().follow(0)
	}
	require.Less(t, eased(Habits{"A": lag(0.1), "B": lag(2)}), eased(Habits{"A": lag(2), "B": lag(0.1)}))
}

func TestAStrangerIsExpectedToPourAsTheCardsViscosityHasIt(t *testing.T) {
	for _, tt := range []struct{ name, card, part, want string }{
		{"thin is thin in both parts", "thin", "B", "thin"},
		{"thick and thin has the thick one in A", "thick_thin", "A", "thick"},
		{"and the thin one in B", "thick_thin", "B", "thin"},
		{"a card that does not say is medium", "", "A", "medium"},
		{"how an addition flows no card says", "paste", "black", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := State{Start: &Started{}}
			s.Start.Card.StatedViscosity = tt.card
			require.Equal(t, pour.FirstHabit(tt.want), s.habit(tt.part))
		})
	}
}

// What is shown as a cue is no fact: a batch has the same facts whatever is known of the hand, and replays to the same.
func TestFactsAreTheSameWhateverIsKnownOfTheHand(t *testing.T) {
	play := func(habits Habits) *bench {
		b := newBenchOf(t, habits).cupPlaced().poured(250)
		b.rest(250.4, 4*time.Second) // a drip of A, which opens it again
		b.handedOver()
		b.pour(354, 8*time.Second)
		b.rest(354, 3*time.Second) // too much
		b.handedOver()
		b.pour(361.6, 4*time.Second)
		b.rest(361.6, 3*time.Second)
		require.NotNil(t, b.view().Verdict)
		b.requireReplay()
		return b
	}
	without := play(nil)
	rapid.Check(t, func(r *rapid.T) {
		habits := Habits{}
		for _, part := range []string{"A", "B"} {
			seconds := rapid.Float64Range(0.01, 6)
			h := lag(seconds.Draw(r, "stop"))
			h.Tail.Seconds, h.Slowest = seconds.Draw(r, "tail"), rapid.Float64Range(0, 50).Draw(r, "slowest")
			habits[part] = h
		}
		with := play(habits)
		require.Equal(r, without.kinds(), with.kinds())
		for i, f := range with.facts[1:] {
			require.Equal(r, without.facts[i+1], f)
		}
		require.Equal(r, without.view(), with.view())
	})
}

func TestAHabitStandsInNoFact(t *testing.T) {
	b := newBenchOf(t, Habits{"A": lag(1.2345)}).cupPlaced()
	b.follow(time.Second)
	for _, f := range b.facts {
		body, err := json.Marshal(f)
		require.NoError(t, err)
		require.NotContains(t, string(body), "1.2345")
		require.NotContains(t, string(body), "seconds")
	}
}

// learned is what the next acceptance teaches.
func learned(t *testing.T, b *bench, pourIt func()) (pour.Habit, bool) {
	b.held = true
	pourIt()
	require.NotEmpty(t, b.queue, "nothing was decided")
	f, ok := b.queue[len(b.queue)-1].(Accepted)
	require.True(t, ok)
	return b.state.Learned(f)
}

func TestAPourTeachesHowLateItEnded(t *testing.T) {
	after := map[time.Duration]float64{}
	for _, late := range []time.Duration{200 * time.Millisecond, 1500 * time.Millisecond} {
		b := newBenchOf(t, nil).cupPlaced()
		h, anything := learned(t, b, func() { b.follow(late); b.topUp() })
		require.True(t, anything)
		require.NotZero(t, h.Stop.Times)
		after[late] = h.Stop.Seconds
		b.release()
		require.Equal(t, h, b.state.habit("A"), "a correction of A goes on from it")
		require.NotContains(t, b.state.habits, "B")
	}
	require.Less(t, after[200*time.Millisecond], after[1500*time.Millisecond])
}

// topUp brings A into its window where it is not.
func (b *bench) topUp() {
	if b.view().Cue == pour.CueTopUp {
		b.pour(250, 5*time.Second)
		b.rest(250, 8*time.Second)
	}
}

func TestWhatNobodyCanVouchForTeachesNothing(t *testing.T) {
	b := newBenchOf(t, nil).cupPlaced()
	h, anything := learned(t, b, func() { b.follow(time.Second); b.topUp() })
	require.True(t, anything)
	require.NotZero(t, h)
	b.state.Doubt = "the cup fell"
	_, anything = b.state.Learned(b.queue[len(b.queue)-1].(Accepted))
	require.False(t, anything)
}

// What an earlier version has kept of a hand lacks the lip: that is expected as the card has it, and nothing learned.
func TestAHabitWithoutALipIsNotTakenForALesson(t *testing.T) {
	b := newBenchOf(t, Habits{"A": lag(0.8)}).cupPlaced()
	require.Equal(t, pour.FirstHabit(b.state.Start.Card.Viscosity()).Lip, b.state.habit("A").Lip)
	_, shown := b.state.Learned(Accepted{Part: "A"})
	require.False(t, shown)
}

func TestFactsThatAreReadBackTeachNothing(t *testing.T) {
	b := newBenchOf(t, nil).cupPlaced()
	b.follow(time.Second)
	b.topUp()
	require.NotEmpty(t, b.state.habits, "the pour itself did")
	require.Empty(t, b.reread().habits)
}

// A part that dripped after it was accepted is accepted anew: what it taught stays, and the next part's is not taken for it.
func TestAPartTakenBackIsNotTaughtByTheNextOnesHabit(t *testing.T) {
	b := newBenchOf(t, Habits{"A": lag(0.4), "B": lag(3)}).cupPlaced().poured(250)
	taught := b.state.habit("A")
	require.NotEqual(t, lag(0.4), taught)
	_, anything := learned(t, b, func() { b.rest(b.value+0.3, 8*time.Second) })
	require.Equal(t, "A", *b.view().Part, "it is A that is accepted again")
	require.False(t, anything)
	b.release()
	require.Equal(t, taught, b.state.habit("A"))
}

func TestTheFlowThatIsWantedAndTheDropsAreShownWithTheirCueAlone(t *testing.T) {
	b := newBenchOf(t, Habits{"A": {Stop: lag(0.8).Stop, Tail: lag(0).Tail, Drop: pour.Drop{Grams: 0.05, TopUps: 5}}}).cupPlaced()
	seen := map[pour.Cue]bool{}
	see := func() {
		v := b.view()
		seen[v.Cue] = true
		if v.Cue == pour.CueEase {
			require.NotNil(t, v.Wanted)
			require.Greater(t, *v.Wanted, 0.0)
		} else {
			require.Nil(t, v.Wanted, "%s", v.Cue)
		}
		if v.Cue != pour.CueTopUp {
			require.Nil(t, v.Drops, "%s", v.Cue)
		}
	}
	for value := 50.0; value < 245.6; value = min(value+1.2, 245.6) {
		b.line(value, reading.Moving)
		see()
		if b.view().Cue == pour.CueEase && value > 235 {
			value -= 0.9
		}
	}
	for range 100 {
		b.line(245.6, reading.Stable)
		see()
	}
	require.Equal(t, pour.CueTopUp, b.view().Cue)
	require.Nil(t, b.view().Drops, "4.4 g are poured")
	require.True(t, seen[pour.CueEase])
}

func TestATopUpOfLessThanAGramIsInDropsOfThisHand(t *testing.T) {
	card := testCard()
	card.StatedAmountTolerancePct = new(1.0)
	b := newBenchFor(t, card, "75 g", "6000 g", nil)
	start := b.facts[0].(Started)
	start.Habits = Habits{"A": {Stop: lag(0.5).Stop, Tail: lag(0.5).Tail, Drop: pour.Drop{Grams: 0.05, TopUps: 5}}}
	b.facts = nil
	b.record([]Fact{start})
	b.cupPlaced()
	b.pour(99.4, 8*time.Second) // 0.6 g short of 50 g
	b.rest(99.4, 12*time.Second)
	v := b.view()
	require.Equal(t, pour.CueTopUp, v.Cue)
	require.NotNil(t, v.Drops)
	require.InDelta(t, 12, *v.Drops, 3)
	v.Recue(pour.CueReconnect)
	require.Nil(t, v.Drops)
}
