package scaledrv

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

var bareShape = shapeNamed("bare", ShapeOptions{})

// scriptedLink opens pipes whose other end a test has; or fails.
type scriptedLink struct {
	scale net.Conn
	fail  error
}

func (*scriptedLink) Name() string { return "/dev/ttyUSB0" }

func (l *scriptedLink) Open(context.Context) (Port, error) {
	if l.fail != nil {
		return nil, l.fail
	}
	var near net.Conn
	near, l.scale = net.Pipe()
	return near, nil
}

func openRecorded(t *testing.T, r *Recording) Port {
	t.Helper()
	port, err := r.Open(t.Context())
	require.NoError(t, err)
	return port
}

func TestARecordingTellsWhatCameWhatWasSentAndWhatWasLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var text bytes.Buffer
		link := &scriptedLink{}
		r := Record(link, &text, shapeNamed("letter-status", ShapeOptions{}), nil)
		require.Equal(t, "/dev/ttyUSB0", r.Name())
		pass := func(d time.Duration) { time.Sleep(d) } // the bubble's time
		b := make([]byte, 100)

		pass(50*time.Millisecond + 999*time.Microsecond)
		port := openRecorded(t, r)
		pass(50 * time.Millisecond)
		go func() { _, _ = link.scale.Read(b) }()
		n, err := port.Write([]byte("SI\r\n"))
		require.NoError(t, err)
		require.Equal(t, 4, n)
		pass(20 * time.Millisecond)
		go func() { _, _ = link.scale.Write([]byte("S S   1.00 g\r\n\xff\x00")) }()
		n, err = port.Read(b)
		require.NoError(t, err)
		require.Equal(t, "S S   1.00 g\r\n\xff\x00", string(b[:n]))
		require.NoError(t, port.SetReadDeadline(time.Now().Add(time.Second)))
		_, err = port.Read(b)
		require.ErrorIs(t, err, os.ErrDeadlineExceeded, "silence is no loss")
		link.scale.Close()
		_, err = port.Read(b)
		require.Equal(t, io.EOF, err, "as it came")
		_, err = port.Write([]byte("SI\r\n"))
		require.ErrorIs(t, err, io.ErrClosedPipe)
		require.NoError(t, port.Close())

		link.fail = &LinkError{Op: "open serial port", Device: "/dev/ttyUSB0", Err: errors.New("gone\nfor good")}
		for range 3 {
			pass(time.Second)
			_, err = r.Open(t.Context())
			require.Equal(t, link.fail, err)
		}
		link.fail = nil
		pass(time.Second)
		port = openRecorded(t, r)
		require.NoError(t, port.Close())
		require.NoError(t, r.Close())
		require.NoError(t, r.Close(), "twice does no harm")
		r.comment("what comes after the end is not recorded")

		require.Equal(t, `# shape: letter-status   link: "/dev/ttyUSB0"   from: recorded 2000-01-01T00:00:00Z
# 0.050 opened
# 0.100 sent "SI\r\n"
0.120 "S S   1.00 g\r\n\xff\x00"
# 1.120 lost: EOF
# 1.120 not sent: io: read/write on closed pipe
# 2.120 not opened: open serial port "/dev/ttyUSB0": gone for good
# 5.120 opened
`, text.String())
		chunks, err := readRecording(&text)
		require.NoError(t, err)
		require.Len(t, chunks, 1)
	})
}

func TestARecordingIsAGoldenLogAsItIs(t *testing.T) {
	for _, tt := range []struct {
		shape    string
		opt      ShapeOptions
		came     string
		want     string // the head as far as the link
		readings int
	}{
		{"status-comma", ShapeOptions{}, line1, "# shape: status-comma   link: ", 2},
		{"bare", ShapeOptions{Unit: reading.UnitKG}, "1.5\r\n", "# shape: bare   unit: kg   link: ", 2},
		{"pattern", ShapeOptions{Pattern: `(?P<value>[0-9.]+)(?P<unit>k?g)`}, "1.5kg\r\n",
			"# shape: pattern   pattern: '(?P<value>[0-9.]+)(?P<unit>k?g)'   link: ", 2},
		{"pattern", ShapeOptions{Pattern: `(?P<value>[0-9.]+)'(?:   unit: kg   )?`, Unit: reading.UnitG}, "1.5'\r\n",
			"# shape: pattern   pattern: '(?P<value>[0-9.]+)''(?:   unit: kg   )?'   unit: g   link: ", 2},
	} {
		t.Run(tt.want, func(t *testing.T) {
			var text bytes.Buffer
			synctest.Test(t, func(t *testing.T) {
				link := &scriptedLink{}
				r := Record(link, &text, shapeNamed(tt.shape, tt.opt), nil)
				port := openRecorded(t, r)
				go func() { _, _ = link.scale.Write([]byte("\r\n" + tt.came + tt.came + tt.came)) }()
				_, err := port.Read(make([]byte, 100))
				require.NoError(t, err)
				require.NoError(t, port.Close())
				require.NoError(t, r.Close())
			})
			require.True(t, strings.HasPrefix(text.String(), tt.want), text.String())
			opt := optionsOf(t, text.String())
			require.Equal(t, tt.opt, opt)
			chunks, err := readRecording(strings.NewReader(text.String()))
			require.NoError(t, err)
			require.Equal(t, tt.readings, strings.Count(replay(t, shapeNamed(tt.shape, opt), chunks), " up "))
		})
	}
}

