package scaledrv

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// recordingFile keeps a recording's text and gives its path.
func recordingFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.log")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// readAll takes what a port gives until it fails, with the times.
func readAll(port Port) (chunks []recorded, err error) {
	started := time.Now()
	b := make([]byte, maxChunk)
	for {
		n, err := port.Read(b)
		if n > 0 {
			chunks = append(chunks, recorded{time.Since(started), append([]byte(nil), b[:n]...)})
		}
		if err != nil {
			return chunks, err
		}
	}
}

const ended = ": the recording has ended (it is played once: start the program again to play it anew)"

func TestARecordingIsPlayedOnceInItsOwnTimeOrFaster(t *testing.T) {
	path := recordingFile(t, "# head\n0.000 \"a\"  0.100 \"b\"  0.100 \"c\"\n# 0.150 sent \"SI\"\n1.000 \"\\x00\\r\\n\"\n3600.001 \"end\"\n")
	for _, tt := range []struct {
		query string
		want  []time.Duration
	}{
		{"", []time.Duration{0, 100 * time.Millisecond, 100 * time.Millisecond, time.Second, time.Hour + time.Millisecond}},
		{"?speed=4", []time.Duration{0, 25 * time.Millisecond, 25 * time.Millisecond, 250 * time.Millisecond, 15*time.Minute + 250*time.Microsecond}},
		{"?speed=0.5", []time.Duration{0, 200 * time.Millisecond, 200 * time.Millisecond, 2 * time.Second, 2*time.Hour + 2*time.Millisecond}},
	} {
		t.Run(tt.query, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				link := parseLink(t, "replay:"+path+tt.query)
				port, err := link.Open(t.Context())
				require.NoError(t, err)
				chunks, err := readAll(port)
				require.EqualError(t, err, `play recording "`+path+`"`+ended)
				for i, text := range []string{"a", "b", "c", "\x00\r\n", "end"} {
					require.Equal(t, recorded{tt.want[i], []byte(text)}, chunks[i])
				}
				require.Len(t, chunks, 5)
				require.NoError(t, port.Close())

				_, again := link.Open(t.Context())
				require.EqualError(t, again, err.Error(), "the same error, which the driver tells once")
			})
		})
	}
}

func TestADriverReadsAReplayAndTellsItsEndOnce(t *testing.T) {
	shape, err := ShapeByName("status-comma", ShapeOptions{})
	require.NoError(t, err)
	const path = "testdata/status-comma/moving-then-stable.log"
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithCancel(t.Context())
		started := time.Now()
		d := Start(ctx, parseLink(t, "replay:"+path+"?speed=2"), shape, Options{})
		first := <-d.Events()
		require.Equal(t, "up 0.0 g gross stable", first.String())
		require.Equal(t, started.Add(100*time.Millisecond), first.Reading.At, "0.200 s of the recording")
		time.Sleep(time.Minute) // the bubble's time: the driver tries again all the while
		stop()
		var rest []string
		for e := range d.Events() {
			rest = append(rest, e.String())
		}
		require.Len(t, rest, 14)
		require.Equal(t, []string{"up 101.1 g gross stable", `down play recording "` + path + `"` + ended}, rest[12:])
	})
}

func TestAReplayThatIsReadLateHandsOutLateAndGoesOnInTime(t *testing.T) {
	path := recordingFile(t, `0.100 "abc"  0.200 "d"  2.000 "e"`)
	synctest.Test(t, func(t *testing.T) {
		port, err := parseLink(t, "replay:"+path).Open(t.Context())
		require.NoError(t, err)
		defer port.Close()
		started := time.Now()
		time.Sleep(time.Second) // the bubble's time
		for _, want := range []recorded{{time.Second, []byte("ab")}, {time.Second, []byte("c")}, {time.Second, []byte("d")}, {2 * time.Second, []byte("e")}} {
			b := make([]byte, 2)
			n, err := port.Read(b)
			require.NoError(t, err)
			require.Equal(t, want, recorded{time.Since(started), b[:n]})
		}
	})
}

