package batch

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/metrology"
	"twocup/station/pour"
)

// table is what is really on the pan: the plain model that the batch is held against. Masses in tenths of a gram.
type table struct {
	*bench
	poured int // of A, into a cup of 50 g
	stick  int // in the cup
	zero   int // what keys have taken off the display
	off    bool
	lags   bool // a step shows with a value or two in between
}

func (m *table) load() int {
	if m.off {
		return 0
	}
	return 500 + m.poured + m.stick
}

func (m *table) value() float64 { return float64(m.load()-m.zero) / 10 }

// settle brings the display to what is on the pan: at once, or in so much time.
func (m *table) settle(in time.Duration) {
	if in == 0 && m.lags {
		in = 300 * time.Millisecond
	}
	if in > 0 {
		m.pour(m.value(), in)
	}
	m.rest(m.value(), 2*time.Second)
}

// nearZero says whether a jump to zero would be one of three divisions or less: of that nobody can say what it was.
func (m *table) nearZero() bool {
	shown := m.load() - m.zero
	return shown >= -3 && shown <= 3
}

// key is TARE or ZERO: the display jumps from rest to zero, and stays stable.
func (m *table) key() {
	m.zero = m.load()
	m.line(m.value(), reading.Stable)
	m.rest(m.value(), time.Second)
}

var panEvents = map[string]func(*rapid.T, *table){
	"a stream": func(rt *rapid.T, m *table) {
		more := rapid.IntRange(5, 150).Draw(rt, "tenths")
		if !m.off && m.poured+more < 1900 {
			m.poured += more
			m.settle(2 * time.Second)
		}
	},
	"drops": func(rt *rapid.T, m *table) {
		if m.off || m.poured > 1800 {
			return
		}
		for range rapid.IntRange(1, 10).Draw(rt, "drops") {
			m.poured++
			m.rest(m.value(), 800*time.Millisecond)
		}
		m.settle(0)
	},
	"the cup lifted": func(_ *rapid.T, m *table) {
		if !m.off {
			m.off = true
			m.settle(400 * time.Millisecond)
		}
	},
	"the cup set back": func(_ *rapid.T, m *table) {
		if m.off {
			m.off = false
			m.settle(400 * time.Millisecond)
		}
	},
	"TARE, where the line says gross or net": func(_ *rapid.T, m *table) {
		if !m.mute && !m.nearZero() {
			m.kind = reading.Net
			m.key()
		}
	},
	"TARE cleared": func(_ *rapid.T, m *table) {
		if !m.mute && m.kind == reading.Net {
			m.kind, m.zero = reading.Gross, 0
			m.line(m.value(), reading.Stable)
			m.rest(m.value(), time.Second)
		}
	},
	"ZERO, or TARE where no line says so": func(_ *rapid.T, m *table) {
		if !m.off && (m.mute || m.kind == reading.Gross) && !m.nearZero() {
			m.key()
		}
	},
	"a stick put in": func(rt *rapid.T, m *table) {
		if !m.off && m.stick == 0 {
			m.stick = rapid.IntRange(30, 100).Draw(rt, "stick")
			m.settle(0)
		}
	},
	"a stick taken out": func(_ *rapid.T, m *table) {
		if !m.off && m.stick > 0 {
			m.stick = 0
			m.settle(0)
		}
	},
	"a hand that leans and goes": func(rt *rapid.T, m *table) {
		if m.off {
			return
		}
		m.pour(m.value()+float64(rapid.IntRange(10, 300).Draw(rt, "tenths"))/10, 300*time.Millisecond)
		m.pour(m.value()+2, 300*time.Millisecond)
		m.settle(300 * time.Millisecond)
	},
	"the scale off and on": func(_ *rapid.T, m *table) {
		m.now = m.now.Add(time.Minute)
		if !m.nearZero() {
			m.kind, m.zero = reading.Gross, m.load()
		}
		m.rest(m.value(), 2*time.Second)
	},
	"a silence": func(_ *rapid.T, m *table) {
		m.now = m.now.Add(time.Minute)
		m.settle(0)
	},
}

// answer is what a person who saw it all says.
func (m *table) answer() {
	q := m.view().Question
	if q == nil {
		return
	}
	say := map[string]string{"lifted": "tared", "tared": "tared", "poured": "put_in", "same_cup": ""}[q.Choices[0]]
	if q.Choices[0] == "lifted" && m.off {
		say = "lifted"
	}
	if say != "" && !(say == "tared" && m.off) {
		require.NoError(m.t, m.act(Act{Action: say}))
		m.rest(m.value(), time.Second)
	}
}

