package scaledrv

import (
	"context"
	"flag"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

var identifyPTYs = flag.Int("identify-ptys", 3, "of all shapes at all speeds, how many scales on pseudo-terminals are identified; 56 for all")

// Real ports, opened anew at each speed: a pseudo-terminal that goes by the speed that it is set to. Of parity it knows
// nothing. In real time, so that a share is run unless more is asked for.
func TestIdentifyOnPseudoTerminals(t *testing.T) {
	shapes := slices.DeleteFunc(simulator.Shapes(), func(shape string) bool { return shape == "hid" }) // which has no speed
	all := len(shapes) * len(bauds)
	for n := range min(*identifyPTYs, all) {
		i := (n * 23) % all // prime to all: each once
		shape, baud := shapes[i%len(shapes)], bauds[i/len(shapes)]
		t.Run(fmt.Sprint(shape, " ", baud), func(t *testing.T) {
			t.Parallel()
			bench, err := simulator.New(simulator.Options{Seed: uint64(i), Scale: simulator.ScaleOptions{Shape: shape, Baud: baud}})
			require.NoError(t, err)
			line, err := simulator.OpenPTY()
			require.NoError(t, err)
			require.NoError(t, line.Honour(bench.UART()))
			ctx, stop := context.WithCancel(t.Context())
			var running sync.WaitGroup
			running.Go(func() { _ = bench.Run(ctx, line) })
			defer func() { stop(); running.Wait(); line.Close() }()
			require.NoError(t, bench.Do("cup", 0))
			require.NoError(t, bench.Do("tip", 0.3))
			rest := time.AfterFunc(5*time.Second, func() { _ = bench.Do("rest", 0) })
			defer rest.Stop()
			link, err := ParseLink("serial:" + line.Path())
			require.NoError(t, err)
			id, err := Identify(ctx, link, IdentifyOptions{})
			require.NoError(t, err)
			t.Logf("%v, sure %v: %+v %s", id.Took, id.Sure, id.Candidates, id.Advice)
			require.True(t, id.Sure)
			require.Equal(t, []any{baud, "8N1", shape}, []any{id.Candidates[0].Baud, id.Candidates[0].Frame, id.Candidates[0].Shape})
		})
	}
}

func TestRubbishAtTheOneSpeedThatIsTriedSaysSo(t *testing.T) {
	bench, err := simulator.New(simulator.Options{Seed: 3, Scale: simulator.ScaleOptions{Shape: "status-comma", Baud: 9600}})
	require.NoError(t, err)
	line, err := simulator.OpenPTY()
	require.NoError(t, err)
	defer line.Close()
	require.NoError(t, line.Honour(bench.UART()))
	ctx, stop := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { _ = bench.Run(ctx, line) })
	defer func() { stop(); running.Wait() }()
	link, err := ParseLink("serial:" + line.Path() + "?baud=2400")
	require.NoError(t, err)
	id, err := Identify(ctx, link, IdentifyOptions{})
	require.NoError(t, err)
	require.Empty(t, id.Candidates)
	require.Contains(t, id.Advice, "nothing that reads as lines at 2400 baud: leave the settings out of the link")
}
