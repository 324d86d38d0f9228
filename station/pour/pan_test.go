package pour

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

var start = time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)

const d = reading.Gram / 10

// script feeds a pan with lines written as text, a tenth of a second apart: the value as the display shows it, then s
// (stable), m (moving) or u (not said), then g (gross) or n (net) or nothing. A +1s between two lines adds to the time,
// and -- is a line without a weight.
type script struct {
	t testing.TB
	Pan
	at   time.Time
	seen []Happening // what the lines have shown, without Nothing
}

func newScript(t testing.TB) *script { return &script{t: t, Pan: NewPan(d), at: start} }

func (s *script) lines(text string) *script {
	s.t.Helper()
	for field := range strings.FieldsSeq(text) {
		switch {
		case field[0] == '+':
			more, err := time.ParseDuration(field[1:])
			require.NoError(s.t, err)
			s.at = s.at.Add(more)
			continue
		case field == "--":
			s.at = s.at.Add(100 * time.Millisecond)
			s.Interrupt()
			continue
		}
		s.at = s.at.Add(100 * time.Millisecond)
		cut := strings.LastIndexAny(field, "0123456789") + 1
		s.take(field[:cut]+" g", field[cut:])
	}
	return s
}

func (s *script) take(value, flags string) {
	v, err := reading.ParseValue(value)
	require.NoError(s.t, err)
	m, ok := v.Mass()
	require.True(s.t, ok)
	r := reading.Reading{Value: v, Mass: m, At: s.at, Motion: map[byte]reading.Motion{'s': reading.Stable, 'm': reading.Moving, 'u': reading.MotionUnknown}[flags[0]]}
	if len(flags) > 1 {
		r.Kind = map[byte]reading.Kind{'g': reading.Gross, 'n': reading.Net}[flags[1]]
	}
	if h := s.Take(r); h != Nothing {
		s.seen = append(s.seen, h)
	}
}

// stream moves the value evenly from one to another number of grams, in two seconds.
func (s *script) stream(from, to int) *script {
	for i := range 20 {
		s.lines(fmt.Sprintf("%.1fm", float64(from)+float64(to-from)*float64(i+1)/20))
	}
	return s
}

// rest is one stable value for a second.
func (s *script) rest(value string) *script { return s.lines(strings.Repeat(value+"s ", 10)) }

func TestSettled(t *testing.T) {
	tests := []struct {
		name, lines string
		atLeast     time.Duration
		want        bool
	}{
		{"nothing seen is not settled", "", 0, false},
		{"half a second of one value is settled", "50.0s 50.0s 50.0s 50.0s 50.0s 50.0s", 0, true},
		{"a millisecond less is not", "50.0s 50.0s 50.0s 50.0s 50.0s +-1ms 50.0s", 0, false},
		{"three readings of a slow scale are settled", "50.0s +200ms 50.0s +200ms 50.0s", 0, true},
		{"two readings are not, however far apart", "50.0s +1800ms 50.0s", 0, false},
		{"a longer time can be asked for, and has passed", "50.0s +650ms 50.0s +650ms 50.0s", 1500 * time.Millisecond, true},
		{"a longer time can be asked for, and has not passed", "50.0s +650ms 50.0s +649ms 50.0s", 1500 * time.Millisecond, false},
		{"a shorter time than half a second can't be asked for", "50.0s 50.0s 50.0s", time.Millisecond, false},
		{"two adjacent steps in turn are rest", "50.0s 50.1s 50.0s 50.1s 50.0s 50.1s", 0, true},
		{"three adjacent steps are not", "50.0s 50.1s 50.0s 50.1s 50.2s 50.1s", 0, false},
		{"a slow drip is no rest, though each step is small", "50.0s +200ms 50.1s +200ms 50.2s +200ms 50.3s", 0, false},
		{"a fall counts as a rise does", "50.0s 50.0s 50.0s 49.9s 49.8s 49.8s", 0, false},
		{"a scale that calls itself moving is not settled", "50.0m 50.0m 50.0m 50.0m 50.0m 50.0m", 0, false},
		{"one moving line begins the rest anew", "50.0s 50.0s 50.0s 50.0s 50.0s 50.0s 50.0m 50.0s 50.0s", 0, false},
		{"half a second after the last moving line it is settled", "50.0m 50.0s 50.0s 50.0s 50.0s 50.0s", 0, true},
		{"a scale that says nothing of motion is judged by its values", "50.0u 50.0u 50.0u 50.0u 50.0u 50.0u", 0, true},
		{"two seconds without a line begin the rest anew", "50.0s 50.0s 50.0s 50.0s 50.0s 50.0s +1900ms 50.0s", 0, false},
		{"a shorter silence does not", "50.0s 50.0s 50.0s 50.0s 50.0s 50.0s +1899ms 50.0s", 0, true},
		{"a line without a weight begins the rest anew", "50.0s 50.0s 50.0s 50.0s 50.0s 50.0s -- 50.0s 50.0s", 0, false},
		{"a display with a coarser step rules the division", "50s 51s 50s 51s 50s 51s", 0, true},
		{"with a coarser step two of its steps are motion", "50s 51s 50s 51s 52s 51s", 0, false},
		{"a display with finer digits than the division does not", "50.00s 50.09s 50.00s 50.10s 50.00s 50.05s", 0, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, newScript(t).lines(tt.lines).Settled(tt.atLeast))
		})
	}
}