func TestTheDeadlinesOfAReplay(t *testing.T) {
	path := recordingFile(t, `1.000 "a"`)
	synctest.Test(t, func(t *testing.T) {
		port, err := parseLink(t, "replay:"+path).Open(t.Context())
		require.NoError(t, err)
		started := time.Now()
		b := make([]byte, 10)
		require.NoError(t, port.SetReadDeadline(started.Add(time.Second-1)))
		_, err = port.Read(b)
		require.ErrorIs(t, err, os.ErrDeadlineExceeded)
		require.Equal(t, time.Second-1, time.Since(started))

		require.NoError(t, port.SetReadDeadline(time.Time{}))
		failed := make(chan error, 1)
		time.AfterFunc(0, func() { _ = port.SetReadDeadline(time.Unix(1, 0)) }) // while it reads
		go func() { _, err := port.Read(b); failed <- err }()
		require.ErrorIs(t, <-failed, os.ErrDeadlineExceeded)

		require.NoError(t, port.SetReadDeadline(time.Time{}))
		n, err := port.Read(b)
		require.NoError(t, err)
		require.Equal(t, "a", string(b[:n]), "nothing is lost by a deadline")
		require.Equal(t, time.Second, time.Since(started))
		require.NoError(t, port.Close())
	})
}

func TestAReplayTakesWhatIsWrittenAndSendsItNowhere(t *testing.T) {
	port, err := parseLink(t, "replay:"+recordingFile(t, `0.000 "a"`)).Open(t.Context())
	require.NoError(t, err)
	require.NoError(t, port.SetWriteDeadline(time.Unix(1, 0)))
	n, err := port.Write([]byte("SI\r\n"))
	require.NoError(t, err)
	require.Equal(t, 4, n)
	require.NoError(t, port.Close())
}

func TestCloseEndsAReplay(t *testing.T) {
	path := recordingFile(t, "0.000 \"a\"\n3600.000 \"b\"\n")
	for _, tt := range []struct {
		name string
		read int // chunks before closing
	}{{"before anything is read", 0}, {"while it waits for a chunk's time", 1}} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				link := parseLink(t, "replay:"+path)
				port, err := link.Open(t.Context())
				require.NoError(t, err)
				started := time.Now()
				for range tt.read {
					_, err := port.Read(make([]byte, 1))
					require.NoError(t, err)
				}
				failed := make(chan error, 1)
				if tt.read > 0 {
					go func() { _, err := port.Read(make([]byte, 1)); failed <- err }()
				}
				synctest.Wait()
				require.NoError(t, port.Close())
				require.NoError(t, port.Close(), "twice does no harm")
				if tt.read > 0 {
					require.Error(t, <-failed)
				}
				require.Zero(t, time.Since(started))
				_, err = link.Open(t.Context())
				require.ErrorIs(t, err, errRecordingEnded, "what was poured is not poured twice")
			})
		})
	}
}

func TestARecordingThatCannotBePlayed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		path := recordingFile(t, "0.500 \"a\"\n# what follows was cut by hand\n\"b\"\n")
		link := parseLink(t, "replay:"+path)
		port, err := link.Open(t.Context())
		require.NoError(t, err)
		chunks, err := readAll(port)
		require.Equal(t, []recorded{{500 * time.Millisecond, []byte("a")}}, chunks)
		require.EqualError(t, err, `play recording "`+path+`": line 3: time "\"b\"": no seconds with three digits after the mark, such as 0.100 (correct line 3, or take it out)`)
		require.NoError(t, port.Close())
		_, err = link.Open(t.Context())
		require.ErrorIs(t, err, errRecordingEnded)
	})

	missing := parseLink(t, "replay:"+filepath.Join(t.TempDir(), "no.log"))
	for range 2 { // a file that comes later is played
		_, err := missing.Open(t.Context())
		require.EqualError(t, err, `play recording "`+missing.Name()+`": no such file or directory (correct the path, or the file's permissions)`)
	}
	folder := t.TempDir()
	port, err := parseLink(t, "replay:"+folder).Open(t.Context())
	require.NoError(t, err)
	_, err = readAll(port)
	require.EqualError(t, err, `play recording "`+folder+`": is a directory (correct the path, or the file's permissions)`)
	_, ok := errors.AsType[*LinkError](err)
	require.True(t, ok)
	require.NoError(t, port.Close())
}
