package simulator

import (
	"bytes"
	"io"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"twocup/scaledrv/reading"
)

// coach gives perfect cues: it knows the true masses. It stands in for a station.
type coach struct {
	targets [2]reading.Mass
	part    int
	moved   time.Duration // when a mass last changed
	seen    reading.Mass
	begun   bool // the present part has landed
	stopped bool
}

var partNames = [...]string{"A", "B"}

func (c *coach) sight(b *Bench, now time.Duration) Sight {
	ofA, ofB := b.Truth()
	if ofA+ofB != c.seen {
		c.seen, c.moved = ofA+ofB, now
	}
	b.mu.Lock()
	standing := b.cup.on && b.now-b.cup.placed > 1500*time.Millisecond
	b.mu.Unlock()
	if c.part == len(partNames) {
		return Sight{Cue: "done", Phase: "mix"}
	}
	if !standing {
		return Sight{Cue: "place", Phase: "cup"}
	}
	poured := [2]reading.Mass{ofA, ofB}[c.part]
	s := Sight{Phase: "pour", Part: partNames[c.part], Remaining: c.targets[c.part] - poured}
	c.begun = c.begun || poured > 0
	near := s.Remaining < c.targets[c.part]/100
	c.stopped = c.stopped || near || s.Remaining < 3*reading.Gram/2
	switch {
	case !c.begun && c.part == partB:
		s.Cue = "change_over"
	case !c.stopped && s.Remaining > 20*reading.Gram:
		s.Cue = "pour"
	case !c.stopped:
		s.Cue = "ease"
	case !near:
		s.Cue = "top_up"
	case now-c.moved < 2*time.Second:
		s.Cue = "hold"
	default:
		c.part, c.begun, c.stopped = c.part+1, false, false
		return c.sight(b, now)
	}
	return s
}

func TestHandFillsACupByPerfectCues(t *testing.T) {
	for name, opt := range map[string]Options{
		"thin":          {Auto: true},
		"thick":         {Auto: true, A: Thick, B: Thick},
		"thick A":       {Auto: true, A: Thick},
		"slow reaction": {Auto: true, Hand: HandOptions{Reaction: 441 * time.Millisecond}},
	} {
		for seed := range uint64(10) {
			t.Run(name, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					opt.Seed = seed
					b := newBench(t, opt)
					stop := start(t, b, io.Discard)
					defer stop()
					began := time.Now()
					c := &coach{targets: [2]reading.Mass{200 * reading.Gram, 100 * reading.Gram}}
					for onPan := true; c.part != len(partNames) || onPan; {
						b.See(c.sight(b, time.Since(began)))
						time.Sleep(40 * time.Millisecond)
						require.Less(t, time.Since(began), 5*time.Minute)
						b.mu.Lock()
						onPan = b.cup.on
						b.mu.Unlock()
					}
					ofA, ofB := b.Truth()
					require.InDelta(t, 200, ofA.Grams(), 4, "A, seed %d", seed) // 2 %, the card's usual tolerance
					require.InDelta(t, 100, ofB.Grams(), 2, "B, seed %d", seed)
					require.Greater(t, time.Since(began), 25*time.Second, "300 g at 12 g/s at most")
				})
			})
		}
	}
}

// react measures the time from a cue to the move of the jug, over many cues, by one person.
func react(t *testing.T, opt HandOptions) (seconds []float64) {
	b := newBench(t, Options{Auto: true, Hand: opt, Seed: 5})
	cues := [...]string{"pour", "hold"}
	for i := range 2000 {
		b.See(Sight{Cue: cues[i%2], Part: "A", Remaining: reading.Kilogram})
		began, tilted := b.now, b.jugs[partA].tilt > 0
		for (b.jugs[partA].tilt > 0) == tilted {
			b.Advance(Step)
			require.Less(t, b.now-began, 2*time.Second)
		}
		seconds = append(seconds, (b.now - began - Step/2).Seconds()) // noticed somewhere within a Step
	}
	return seconds
}