// OIML R 76-1, 4.4.2 (paraphrased from memory) calls an equilibrium stable when in the 5 s at hand no more than two
// adjacent values show. What is called settled for 5 s must meet it, whatever came.
func TestWhatIsSettledForFiveSecondsMeetsR76(t *testing.T) {
	met := 0
	rapid.Check(t, func(rt *rapid.T) {
		pan, at := NewPan(d), start
		var steps []int64
		var times []time.Time
		value := int64(500)
		for range rapid.IntRange(10, 120).Draw(rt, "lines") {
			if rapid.IntRange(0, 9).Draw(rt, "moves") == 0 {
				value += rapid.Int64Range(-2, 2).Draw(rt, "by")
			}
			at = at.Add(time.Duration(rapid.IntRange(50, 1200).Draw(rt, "ms")) * time.Millisecond)
			v := reading.Value{Digits: value, Decimals: 1, Unit: reading.UnitG}
			m, _ := v.Mass()
			pan.Take(reading.Reading{Value: v, Mass: m, Motion: reading.Stable, At: at})
			steps, times = append(steps, value), append(times, at)
			if !pan.Settled(5*time.Second) || pan.Band() > d { // a scale in a draught can't meet it
				continue
			}
			met++
			low, high := value, value
			for i := len(steps) - 1; i >= 0 && at.Sub(times[i]) <= 5*time.Second; i-- {
				low, high = min(low, steps[i]), max(high, steps[i])
			}
			if high-low > 1 {
				rt.Fatalf("settled, but within 5 s the display showed %d to %d tenths of a gram", low, high)
			}
		}
	})
	require.NotZero(t, met, "nothing was ever settled, so nothing was tested")
}

