package station

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv"
	"twocup/station/batch"
)

// heard collects what the station sends to its scale from now on.
func (s *scripted) heard() func() string {
	var mu sync.Mutex
	var text []byte
	far := s.link.scale().(interface{ Read([]byte) (int, error) })
	go func() {
		buffer := make([]byte, 100)
		for {
			n, err := far.Read(buffer)
			if err != nil {
				return
			}
			mu.Lock()
			text = append(text, buffer[:n]...)
			mu.Unlock()
		}
	}()
	return func() string {
		synctest.Wait()
		mu.Lock()
		defer mu.Unlock()
		return string(text)
	}
}

func withKeys(c *Config) { c.Driver = scaledrv.Options{Tare: []byte("T\r\n"), Zero: []byte("Z\r\n")} }

func TestTheActionTareAlsoPressesTheScalesKeyWhereItsEntrySaysHow(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		heard := s.heard()
		id := s.start()
		s.cup()
		s.rest(50, 2*time.Second)
		require.Empty(t, heard(), "taking a cup moves the station's own reference and sends nothing")
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "tare"}})
		require.NoError(s, err)
		s.rest(50, 500*time.Millisecond)
		require.Equal(t, "T\r\n", heard())
	}, withKeys)
}

func TestAnEmptyPanOffItsZeroIsZeroedBeforeABatch(t *testing.T) {
	for name, tt := range map[string]struct {
		grams float64
		want  string
	}{
		"off by three divisions": {0.3, "Z\r\n"},
		"at zero":                {0, ""},
		"a load, not an offset":  {50, ""},
	} {
		t.Run(name, func(t *testing.T) {
			onBench(t, takes(0), func(s *scripted) {
				heard := s.heard()
				s.rest(tt.grams, 2*time.Second)
				_, err := s.StartBatch(s.Context(), order(300e12))
				require.NoError(s, err)
				s.rest(tt.grams, 500*time.Millisecond)
				require.Equal(t, tt.want, heard())
			}, withKeys)
		})
	}
}

func TestNothingIsSentToAScaleWhoseEntrySaysNothing(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		heard := s.heard()
		s.rest(0.3, time.Second)
		id := s.start()
		s.cup()
		s.rest(50, 2*time.Second)
		_, err := s.Act(s.Context(), id, Action{Act: batch.Act{Action: "tare"}})
		require.NoError(s, err)
		s.rest(50, time.Second)
		require.Empty(t, heard())
	})
}
