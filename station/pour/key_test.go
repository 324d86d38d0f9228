package pour

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// A pan with a load of 50 g that came to it empty, on a scale whose lines say nothing but the value.
func loadedBare(t *testing.T) *script {
	s := newScript(t).lines(strings.Repeat("0.0u ", 10) + strings.Repeat("50.0u ", 10))
	require.Equal(t, []Happening{Placed}, s.seen)
	s.seen = nil
	return s
}

func bare(value string) string { return strings.Repeat(value+"u ", 10) }

func TestAJumpToZeroIsOneOfTwoThings(t *testing.T) {
	t.Run("until something tells them apart the load is taken to be off", func(t *testing.T) {
		s := loadedBare(t).lines(bare("0.0"))
		require.Equal(t, []Happening{Jumped}, s.seen)
		require.True(t, s.Empty())
		require.Equal(t, 50*reading.Gram, s.Was)
		require.Equal(t, 50*reading.Gram, s.Stood)
		require.True(t, s.Clean)
		require.False(t, s.Back() || s.Streamed())
	})
	t.Run("a load of about the same that comes at once is the old one set back", func(t *testing.T) {
		for value, back := range map[string]bool{"50.0": true, "50.3": true, "48.0": true, "55.0": false, "20.0": false} {
			s := loadedBare(t).lines(bare("0.0") + bare(value))
			require.Equal(t, back, s.Back(), value)
			require.False(t, s.Streamed())
		}
	})
	t.Run("a stream goes into a load that was tared", func(t *testing.T) {
		s := loadedBare(t).lines(bare("0.0")).stream(0, 20)
		require.False(t, s.Streamed(), "a cup comes as fast")
		s.stream(20, 40)
		require.True(t, s.Streamed())
		s.Tared()
		require.Equal(t, 90*reading.Gram, s.Load())
		require.True(t, s.Loaded())
	})
	t.Run("so does one that pauses", func(t *testing.T) {
		s := loadedBare(t).lines(bare("0.0")).stream(0, 2).stream(2, 8).lines(bare("8.0"))
		require.True(t, s.Streamed())
	})
	t.Run("what comes to rest in a moment may be a light cup, or a little of a pour", func(t *testing.T) {
		s := loadedBare(t).lines(bare("0.0") + "1.0u 2.0u 3.0u 4.0u 5.0u " + bare("6.0"))
		require.False(t, s.Back() || s.Streamed())
	})
	t.Run("a value far below zero is a tared load taken off, and what the empty pan shows is known", func(t *testing.T) {
		s := loadedBare(t).lines(bare("0.0") + "-20.0u -30.0u")
		require.Equal(t, []Happening{Jumped, Sank}, s.seen)
		require.True(t, s.Empty())
		s.lines("-40.0u -20.0u " + bare("0.0"))
		require.Equal(t, []Happening{Jumped, Sank, Placed}, s.seen, "set back before the display was at rest")
		require.Equal(t, 50*reading.Gram, s.Load())
	})
}

func TestAKeyThatNothingElseCanBe(t *testing.T) {
	tared := func(t *testing.T) *script { // the empty pan shows -50.0
		s := loadedBare(t).lines(bare("0.0"))
		s.Tared()
		s.seen = nil
		return s.stream(0, 30).lines(bare("30.0"))
	}
	t.Run("a jump to zero that is not what the empty pan shows", func(t *testing.T) {
		s := tared(t).lines("0.0u")
		require.Equal(t, []Happening{Keyed}, s.seen)
		require.Equal(t, 80*reading.Gram, s.Load())
	})
	t.Run("the tare cleared: back by what it took", func(t *testing.T) {
		s := tared(t).lines("80.0u")
		require.Equal(t, []Happening{Keyed}, s.seen)
		require.Equal(t, 80*reading.Gram, s.Load())
	})
	t.Run("as much as a stream may bring in a line is none, where the line says nothing of motion", func(t *testing.T) {
		for motion, want := range map[string][]Happening{"u": {Restarted, Keyed}, "s": {Restarted, Keyed, Keyed}} {
			s := loadedBare(t).lines("+5s " + bare("0.0"))
			s.Tared()
			s.lines("0.2m 0.4m " + bare("0.5") + bare("0.0"))
			require.Equal(t, want, s.lines("0.5"+motion).seen)
		}
	})
	t.Run("another jump up is none", func(t *testing.T) {
		s := tared(t).lines(bare("75.0"))
		require.Equal(t, []Happening{Put}, s.seen)
	})
	t.Run("up to zero something may be put in, be it little", func(t *testing.T) {
		for _, below := range []string{"-0.4", "-2.0", "-5.0"} {
			s := tared(t).lines("10.0m").rest(below).lines(bare("0.0"))
			require.Equal(t, []Happening{Put}, s.seen)
		}
		s := tared(t).lines("10.0m").rest("-0.3").lines(bare("0.0"))
		require.Empty(t, s.seen, "of three divisions nothing is said")
	})
	t.Run("a jump to zero of the empty pan", func(t *testing.T) {
		s := tared(t).lines("-20.0u").lines(bare("-50.0") + "0.0u")
		require.Equal(t, []Happening{Lifted, Keyed}, s.seen)
		require.Zero(t, s.Load())
		s.lines("20.0u " + bare("50.0"))
		require.Equal(t, Placed, s.seen[2])
	})
	t.Run("lifted it shows the empty pan", func(t *testing.T) {
		s := tared(t).lines("-50.0u")
		require.Equal(t, []Happening{Lifted}, s.seen)
	})
}