func TestWhatHappensAtThePan(t *testing.T) {
	tests := []struct {
		name  string
		after func(s *script)
		want  []Happening
	}{
		{"a stable load on an empty pan is a cup placed", func(s *script) { s.rest("0.0").lines("20.0m 50.0m").rest("50.0") }, []Happening{Placed}},
		{"it is placed once", func(s *script) { s.rest("0.0").rest("50.0").rest("50.0") }, []Happening{Placed}},
		{"a load that does not come to rest is no cup", func(s *script) { s.rest("0.0").lines("20.0m 50.0m 52.0m 50.0m 49.0m 51.0m") }, nil},
		{"a load before the pan was seen empty is not placed", func(s *script) { s.rest("50.0").rest("80.0") }, nil},
		{"one gram is a cup", func(s *script) { s.rest("0.0").rest("1.0") }, []Happening{Placed}},
		{"less than a gram is none", func(s *script) { s.rest("0.0").rest("0.9") }, nil},
		{"on a coarse scale a cup is five divisions", func(s *script) { s.rest("0").rest("5") }, []Happening{Placed}},
		{"on a coarse scale four divisions are none", func(s *script) { s.rest("0").rest("4") }, nil},
		{"a pan that does not read zero empty is empty, and a gram more is a cup", func(s *script) { s.rest("0.6").rest("1.6") }, []Happening{Placed}},
		{"what is too light for a cup counts as the empty pan", func(s *script) { s.rest("0.0").rest("0.9").rest("1.8") }, nil},
		{"a load below zero of the display is a load after an empty pan below it", func(s *script) { s.rest("-60.0").rest("-10.0") }, []Happening{Placed}},
		{"the load gone is a cup lifted, at once", func(s *script) { s.rest("0.0").rest("50.0").lines("10.0m") }, []Happening{Placed, Lifted}},
		{"a hand that takes a third of the weight is no lift", func(s *script) { s.rest("0.0").rest("60.0").lines("50.0m 41.0m 40.0m 50.0m").rest("60.0") }, []Happening{Placed}},
		{"more than half is", func(s *script) { s.rest("0.0").rest("60.0").lines("50.0m 29.9m") }, []Happening{Placed, Lifted}},
		{"what was poured belongs to the load that is lifted", func(s *script) { s.rest("0.0").rest("50.0").stream(50, 250).rest("250.0").lines("120.0m") }, []Happening{Placed, Lifted}},
		{"a cup set back is placed again", func(s *script) { s.rest("0.0").rest("50.0").lines("20.0m").rest("0.0").lines("30.0m").rest("50.3") }, []Happening{Placed, Lifted, Placed}},
		{"a cup that a batch has used is not placed again where it stands", func(s *script) { s.rest("0.0").rest("50.0").Disown(); s.rest("50.0").rest("60.0") }, []Happening{Placed}},
		{"the next cup after it is placed, however short the pan was empty", func(s *script) { s.rest("0.0").rest("50.0").Disown(); s.lines("12.0m 5.0m").rest("40.0") }, []Happening{Placed, Lifted, Placed}},
		{"a cup that stood there before the first line is none until it was off", func(s *script) { s.rest("50.0").lines("12.0m 20.0m").rest("50.0") }, []Happening{Lifted, Placed}},
		{"a load that nobody saw come is there while a quarter of it is", func(s *script) { s.rest("50.0").lines("12.5m") }, nil},
		{"and gone with less", func(s *script) { s.rest("50.0").lines("12.4m") }, []Happening{Lifted}},
		{"what is poured onto a pan that reads empty is no cup", func(s *script) {
			s.rest("0.0")
			for g := range 50 {
				s.lines(fmt.Sprintf("%d.0m", 5*g))
			}
			s.rest("250.0")
		}, nil},
		{"a cup on a slow scale is one", func(s *script) { s.rest("0.0").lines("+900ms 50.0m +900ms 50.0m").rest("50.0") }, []Happening{Placed}},
		{"a cup whose coming was missed for a while is one", func(s *script) { s.rest("0.0").lines("5.0m +1900ms 50.0m").rest("50.0") }, []Happening{Placed}},
		{"also where the lines before it were late", func(s *script) { s.rest("0.0").lines("+1900ms 5.0m 20.0m 50.0m").rest("50.0") }, []Happening{Placed}},
		{"to disown an empty pan changes nothing", func(s *script) { s.rest("0.0").Disown(); s.rest("50.0") }, []Happening{Placed}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newScript(t)
			tt.after(s)
			require.Equal(t, tt.want, s.seen)
		})
	}
}

func TestKeysOfTheScale(t *testing.T) {
	tests := []struct {
		name, lines string
		want        []Happening
	}{
		{"TARE shows by the kind of weight", "50.0sg 0.0sn", []Happening{Keyed}},
		{"TARE and its end show by the kind of weight", "50.0sg 0.0sn 50.0sg", []Happening{Keyed, Keyed}},
		{"the kind is believed also between moving lines", "50.0mg 3.0mn", []Happening{Keyed}},
		{"the kind is believed also across a line out of range", "50.0sg -- 0.0sn", []Happening{Keyed}},
		{"a line that says no kind is no change of it", "50.0sg 50.0s 50.0sg", nil},
		{"ZERO changes no kind: a jump to zero is that, or a cup lifted", "50.0sg 0.0sg", []Happening{Jumped}},
		{"nor does a scale that says no kind", "50.0s 0.0s", []Happening{Jumped}},
		{"a scale that marks net lines alone shows TARE by that", "50.0s 0.0sn", []Happening{Keyed}},
		{"and its end by the value", "50.0s 0.0sn 0.0sn 0.0sn 0.0sn 0.0sn 0.0sn 0.0sn 50.0s", []Happening{Keyed, Keyed}},
		{"nor one that says nothing at all", "50.0u 0.0u", []Happening{Jumped}},
		{"a division from zero is about zero", "50.0s -0.1s", []Happening{Jumped}},
		{"two are not", "50.0s 0.2s", []Happening{Lifted}},
		{"a value in between is no key's", "50.0s 22.3s 0.0s", []Happening{Lifted}},
		{"keys work at rest: a line called moving is no key's", "50.0s 0.0m", []Happening{Lifted}},
		{"in mid-stream only where the line says nothing of motion", "55.0u 60.0u 0.0u", []Happening{Jumped}},
		{"after two seconds of silence the kind still says so", "50.0sg +1900ms 0.0sn", []Happening{Keyed}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newScript(t).rest("0.0").rest("50.0")
			require.Equal(t, []Happening{Placed}, s.seen)
			s.seen = nil
			require.Equal(t, tt.want, s.lines(tt.lines).seen)
		})
	}
}