// Whatever happens at the pan, what the batch says was poured is what was poured, or the batch says that it does not
// know: it asks, also for a cup that is there, it doubts, or it shows nothing of the part as proved.
func TestMassIsConservedThroughAnySequenceOfPanEvents(t *testing.T) {
	events := []string{}
	for name := range panEvents {
		events = append(events, name)
	}
	slices.Sort(events)
	seen, compared := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		mute := rapid.Bool().Draw(rt, "mute")
		b := newBench(t, "300 g", "6000 g")
		b.mute = mute
		m := &table{bench: b.cupPlaced(), lags: rapid.Bool().Draw(rt, "lags")}
		for range rapid.IntRange(1, 14).Draw(rt, "events") {
			name := rapid.SampledFrom(events).Draw(rt, "event")
			panEvents[name](rt, m)
			v := m.view()
			known := v.Question == nil && v.Provable && (v.Cue != pour.CuePlace || m.off)
			if seen++; known {
				compared++
			}
			if known && grams(v.Poured) != float64(m.poured)/10 {
				rt.Fatalf("after %s: %v g poured, shown are %v g, facts %v", name, float64(m.poured)/10, grams(v.Poured), m.kinds())
			}
			m.answer()
		}
	})
	require.Greater(t, compared, seen/10, "of %d events", seen)
	t.Logf("%d of %d events left the batch knowing what was poured", compared, seen)
}

// The same readings give the same batch and the same facts, reading for reading.
func TestTheSameReadingsGiveTheSameBatch(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var lines []reading.Reading
		at, value := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), int64(0)
		for range rapid.IntRange(1, 200).Draw(rt, "lines") {
			at = at.Add(time.Duration(rapid.SampledFrom([]int{100, 100, 100, 100, 3000}).Draw(rt, "ms")) * time.Millisecond)
			if rapid.IntRange(0, 3).Draw(rt, "moves") == 0 {
				value = rapid.Int64Range(-100, 3000).Draw(rt, "to")
			}
			v := reading.Value{Digits: value, Decimals: 1, Unit: reading.UnitG}
			m, _ := v.Mass()
			lines = append(lines, reading.Reading{Value: v, Mass: m, At: at,
				Motion: reading.Motion(rapid.IntRange(0, 2).Draw(rt, "motion")), Kind: reading.Kind(rapid.IntRange(0, 2).Draw(rt, "kind"))})
		}
		start := newBench(t, "300 g", "6000 g").cupPlaced().state
		replay := func() (shown []string) {
			s := start
			for _, r := range lines {
				next, facts := Follow(s, r)
				s = next
				for _, f := range facts {
					s, _, _ = Step(s, Recorded{f})
				}
				body, err := json.Marshal(struct {
					View
					Facts []Fact
				}{s.View(false), facts})
				require.NoError(t, err)
				shown = append(shown, string(body))
			}
			return shown
		}
		require.Equal(rt, replay(), replay())
	})
}

// weighOut pours what the batch asks for, with something happening at the pan now and then, and gives what is really in
// the cup, in tenths of a gram.
func (m *table) weighOut(rt *rapid.T, events []string) (a, b int) {
	for range 40 {
		v := m.view()
		switch {
		case v.Verdict != nil:
			return a, b
		case v.Question != nil && v.Question.Choices[0] == "same_cup":
			return a, b // nobody ends such a batch as within
		case v.Question != nil:
			m.answer()
			if q := m.view().Question; q != nil && m.off {
				m.off = false
				m.settle(400 * time.Millisecond)
			}
			continue
		case v.Cue == pour.CuePlace && !m.off:
			m.off = true
			m.settle(400 * time.Millisecond)
			continue
		case m.off:
			m.off = false
			m.settle(400 * time.Millisecond)
			continue
		}
		if rapid.IntRange(0, 3).Draw(rt, "happens") > 0 {
			panEvents[rapid.SampledFrom(events).Draw(rt, "event")](rt, m)
			continue
		}
		m.rest(m.value(), 5*time.Second)
		v = m.view()
		if v.Question != nil || v.Part == nil || v.Cue == pour.CuePlace {
			continue
		}
		more := int(10 * v.Remaining.Grams())
		if more <= 0 {
			continue
		}
		m.poured += more
		if *v.Part == "A" {
			a += more
		} else {
			b += more
		}
		m.settle(4 * time.Second)
		m.rest(m.value(), 3*time.Second)
	}
	return a, b
}

// Whatever happens at the pan, no batch ends as within that is not.
func TestNoSequenceOfPanEventsEndsAsWithinThatIsNot(t *testing.T) {
	var events []string
	for name := range panEvents {
		if name != "a stream" && name != "drops" {
			events = append(events, name)
		}
	}
	slices.Sort(events)
	within := 0
	rapid.Check(t, func(rt *rapid.T) {
		bench := newBench(t, "300 g", "6000 g")
		bench.mute = rapid.Bool().Draw(rt, "mute")
		m := &table{bench: bench.cupPlaced(), lags: rapid.Bool().Draw(rt, "lags")}
		a, b := m.weighOut(rt, events)
		v := m.view()
		if v.Verdict == nil || *v.Verdict != metrology.Within {
			return
		}
		within++
		errorPct := 100 * (float64(b)/(0.5*float64(a)) - 1)
		if math.Abs(errorPct) > 2+*v.U {
			rt.Fatalf("within, with %d tenths of a gram of A and %d of B, facts %v", a, b, m.kinds())
		}
	})
	require.NotZero(t, within)
	t.Logf("%d ended as within", within)
}
