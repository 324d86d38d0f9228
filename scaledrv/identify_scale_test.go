package scaledrv

import (
	"context"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// simulated is the link to a simulated scale whose line settings count. Its bits go through the simulator's UART model, and
// it has no descriptor, so that it can be read in a bubble.
type simulated struct {
	bench *simulator.Bench
	uart  simulator.UART // of our end
	line  *simulatedLine // shared by all settings
}

// simulatedLine is what the bench writes to: the port that is open now, if any.
type simulatedLine struct {
	mu   sync.Mutex
	far  net.Conn
	uart simulator.UART
}

func (l *simulatedLine) Write(b []byte) (int, error) {
	l.mu.Lock()
	far := l.far
	l.mu.Unlock()
	if far != nil {
		_, _ = far.Write(b) // a closed port misses it
	}
	return len(b), nil
}

// FarEnd is how the open port is set.
func (l *simulatedLine) FarEnd() (simulator.UART, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.uart, l.far != nil
}

func (s *simulated) Name() string { return "simulated" }

func (s *simulated) Open(context.Context) (Port, error) {
	near, far := net.Pipe()
	s.line.mu.Lock()
	s.line.far, s.line.uart = far, s.uart
	s.line.mu.Unlock()
	go func() {
		said := make([]byte, 64)
		for {
			n, err := far.Read(said)
			s.bench.Receive(said[:n])
			if err != nil {
				return
			}
		}
	}()
	return near, nil
}

func (s *simulated) tunings() ([]int, []string) { return tryBauds, []string{"8N1", "7E1", "7O1"} }

func (s *simulated) tuned(baud int, frame string) Link {
	uart, err := simulator.NewUART(baud, frame)
	if err != nil {
		panic(err)
	}
	return &simulated{s.bench, uart, s.line}
}

// act is something that happens at the pan.
type act struct {
	after time.Duration // since the act before
	do    string
	tip   float64
}

// poured is a load that comes, grows and rests, over and over.
var poured = []act{{500 * time.Millisecond, "cup", 0}, {2500 * time.Millisecond, "tip", 0.4}, {3500 * time.Millisecond, "rest", 0}, {4500 * time.Millisecond, "lift", 0}, {2 * time.Second, "", 0}}

// identifyAt identifies a simulated scale, in a bubble.
func identifyAt(t *testing.T, opt simulator.Options, acts []act, ask IdentifyOptions) (id Identification) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		bench, err := simulator.New(opt)
		require.NoError(t, err)
		ctx, stop := context.WithCancel(t.Context())
		line := &simulatedLine{}
		var running sync.WaitGroup
		running.Go(func() { _ = bench.Run(ctx, line) })
		running.Go(func() {
			for i := 0; len(acts) > 0; i++ {
				a := acts[i%len(acts)]
				select {
				case <-time.After(a.after):
				case <-ctx.Done():
					return
				}
				if a.do != "" {
					_ = bench.Do(a.do, a.tip)
				}
			}
		})
		time.Sleep(time.Duration(opt.Seed%97) * 13 * time.Millisecond) // the port is opened at any moment of a line
		id, err = Identify(ctx, &simulated{bench: bench, line: line}, ask)
		require.NoError(t, err)
		stop()
		running.Wait()
	})
	return id
}