func TestAKeyMovesTheEmptyPanWithTheValue(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0").lines("50.0sg")
	load := s.Load()
	s.lines("0.0sn")
	require.True(t, s.Clean, "nothing was moving before it")
	require.Equal(t, 50*reading.Gram, load)
	require.Equal(t, load, s.Load(), "TARE takes nothing off the pan")
	require.True(t, s.Loaded())
	require.False(t, s.Settled(0), "what was seen before the key does not speak for the value after it")
	s.lines("0.1m 0.2m")
	require.Positive(t, s.Flow(), "the jump is no flow")
	s.rest("0.0").lines("-20.0m -40.0m")
	require.Equal(t, []Happening{Placed, Keyed, Lifted}, s.seen, "the cup leaves to -50 g")
	require.True(t, s.Empty())
}

func TestAKeyIsCleanWhereNothingCanHaveLandedUnseen(t *testing.T) {
	for _, tt := range []struct {
		name, lines string
		want        bool
	}{
		{"from rest", "50.0sg 0.0sn", true},
		{"in a stream", "55.0mg 60.0mg 0.0mn", false},
		{"right after one", "60.0mg 60.0sg 60.0sg 0.0sn", false},
		{"from rest, but seconds ago", "50.0sg +1900ms 0.0sn", false},
		{"after a line out of range", "50.0sg -- 0.0sn", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newScript(t).rest("0.0").rest("50.0").lines(tt.lines)
			require.Equal(t, []Happening{Placed, Keyed}, s.seen)
			require.Equal(t, tt.want, s.Clean)
		})
	}
}

func TestWhatThePanRemembers(t *testing.T) {
	s := newScript(t)
	require.False(t, s.Empty(), "nothing is known before the first rest")
	require.Zero(t, s.Still())
	s.rest("0.0")
	require.True(t, s.Empty())
	require.Equal(t, 900*time.Millisecond, s.Still())
	require.Equal(t, start.Add(100*time.Millisecond), s.Since())
	s.rest("50.0").lines("51.0m 53.0m 52.5m")
	require.Equal(t, 50*reading.Gram, s.Rested.Mass)
	require.Equal(t, 53*reading.Gram, s.Peak)
	require.Equal(t, 525*d, s.Now.Mass)
	require.Equal(t, 53*reading.Gram, s.Before.Mass)
	s.lines("60.0s 60.1s 60.0s 60.0s 60.0s 60.1s")
	require.Equal(t, 60*reading.Gram, s.Lowest())
	require.Equal(t, 601*d, s.Now.Mass)
	require.Equal(t, 60*reading.Gram, s.Value(), "at rest the value is the one shown most, not the newest flicker")
	require.Equal(t, s.Value(), s.Rested.Mass)
	s.lines("60.1s 60.1s 60.1s 60.1s")
	require.Equal(t, 601*d, s.Value(), "it follows within the newest few")
	s.lines("60.4m")
	require.Equal(t, 604*d, s.Value(), "in motion it is the newest")
	s.rest("40.0")
	require.Equal(t, 40*reading.Gram, s.Peak, "a peak is one since the last rest")
	s.lines("45.0m 46.0m 47.0m")
	require.Positive(t, s.Flow())
	s.lines("+2s 47.0m")
	require.Zero(t, s.Flow(), "of one line after a silence there is no flow")
	s.lines("48.0m 49.0m")
	s.Interrupt()
	require.Zero(t, s.Still())
	require.Zero(t, s.Flow())
	require.True(t, s.Loaded(), "a value out of range takes no cup away")
}

func TestACopyOfAPanGoesItsOwnWay(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0")
	before := s.Pan
	s.lines("60.0m 70.0m 80.0m")
	require.True(t, before.Settled(0))
	require.Zero(t, before.Flow())
	require.Positive(t, s.Flow())
}