func TestARecordingPlaysTheSameChunksAtTheSameTimes(t *testing.T) {
	folder := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		sent := rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) recorded {
			return recorded{
				time.Duration(rapid.IntRange(0, 3_000_000).Draw(rt, "wait")) * time.Microsecond, // after the one before
				rapid.SliceOfN(rapid.Byte(), 1, 300).Draw(rt, "bytes"),
			}
		}), 0, 20).Draw(rt, "sent")
		speed := rapid.SampledFrom([]int{1, 2, 4, 5, 1000}).Draw(rt, "speed") // each divides a millisecond exactly
		path := filepath.Join(folder, "a.log")
		var read, played []recorded
		var lost, end error
		synctest.Test(t, func(t *testing.T) {
			var text bytes.Buffer
			link := &scriptedLink{}
			r := Record(link, &text, bareShape, nil)
			port := openRecorded(t, r)
			go func() {
				for _, c := range sent {
					time.Sleep(c.at) // the bubble's time
					_, _ = link.scale.Write(c.bytes)
				}
				link.scale.Close()
			}()
			read, lost = readAll(port)
			require.NoError(t, port.Close())
			require.NoError(t, r.Close())
			require.NoError(t, os.WriteFile(path, text.Bytes(), 0o600))

			port, err := parseLink(t, fmt.Sprintf("replay:%s?speed=%d", path, speed)).Open(t.Context())
			require.NoError(t, err)
			played, end = readAll(port)
			require.NoError(t, port.Close())
		})
		require.Equal(rt, io.EOF, lost)
		require.ErrorIs(rt, end, errRecordingEnded)
		require.Len(rt, read, len(sent))
		for i := range read {
			require.Equal(rt, sent[i].bytes, read[i].bytes)
			read[i].at = read[i].at.Truncate(time.Millisecond) / time.Duration(speed)
		}
		require.Equal(rt, read, played)
	})
}

func TestAReadOfMoreThanARecordingsLineHoldsIsRecordedInParts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var text bytes.Buffer
		link := &scriptedLink{}
		r := Record(link, &text, bareShape, nil)
		port := openRecorded(t, r)
		flood := bytes.Repeat([]byte{0}, 100_000)
		go func() { _, _ = link.scale.Write(flood) }()
		n, err := port.Read(make([]byte, len(flood)))
		require.NoError(t, err)
		require.Equal(t, len(flood), n)
		require.NoError(t, port.Close())
		require.NoError(t, r.Close())
		chunks, err := readRecording(&text)
		require.NoError(t, err)
		var got []byte
		for _, c := range chunks {
			got = append(got, c.bytes...)
		}
		require.Equal(t, flood, got)
	})
}

// heldDisk takes nothing until it is let go.
type heldDisk struct {
	text bytes.Buffer
	let  chan struct{}
}

func (d *heldDisk) Write(b []byte) (int, error) {
	<-d.let
	return d.text.Write(b)
}

