package station

import (
	"io/fs"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
)

// zeroed has a key pressed at the scale, from rest: the display shows zero at once, and stays stable.
func (s *scripted) zeroed() {
	s.Helper()
	for range 10 {
		s.line("ST", 0)
	}
}

// What is poured while the ledger is slow to take an answer is counted once the answer is in force.
func TestAnAnswerIsInForceOnceItIsDurable(t *testing.T) {
	onBench(t, takes(0), func(s *scripted) {
		id := s.start()
		s.cup()
		s.pour(150, 8*time.Second)
		s.rest(150, 2*time.Second)
		before := s.now()
		s.zeroed()
		require.Equal(s, []string{"lifted", "tared"}, s.batchNow().Question.Choices)
		require.Equal(s, "answer", string(s.batchNow().Cue))
		require.NotEqual(s, before.Identity, s.now().Identity, "a question is news")
		require.Equal(s, 100*reading.Gram, *s.batchNow().Poured)
		require.Contains(s, s.recorded(id), "jumped")

		s.hold(takes(2 * time.Second))
		answer := s.ask(func() error { return s.act(id, batch.Act{Action: "tared"}) })
		require.NotNil(s, s.batchNow().Question, "not before it is durable")
		s.pour(20, time.Second)
		require.Equal(s, 100*reading.Gram, *s.batchNow().Poured)
		s.rest(20, 2*time.Second)
		require.NoError(s, answer.err(s))
		require.Nil(s, s.batchNow().Question)
		require.Equal(s, 120*reading.Gram, *s.batchNow().Poured)
		require.Nil(s, s.batchNow().Doubt)
	})
}

func TestAScaleThatWasSwitchedOffUnderTheCup(t *testing.T) {
	for name, away := range map[string]func(*scripted){
		"silent": func(s *scripted) { s.pass(3 * time.Minute) },
		"unplugged": func(s *scripted) {
			s.link.unplug(&fs.PathError{Op: "open", Path: "scripted", Err: syscall.ENOENT})
			s.pass(10 * time.Second)
			s.link.plug()
			s.pass(time.Second)
		},
	} {
		t.Run(name, func(t *testing.T) {
			onBench(t, takes(0), func(s *scripted) {
				id := s.start()
				s.cup()
				s.pour(150, 8*time.Second)
				s.rest(150, 2*time.Second)
				away(s)
				s.zeroed()
				require.Equal(s, []string{"tared", "scrap"}, s.batchNow().Question.Choices)
				require.NoError(s, s.act(id, batch.Act{Action: "tared"}))
				s.pour(100, 8*time.Second)
				s.rest(100, 3*time.Second)
				require.True(s, s.batchNow().Parts[0].Accepted)
				require.Equal(s, 200*reading.Gram, s.batchNow().Parts[0].Poured)
				require.Nil(s, s.batchNow().Doubt)
			})
		})
	}
}