// Lin, Drury et al., Ergonomics 57, 2014: corrective reaction 273 ms in the mean, 87 to 441 ms between people. The spread of
// one person is ours.
func TestReactionTimesHaveTheirMeanAndSpread(t *testing.T) {
	for _, tt := range []struct {
		name       string
		opt        HandOptions
		mean, sd   float64
		low, highS float64
	}{
		{"the usual person", HandOptions{}, 0.270, 0.0405, 0.135, 0.441},
		{"the quickest", HandOptions{Reaction: 87 * time.Millisecond}, 0.087, 0.013, 0.0435, 0.15},
		{"the slowest", HandOptions{Reaction: 441 * time.Millisecond, ReactionSD: 30 * time.Millisecond}, 0.441, 0.030, 0.30, 0.58},
	} {
		t.Run(tt.name, func(t *testing.T) {
			times := react(t, tt.opt)
			mean, sd := stat.MeanStdDev(times, nil)
			require.InDelta(t, tt.mean, mean, 4*tt.sd/math.Sqrt(2000))
			require.InEpsilon(t, tt.sd, sd, 0.08) // four standard errors of a standard deviation: 4/√4000
			for _, s := range times {
				require.True(t, s > tt.low-Step.Seconds() && s < tt.highS, "%v s", s)
			}
		})
	}
}

func TestFlickeringCuesAreFollowedInTheirOrder(t *testing.T) {
	b := newBench(t, Options{Auto: true})
	for i := range 100 { // a new cue every 50 ms, well within a reaction
		b.See(Sight{Cue: [...]string{"pour", "ease"}[i%2], Part: "A", Remaining: reading.Kilogram})
		b.Advance(50 * time.Millisecond)
	}
	require.Positive(t, b.jugs[partA].tilt, "cues that keep changing do not put the hand off for ever")
	b.See(Sight{Cue: "stop", Part: "A"})
	b.Advance(time.Second)
	require.Zero(t, b.jugs[partA].tilt)
}

func TestFlowWandersWithinFifteenPercent(t *testing.T) {
	b := newBench(t, Options{Auto: true})
	b.See(Sight{Cue: "pour", Part: "B", Remaining: reading.Kilogram})
	b.Advance(time.Second)
	var flows []float64
	for range 2000 {
		b.Advance(50 * time.Millisecond)
		flows = append(flows, b.jugs[partB].tilt*Thin.Max)
		require.InDelta(t, 12, flows[len(flows)-1], 0.15*12+1e-9)
	}
	require.InDelta(t, 12, stat.Mean(flows, nil), 0.5)
	require.InDelta(t, 0.075*12, stat.StdDev(flows, nil), 0.25)
}

func TestHandWaitsOutTheTailOfABeforeItPoursB(t *testing.T) {
	for seed := range uint64(50) {
		b := newBench(t, Options{Auto: true, Seed: seed})
		b.See(Sight{Cue: "change_over", Part: "B", Remaining: 100 * reading.Gram})
		b.Advance(4 * time.Second) // within it a station takes a rise for the tail of A
		require.Zero(t, b.jugs[partB].tilt)
		b.Advance(3 * time.Second)
		require.Positive(t, b.jugs[partB].tilt)
		require.Zero(t, b.jugs[partA].tilt)
	}
}

func TestTopUpGivesAboutWhatIsAskedFor(t *testing.T) {
	for _, asked := range []float64{0.1, 0.5, 3, 8} {
		var given []float64
		for seed := range uint64(40) {
			b := newBench(t, Options{Auto: true, Seed: seed})
			require.NoError(t, b.Do("cup", 0))
			require.NoError(t, b.Do("auto", 0))
			b.See(Sight{Cue: "top_up", Part: "A", Remaining: grams(asked)})
			for b.jugs[partA].tilt == 0 {
				b.Advance(Step)
			}
			for b.jugs[partA].tilt > 0 {
				b.Advance(Step)
			}
			b.Advance(2 * time.Second) // it waits for the scale: no second tip yet
			ofA, _ := b.Truth()
			given = append(given, ofA.Grams())
		}
		require.InDelta(t, 0.9*asked, stat.Mean(given, nil), 0.05*asked+Thin.Drop.Grams(), "asked for %v g", asked)
	}
}

