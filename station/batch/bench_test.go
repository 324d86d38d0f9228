package batch

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/plan"
	"twocup/station/pour"
)

// bench feeds a batch with the lines of a scale that shows 0.1 g ten times a second, and plays the ledger.
type bench struct {
	t     *testing.T
	state State
	now   time.Time
	value float64
	kind  reading.Kind
	mute  bool   // the lines say nothing but the value
	blank bool   // the last digit is left out while the value moves
	facts []Fact // recorded so far
	held  bool   // the ledger is held up
	queue []Fact
}

func newBench(t *testing.T, total string, capacity string) *bench {
	t.Helper()
	return newBenchFor(t, testCard(), total, capacity, nil)
}

// testCard is 100 : 50 by weight, with so many additions.
func testCard(additions ...material.Addition) material.Card {
	return material.Card{ID: "test-clear", Name: "Test clear", Ratio: material.Ratio{Weight: &material.Parts{A: "100", B: "50"}},
		PotLife: &material.PotLife{Time: material.Duration(20 * time.Minute)}, Additions: additions}
}

func newBenchFor(t *testing.T, card material.Card, total, capacity string, cup *plan.Cup) *bench {
	t.Helper()
	b := &bench{t: t, now: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), kind: reading.Gross,
		state: State{Pan: pour.NewPan(mass(t, "0.1 g"))}}
	b.rest(0, time.Second)
	require.NoError(t, card.Validate())
	amount := mass(t, total)
	scale := plan.Scale{ID: "small", Division: mass(t, "0.1 g"), Capacity: mass(t, capacity)}
	p, err := plan.Request{Card: card, Revision: 1, Amount: plan.Amount{TotalG: &amount}, Scales: []plan.Scale{scale}, Cup: cup}.Plan()
	require.NoError(t, err)
	b.record([]Fact{Started{At: b.now, ID: "b1", Station: "bench-1", Card: material.Stored{Card: card, Revision: 1}, Plan: p,
		Auto: Auto{Tare: true, Accept: true, Settle: 1500 * time.Millisecond, HandOver: 4 * time.Second}}})
	return b
}

func mass(t *testing.T, text string) reading.Mass {
	t.Helper()
	m, err := reading.ParseMass(text)
	require.NoError(t, err)
	return m
}

// record makes facts durable, unless the ledger is held up.
func (b *bench) record(facts []Fact) {
	b.queue = append(b.queue, facts...)
	for len(b.queue) > 0 && !b.held {
		f := b.queue[0]
		b.queue = b.queue[1:]
		var err error
		b.state, _, err = Step(b.state, Recorded{f})
		require.NoError(b.t, err)
		b.facts = append(b.facts, f)
	}
}

func (b *bench) release() {
	b.held = false
	b.record(nil)
}

// line is one line of the scale, a tenth of a second after the last.
func (b *bench) line(grams float64, motion reading.Motion) {
	b.now = b.now.Add(100 * time.Millisecond)
	b.value = grams
	tenths := int64(grams*10 + 0.5)
	if grams < 0 {
		tenths = int64(grams*10 - 0.5)
	}
	v := reading.Value{Digits: tenths, Decimals: 1, Unit: reading.UnitG}
	if b.blank && motion == reading.Moving {
		v.Digits, v.Decimals = v.Digits/10, 0
	}
	m, _ := v.Mass()
	r := reading.Reading{Value: v, Mass: m, Motion: motion, Kind: b.kind, At: b.now}
	if b.mute {
		r.Motion, r.Kind = reading.MotionUnknown, reading.KindUnknown
	}
	next, facts := Follow(b.state, r)
	b.state = next
	b.record(facts)
}

// rest shows one value for a while, moving for the first 0.4 s where it is a new one.
func (b *bench) rest(grams float64, d time.Duration) {
	moving := 0
	if grams != b.value {
		moving = 4
	}
	for i := range int(d / (100 * time.Millisecond)) {
		motion := reading.Stable
		if i < moving {
			motion = reading.Moving
		}
		b.line(grams, motion)
	}
}

// pour moves the value evenly.
func (b *bench) pour(to float64, d time.Duration) {
	from, steps := b.value, int(d/(100*time.Millisecond))
	for i := range steps {
		b.line(from+(to-from)*float64(i+1)/float64(steps), reading.Moving)
	}
}

func (b *bench) act(a Act) error {
	a.At = b.now
	next, facts, err := Step(b.state, a)
	if err == nil {
		b.state = next
		b.record(facts)
	}
	return err
}

func (b *bench) view() View { return b.state.View(false) }

// cupPlaced has a 50 g cup taken as the reference.
func (b *bench) cupPlaced() *bench {
	b.pour(50, 400*time.Millisecond)
	b.rest(50, time.Second)
	require.Equal(b.t, pour.CuePour, b.view().Cue)
	return b
}

// poured has A poured to a value of the scale and accepted.
func (b *bench) poured(to float64) *bench {
	b.pour(to, 10*time.Second)
	b.rest(to, 3*time.Second)
	return b
}

// handedOver has waited until a rise is B.
func (b *bench) handedOver() *bench {
	b.rest(b.value, 5*time.Second)
	return b
}

func grams(m *reading.Mass) float64 { return m.Grams() }

func (b *bench) kinds() (list []string) {
	for _, f := range b.facts {
		list = append(list, f.Kind())
	}
	return list
}

// reread is the batch by its facts alone, once through the ledger's JSON.
func (b *bench) reread() State {
	var facts []Fact
	for _, f := range b.facts {
		body, err := json.Marshal(f)
		require.NoError(b.t, err)
		back, err := DecodeFact(f.Kind(), body)
		require.NoError(b.t, err)
		facts = append(facts, back)
	}
	return Replay(facts)
}

// requireReplay says that the facts alone give the batch as it is shown once it is weighed.
func (b *bench) requireReplay() {
	b.t.Helper()
	again := b.reread()
	want, err := json.Marshal(b.view())
	require.NoError(b.t, err)
	got, err := json.Marshal(again.View(false))
	require.NoError(b.t, err)
	require.JSONEq(b.t, string(want), string(got))
}
