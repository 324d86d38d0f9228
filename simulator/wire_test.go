package simulator

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// start runs a bench until the test stops it; stop waits for its end.
func start(t *testing.T, b *Bench, w io.Writer) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx, w) }()
	return func() {
		cancel()
		require.NoError(t, <-done)
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

// A byte at 8N1 is ten bits: twenty bytes take 200/baud seconds, at 1200 baud 167 ms.
func TestALineTakesItsTimeOnTheWire(t *testing.T) {
	for _, baud := range []int{1200, 2400, 9600, 115200} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, Options{Scale: ScaleOptions{Baud: baud, RateHz: 5}})
			began := time.Now()
			var firsts, ends []time.Duration // of each line
			sent := 0
			stop := start(t, b, writerFunc(func(chunk []byte) (int, error) {
				for range chunk {
					if sent%20 == 0 {
						firsts = append(firsts, time.Since(began))
					}
					if sent++; sent%20 == 0 {
						ends = append(ends, time.Since(began))
					}
				}
				return len(chunk), nil
			}))
			time.Sleep(10*time.Second + 190*time.Millisecond)
			stop()
			require.Len(t, ends, 50)
			byteTime := 10 * time.Second / time.Duration(baud)
			for i := range ends {
				shown := time.Duration(i+1) * 200 * time.Millisecond
				require.WithinRange(t, time.Unix(0, int64(firsts[i])), time.Unix(0, int64(shown+byteTime)), time.Unix(0, int64(shown+byteTime+tick)))
				require.WithinRange(t, time.Unix(0, int64(ends[i])), time.Unix(0, int64(shown+20*byteTime)), time.Unix(0, int64(shown+20*byteTime+tick)))
			}
		})
	}
}

func TestALineThatFindsTheWireBusyIsLeftOut(t *testing.T) {
	b := newBench(t, Options{Scale: ScaleOptions{Baud: 1200, RateHz: 10}}) // 167 ms a line, one every 100 ms
	require.Len(t, shownGrams(t, b.Advance(10*time.Second)), 49)
}

func TestAWriterThatBlocksDoesNotStopTheBench(t *testing.T) {
	for part := range 20 { // it is free again at any point of a line
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, Options{})
			free := make(chan struct{})
			var got bytes.Buffer
			stop := start(t, b, writerFunc(func(chunk []byte) (int, error) {
				<-free
				return got.Write(chunk)
			}))
			require.NoError(t, b.Do("cup", 0))
			require.NoError(t, b.Do("tip", 0.1))
			time.Sleep(time.Minute + time.Duration(part)*Step)
			ofA, _ := b.Truth()
			require.InDelta(t, 0.1*60*60, ofA.Grams(), 3)
			close(free)
			time.Sleep(2 * time.Second)
			stop()
			require.Less(t, got.Len(), 2*200+300, "a minute of lines is not kept for later")
			fresh := 0
			for line := range strings.SplitAfterSeq(got.String(), "\n") {
				if !strings.HasSuffix(line, "\n") {
					continue // at hand at the end
				}
				require.Regexp(t, `^.*(ST|US),GS,[+-]\d{6}\.\d  g\r\n$`, line, "a line that was cut is followed by a whole one")
				if strings.Contains(line, ",+0003") {
					fresh++
				}
			}
			require.Greater(t, fresh, 15, "what comes after is new")
		})
	}
}

func TestAWriterThatFailsIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		fail, got := true, 0
		b := newBench(t, Options{})
		stop := start(t, b, writerFunc(func(chunk []byte) (int, error) {
			mu.Lock()
			defer mu.Unlock()
			if fail {
				return 0, errors.New("unplugged")
			}
			got += len(chunk)
			return len(chunk), nil
		}))
		time.Sleep(time.Second)
		mu.Lock()
		fail = false
		mu.Unlock()
		time.Sleep(time.Second)
		stop()
		require.InDelta(t, 10*20, got, 25)
	})
}

func TestABenchRunsOnceAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, Options{})
		stop := start(t, b, io.Discard)
		synctest.Wait()
		require.ErrorContains(t, b.Run(t.Context(), io.Discard), "running already")
		stop()
		start(t, b, io.Discard)()
	})
}

func TestAnUnevenClockMakesNoDifference(t *testing.T) {
	even := newBench(t, Options{Seed: 3})
	require.NoError(t, even.Do("cup", 0))
	want := bytes.Clone(even.Advance(20 * time.Second))
	rapid.Check(t, func(t *rapid.T) {
		b, err := New(Options{Seed: 3})
		require.NoError(t, err)
		require.NoError(t, b.Do("cup", 0))
		var got []byte
		for rest := 20 * time.Second; rest > 0; {
			dt := min(rest, time.Duration(rapid.Int64Range(0, int64(3*time.Second)).Draw(t, "dt")))
			got = append(got, b.Advance(dt)...)
			rest -= dt
		}
		require.Equal(t, string(want), string(got))
	})
}

func TestPowerOffCutsTheLine(t *testing.T) {
	b := newBench(t, Options{})
	sent := bytes.Clone(b.Advance(110 * time.Millisecond)) // ten milliseconds into the first line
	b.Power(false)
	require.Less(t, len(sent), 20)
	require.NotEmpty(t, sent)
	require.Empty(t, b.Advance(time.Minute))
	b.Power(true)
	require.Len(t, shownGrams(t, b.Advance(1050*time.Millisecond)), 10)
}
