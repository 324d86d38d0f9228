package scaledrv

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

var update = flag.Bool("update", false, "rewrite the .want files")

// TestGoldenLogs replays testdata/SHAPE/*.log, which are recordings, with their timing through a driver. The head tells
// the shape's unit and pattern, where it needs them. Beside the log, in .want, stands what came out.
func TestGoldenLogs(t *testing.T) {
	logs, err := filepath.Glob("testdata/*/*.log")
	require.NoError(t, err)
	require.NotEmpty(t, logs)
	for _, path := range logs {
		t.Run(strings.TrimPrefix(path, "testdata/"), func(t *testing.T) {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			shape, err := ShapeByName(filepath.Base(filepath.Dir(path)), optionsOf(t, string(text)))
			require.NoError(t, err)
			chunks, err := readRecording(bytes.NewReader(text))
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

var head = regexp.MustCompile(`^# shape: \S+(?:   pattern: '((?:[^']|'')*)')?(?:   unit: (\S+))?   `)

// optionsOf are what the head of a log tells its shape.
func optionsOf(t *testing.T, text string) (opt ShapeOptions) {
	m := head.FindStringSubmatch(text)
	require.NotNil(t, m, "no head")
	opt.Pattern = strings.ReplaceAll(m[1], "''", "'")
	if m[2] != "" {
		unit, err := reading.ParseUnit(m[2])
		require.NoError(t, err)
		opt.Unit = unit
	}
	return opt
}

// replay gives one line for each event and each growth of the rejected bytes, until three seconds after the last chunk.
func replay(t *testing.T, shape Shape, chunks []recorded) string {
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
			_, err := link.scale().Write(c.bytes)
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