func TestHandAnswersByWhatItReallyDid(t *testing.T) {
	for _, tt := range []struct {
		name    string
		poured  string
		lift    bool
		choices []string
		want    string
	}{
		{"it poured A", "A", false, []string{"to_a", "to_b"}, "to_a"},
		{"it poured B", "B", false, []string{"to_a", "to_b"}, "to_b"},
		{"the cup was lifted", "A", true, []string{"lifted", "tared"}, "lifted"},
		{"nothing was lifted", "A", false, []string{"lifted", "tared"}, "tared"},
		{"the scale was restarted", "A", false, []string{"tared", "scrap"}, "tared"},
		{"the cup is the same", "A", true, []string{"same_cup", "scrap"}, "same_cup"},
		{"no room", "B", false, []string{"accept", "scrap"}, "accept"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var answers []string
			var b *Bench
			b = newBench(t, Options{Auto: true, Answer: func(choice string) {
				b.Truth() // nothing is locked
				answers = append(answers, choice)
			}})
			b.See(Sight{Cue: "place", Phase: "cup"})
			b.Advance(3 * time.Second)
			b.See(Sight{Cue: "pour", Phase: "pour", Part: tt.poured, Remaining: reading.Kilogram})
			b.Advance(time.Second)
			if tt.lift {
				require.NoError(t, b.Do("lift", 0))
				require.NoError(t, b.Do("cup", 0))
				require.NoError(t, b.Do("auto", 0))
			}
			b.See(Sight{Cue: "answer", Phase: "settle", Part: tt.poured, Choices: tt.choices})
			b.Advance(3 * time.Second)
			require.Equal(t, []string{tt.want}, answers)
		})
	}
}

func TestTheNextCupIsNewAndTheSameBatchGetsItsOwnBack(t *testing.T) {
	b := newBench(t, Options{Auto: true})
	place := Sight{Cue: "place", Phase: "cup"}
	b.See(place)
	b.Advance(2 * time.Second)
	first := b.cup.empty
	b.See(Sight{Cue: "pour", Phase: "pour", Part: "A", Remaining: reading.Kilogram})
	b.Advance(3 * time.Second)
	require.NoError(t, b.Do("lift", 0))
	require.NoError(t, b.Do("auto", 0))
	b.See(Sight{Cue: "place", Phase: "pour", Part: "A"})
	b.Advance(3 * time.Second)
	require.True(t, b.cup.on)
	require.True(t, b.cup.used(), "set back with what is in it")
	require.Equal(t, first, b.cup.empty)
	b.See(Sight{Cue: "done", Phase: "mix"})
	b.Advance(3 * time.Second)
	require.False(t, b.cup.on)
	b.See(Sight{})
	b.Advance(time.Second)
	b.See(place)
	b.Advance(3 * time.Second)
	require.True(t, b.cup.on)
	require.False(t, b.cup.used())
	require.NotEqual(t, first, b.cup.empty)
}

func TestALiftInTheLastBatchIsNoneInThis(t *testing.T) {
	var answers []string
	b := newBench(t, Options{Auto: true, Answer: func(choice string) { answers = append(answers, choice) }})
	for _, s := range []Sight{
		{Cue: "place", Phase: "cup"},
		{Cue: "pour", Phase: "pour", Part: "A", Remaining: reading.Kilogram},
		{Cue: "done", Phase: "mix"},
		{},
		{Cue: "place", Phase: "cup"},
		{Cue: "answer", Phase: "pour", Choices: []string{"lifted", "tared"}},
	} {
		b.See(s)
		b.Advance(3 * time.Second)
	}
	require.Equal(t, []string{"tared"}, answers)
}

func TestACupLeftOnThePanIsTakenOffForTheNextBatch(t *testing.T) {
	b := newBench(t, Options{})
	require.NoError(t, b.Do("cup", 0))
	require.NoError(t, b.Do("tip", 0.5))
	b.Advance(3 * time.Second)
	require.NoError(t, b.Do("auto", 0))
	b.See(Sight{Cue: "place", Phase: "cup"})
	b.Advance(8 * time.Second) // it gives the cup that stands there 6 s to be taken
	require.True(t, b.cup.on)
	require.False(t, b.cup.used())
}

