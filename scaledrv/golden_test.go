package scaledrv

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the .want files")

// TestGoldenLogs replays testdata/SHAPE/*.log, with its timing, through a driver. A log is a head of lines that begin
// with #, then pairs of a time in seconds and a quoted chunk of bytes. Beside it, in .want, stands what came out.
func TestGoldenLogs(t *testing.T) {
	logs, err := filepath.Glob("testdata/*/*.log")
	require.NoError(t, err)
	require.NotEmpty(t, logs)
	for _, path := range logs {
		t.Run(strings.TrimPrefix(path, "testdata/"), func(t *testing.T) {
			shape, err := ShapeByName(filepath.Base(filepath.Dir(path)), ShapeOptions{})
			require.NoError(t, err)
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			chunks, err := parseLog(string(text))
			require.NoError(t, err)
			got := replay(t, shape, chunks)
			want := strings.TrimSuffix(path, ".log") + ".want"
			if *update {
				require.NoError(t, os.WriteFile(want, []byte(got), 0o644))
			}
			wanted, err := os.ReadFile(want)
			require.NoError(t, err)
			require.Equal(t, string(wanted), got)
		})
	}
}

type logChunk struct {
	at    time.Duration
	bytes string
}

func parseLog(text string) (chunks []logChunk, err error) {
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		for line != "" && !strings.HasPrefix(line, "#") {
			at, rest, _ := strings.Cut(line, " ")
			seconds, err := time.ParseDuration(at + "s")
			if err != nil {
				return nil, err
			}
			rest = strings.TrimSpace(rest)
			quoted, err := strconv.QuotedPrefix(rest)
			if err != nil {
				return nil, fmt.Errorf("%w: %s", err, rest)
			}
			bytes, err := strconv.Unquote(quoted)
			if err != nil {
				return nil, err
			}
			chunks = append(chunks, logChunk{seconds, bytes})
			line = strings.TrimSpace(rest[len(quoted):])
		}
	}
	return chunks, nil
}

// replay gives one line for each event and each growth of the rejected bytes, until three seconds after the last chunk.
func replay(t *testing.T, shape Shape, chunks []logChunk) string {
	var out strings.Builder
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		start := time.Now()
		said := make(chan string, 10_000)
		say := func(what string) { said <- fmt.Sprintf("%.3f %s\n", time.Since(start).Seconds(), what) }
		link := &fakeLink{}
		d := Start(ctx, link, shape, Options{})
		go func() {
			for e := range d.Events() {
				say(e.String())
			}
		}()
		synctest.Wait()
		rejected := uint64(0)
		for _, c := range chunks {
			time.Sleep(c.at - time.Since(start)) // the bubble's time
			_, err := link.scale().Write([]byte(c.bytes))
			require.NoError(t, err)
			synctest.Wait()
			if now := d.Stats().RejectedBytes; now > rejected {
				say(fmt.Sprintf("rejected %d bytes", now-rejected))
				rejected = now
			}
		}
		time.Sleep(3 * time.Second)
		stop()
		synctest.Wait()
		close(said)
		for line := range said {
			out.WriteString(line)
		}
	})
	return out.String()
}