func TestAScaleThatWasOffShowsZeroUnderItsLoad(t *testing.T) {
	tests := []struct {
		name  string
		after func(s *script)
		want  []Happening
		clean bool
	}{
		{"after a silence", func(s *script) { s.lines("+5s 0.0m") }, []Happening{Restarted}, true},
		{"after a silence that the driver has noticed", func(s *script) { s.lines("--").lines("+5s 0.0m") }, []Happening{Restarted}, true},
		{"after a silence that began in mid-stream", func(s *script) { s.lines("55.0m 60.0m --").lines("+5s 0.0m") }, []Happening{Restarted}, false},
		{"not where the value is what it was", func(s *script) { s.lines("+5s 50.0m") }, nil, false},
		{"not where it is net of a tare", func(s *script) { s.lines("50.0sg +5s 0.0mn") }, []Happening{Keyed}, false},
		{"also where a tare is gone", func(s *script) { s.lines("50.0sg 0.0sn").rest("0.0").stream(0, 20).lines("20.0sn +5s 0.0mg") }, []Happening{Keyed, Restarted}, false},
		{"not without a load", func(s *script) { s.lines("10.0m").rest("0.0").lines("+5s 0.0m") }, []Happening{Lifted}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newScript(t).rest("0.0").rest("50.0")
			s.seen = nil
			tt.after(s)
			require.Equal(t, tt.want, s.seen)
			if len(tt.want) > 0 && tt.want[len(tt.want)-1] == Restarted {
				require.Equal(t, tt.clean, s.Clean)
			}
		})
	}
}

func TestAfterTheScaleWasOffThereIsNoTareToClear(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0").lines("+5s 0.0s").rest("0.0")
	s.Tared()
	s.lines("50.0s")
	require.Equal(t, []Happening{Placed, Restarted}, s.seen)
	require.Equal(t, 100*reading.Gram, s.Load())
}

func TestAnEmptyPanThatComesBackAtZeroIsEmpty(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0").lines("50.0sg 0.0sn").rest("0.0").lines("-20.0mn").rest("-50.0")
	require.True(t, s.Empty())
	s.lines("+5s 0.0sg").rest("0.0")
	require.True(t, s.Empty())
	require.Zero(t, s.Load())
	require.Equal(t, Placed, s.lines("20.0m").rest("50.0").seen[len(s.seen)-1])
}

func TestAKeyIsCountedFromTheValueShownMost(t *testing.T) {
	s := newScript(t).rest("0.0").rest("50.0").lines("50.0sg 50.0sg 50.0sg 50.0sg 49.9sg 0.0sn")
	require.Equal(t, 50*reading.Gram, s.Was, "not from the flicker before it")
}

// Some displays leave the last digit blank while they move.
func TestABlankLastDigitIsNoOtherResolution(t *testing.T) {
	t.Run("a moving line with one digit less", func(t *testing.T) {
		s := newScript(t).rest("50.0").lines("51m 52m 53m")
		require.Equal(t, d, s.Division)
		require.Equal(t, d, s.rest("53.2").Division)
	})
	t.Run("before anything is known of the display", func(t *testing.T) {
		require.Equal(t, d, newScript(t).lines("51m 52m").Division)
	})
	t.Run("a line at rest with one digit less is one", func(t *testing.T) {
		require.Equal(t, reading.Gram, newScript(t).rest("50.0").rest("50").Division)
	})
	t.Run("a moving line in other steps is one", func(t *testing.T) {
		require.Equal(t, 10*reading.Gram, newScript(t).rest("50.0").rest("50").lines("50m").Division*10)
		s := newScript(t).rest("50.0")
		v := reading.Value{Digits: 18, Decimals: 1, Unit: reading.UnitOZ}
		m, _ := v.Mass()
		s.Take(reading.Reading{Value: v, Mass: m, Motion: reading.Moving, At: s.at.Add(100 * time.Millisecond)})
		require.Equal(t, v.Step(), s.Division)
	})
}