func TestButtonsOfTheDemo(t *testing.T) {
	b := newBench(t, Options{})
	require.ErrorContains(t, b.Do("stir", 0), "known: cup, lift, tip, rest, auto")
	require.ErrorContains(t, b.Do("lift", 0), "the pan is empty")
	for _, tip := range []float64{-0.1, 1.1, math.NaN(), math.Inf(1)} {
		require.ErrorContains(t, b.Do("tip", tip), "between 0 and 1")
	}
	require.NoError(t, b.Do("cup", 0))
	require.ErrorContains(t, b.Do("cup", 0), "stands on the pan")
	b.See(Sight{Cue: "pour", Phase: "pour", Part: "B", Remaining: reading.Kilogram})
	b.Advance(time.Second)
	require.Zero(t, b.jugs[partB].tilt, "without auto the hand only looks")
	require.NoError(t, b.Do("tip", 0.25))
	b.Advance(time.Second)
	require.Equal(t, 0.25, b.jugs[partB].tilt, "the jug of the part at hand")
	require.NoError(t, b.Do("auto", 0))
	b.Advance(time.Second)
	require.NotEqual(t, 0.25, b.jugs[partB].tilt)
	require.NoError(t, b.Do("rest", 0))
	b.Advance(time.Second)
	require.Zero(t, b.jugs[partB].tilt, "a button takes over from the hand")
}

func TestAutoLastsUntilTheEndOfTheBatch(t *testing.T) {
	for _, end := range []Sight{{Cue: "done", Phase: "mix"}, {}} {
		b := newBench(t, Options{})
		require.NoError(t, b.Do("auto", 0))
		b.Advance(time.Second)
		b.See(Sight{Cue: "place", Phase: "cup"})
		b.Advance(3 * time.Second)
		require.True(t, b.cup.on, "asked for before the batch began it holds for that batch")
		b.See(end)
		b.Advance(4 * time.Second)
		require.False(t, b.auto)
	}
}

// script is a fixed course of cues, so that only the seed decides.
func script(t *testing.T, seed uint64) []byte {
	b := newBench(t, Options{Auto: true, Seed: seed, A: Thick})
	var sent bytes.Buffer
	for _, s := range []Sight{
		{Cue: "place", Phase: "cup"},
		{Cue: "pour", Phase: "pour", Part: "A", Remaining: 200 * reading.Gram},
		{Cue: "ease", Phase: "pour", Part: "A", Remaining: 20 * reading.Gram},
		{Cue: "hold", Phase: "settle", Part: "A"},
		{Cue: "top_up", Phase: "pour", Part: "A", Remaining: 3 * reading.Gram},
		{Cue: "change_over", Phase: "pour", Part: "B", Remaining: 100 * reading.Gram},
		{Cue: "done", Phase: "mix"},
	} {
		b.See(s)
		sent.Write(b.Advance(8 * time.Second))
	}
	return sent.Bytes()
}

func TestTheSameSeedGivesTheSamePourAndAnotherDoesNot(t *testing.T) {
	first := script(t, 1)
	require.Len(t, shownGrams(t, first), 559) // 56 s, the last line not whole yet
	require.Equal(t, string(first), string(script(t, 1)))
	require.NotEqual(t, string(first), string(script(t, 2)))

	noise := func(seed uint64) string { return string(newBench(t, Options{Seed: seed}).Advance(10 * time.Second)) }
	require.Equal(t, noise(1), noise(1))
	require.NotEqual(t, noise(1), noise(2), "an empty pan differs in its noise")
}

// One simulated second of the bench with a stream running.
func BenchmarkSecond(b *testing.B) {
	bench := newBench(b, Options{Auto: true})
	bench.See(Sight{Cue: "pour", Part: "A", Remaining: reading.Kilogram})
	bench.Advance(time.Second)
	b.ReportAllocs()
	for b.Loop() {
		bench.Advance(time.Second)
	}
}