func TestADiskThatHangsHoldsNoReadBackAndTheGapIsToldOf(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &heldDisk{let: make(chan struct{})}
		link := &scriptedLink{}
		r := Record(link, disk, bareShape, nil)
		port := openRecorded(t, r)
		read := func(text string) {
			go func() { _, _ = link.scale.Write([]byte(text)) }()
			b := make([]byte, 100)
			n, err := port.Read(b)
			require.NoError(t, err)
			require.Equal(t, text, string(b[:n]))
		}
		started := time.Now()
		for i := range maxQueued + 50 {
			read(fmt.Sprintf("%06d", i))
		}
		require.Zero(t, time.Since(started), "no read has waited")
		synctest.Wait()
		close(disk.let)
		synctest.Wait()
		read("later")
		require.NoError(t, port.Close())
		require.NoError(t, r.Close())

		chunks, err := readRecording(strings.NewReader(disk.text.String()))
		require.NoError(t, err)
		require.Equal(t, "later", string(chunks[len(chunks)-1].bytes))
		kept := len(chunks) - 1
		require.GreaterOrEqual(t, kept, maxQueued-1, "one place was taken by the opening")
		for i, c := range chunks[:kept] {
			require.Equal(t, fmt.Sprintf("%06d", i), string(c.bytes))
		}
		require.Contains(t, disk.text.String(), fmt.Sprintf("\n# gap: the disk was too slow, %d bytes are missing here\n0.000 \"later\"\n", 6*(maxQueued+50-kept)))
	})
}

func TestAGapAtTheEndIsToldOfToo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &heldDisk{let: make(chan struct{})}
		r := Record(&scriptedLink{}, disk, bareShape, nil)
		synctest.Wait() // the head is being written
		for range maxQueued + 3 {
			r.add(7, "%s %s\n", `"1234567"`)
		}
		time.AfterFunc(time.Second-1, func() { close(disk.let) })
		require.NoError(t, r.Close(), "it waits for its queue")
		require.True(t, strings.HasSuffix(disk.text.String(), "\"1234567\"\n# gap: the disk was too slow, 21 bytes are missing here\n"))
	})
}

func TestClosingWaitsForADiskASecondAtMost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &heldDisk{let: make(chan struct{})}
		r := Record(&scriptedLink{}, disk, bareShape, nil)
		started := time.Now()
		require.EqualError(t, r.Close(), `end the recording of "/dev/ttyUSB0": its last lines are not written after 1 s (the disk is slow or hangs: check it)`)
		require.Equal(t, time.Second, time.Since(started))
		close(disk.let)
	})
}

// fullDisk takes so many writes.
type fullDisk struct{ free, writes atomic.Int32 }

func (d *fullDisk) Write(b []byte) (int, error) {
	d.writes.Add(1)
	if d.free.Add(-1) < 0 {
		return 0, syscall.ENOSPC
	}
	return len(b), nil
}

func TestAFullDiskIsLoggedOnceAndEndsTheRecordingNotTheReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fullDisk{}
		disk.free.Store(2)
		var log bytes.Buffer
		link := &scriptedLink{}
		r := Record(link, disk, bareShape, slog.New(slog.NewTextHandler(&log, nil)))
		port := openRecorded(t, r)
		for range 2 * maxQueued {
			go func() { _, _ = link.scale.Write([]byte("1.0 g\r\n")) }()
			_, err := port.Read(make([]byte, 100))
			require.NoError(t, err)
		}
		require.NoError(t, port.Close())
		require.NoError(t, r.Close())
		require.EqualValues(t, 3, disk.writes.Load(), "head, opening, and the one that failed")
		require.Equal(t, 1, strings.Count(log.String(), "\n"))
		require.Contains(t, log.String(), `level=ERROR msg="recording ended" link=/dev/ttyUSB0 err="no space left on device"`)
	})
}

func TestANewRecordingsFile(t *testing.T) {
	name := RecordingName("bench-1", "small", time.Date(2026, 11, 25, 23, 41, 0, 0, time.FixedZone("", 3600)))
	require.Equal(t, "bench-1-small-20261125T224100Z.log", name)
	folder := filepath.Join(t.TempDir(), "made")
	path := filepath.Join(folder, name)
	file, err := CreateRecording(path)
	require.NoError(t, err)
	_, err = file.WriteString("first")
	require.NoError(t, err)
	require.NoError(t, file.Close())

	_, err = CreateRecording(path)
	require.ErrorIs(t, err, os.ErrExist)
	require.ErrorContains(t, err, "(a recording is never overwritten: move this one away, or name another)")
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "first", string(kept))

	_, err = CreateRecording(filepath.Join(folder, "no", "folder", name))
	require.ErrorContains(t, err, "make the folder of a recording: ")
	_, err = CreateRecording(filepath.Join(path, name))
	require.ErrorContains(t, err, "start a recording: ")
}
