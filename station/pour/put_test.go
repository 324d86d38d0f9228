package pour

import (
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

func TestWhatComesTooFastForAStreamIsPut(t *testing.T) {
	tests := []struct {
		name, lines string
		want        []Happening
	}{
		{"a stick in one line", bare("55.0"), []Happening{Put}},
		{"through the scale's lag", "51.5u 53.0u 54.0u 54.5u 54.8u 54.9u " + bare("55.0"), []Happening{Put}},
		{"what swings as it comes", "58.0u 53.0u 55.5u " + bare("55.0"), []Happening{Put}},
		{"less than a stick's weight may be drops", bare("52.0"), nil},
		{"a stream is none", "50.5u 51.0u 51.5u 52.0u 52.5u 53.0u 53.5u 54.0u 54.5u " + bare("55.0"), nil},
		{"nor one in a second", "51.0u 52.0u 53.0u 54.0u 55.0u 56.0u 57.0u 58.0u 59.0u " + bare("60.0"), nil},
		{"of a rise that nobody saw nothing can be said", "+1500ms " + bare("55.0"), nil},
		{"nor across a silence", "+3s " + bare("55.0"), nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := loadedBare(t).lines(tt.lines)
			require.Equal(t, tt.want, s.seen)
			if tt.want != nil {
				require.Equal(t, 50*reading.Gram, s.PutFrom)
				require.Equal(t, 55*reading.Gram, s.PutTo)
			}
		})
	}
	t.Run("on a coarse scale it takes five divisions", func(t *testing.T) {
		s := newScript(t).rest("0").rest("50").rest("54")
		require.Equal(t, []Happening{Placed}, s.seen)
		s.rest("59")
		require.Equal(t, []Happening{Placed, Put}, s.seen)
	})
	t.Run("a key is none", func(t *testing.T) {
		s := newScript(t).rest("0.0").rest("50.0").lines("50.0sg 0.0sn").rest("0.0").lines("0.0sn 50.0sg").rest("50.0")
		require.Equal(t, []Happening{Placed, Keyed, Keyed}, s.seen)
	})
}

func TestWhatIsComingIsAbruptUntilItHasShownToBeAStream(t *testing.T) {
	s := loadedBare(t)
	require.False(t, s.Abrupt())
	s.lines("52.0u")
	require.False(t, s.Abrupt(), "too little to tell")
	s.lines("54.0u 56.0u 58.0u 60.0u")
	require.True(t, s.Abrupt())
	for range 3 {
		s.lines("60.0u")
	}
	require.True(t, s.Abrupt(), "it has stopped where it came to at once")
	s.lines("64.0u 68.0u")
	require.False(t, s.Abrupt())
}
