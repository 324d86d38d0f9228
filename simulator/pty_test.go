//go:build linux

package simulator

import (
	"io"
	"os"
	"regexp"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// openFar opens the far end as a plain file on the runtime's poller, with a deadline for all of the test.
func openFar(t *testing.T, p *PTY) *os.File {
	t.Helper()
	f, err := os.OpenFile(p.Path(), os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	require.NoError(t, err)
	require.NoError(t, f.SetReadDeadline(time.Now().Add(10*time.Second)))
	t.Cleanup(func() { f.Close() })
	return f
}

func newPTY(t *testing.T) *PTY {
	t.Helper()
	p, err := OpenPTY()
	require.NoError(t, err)
	t.Cleanup(func() { p.Close() })
	return p
}

// unread is how many bytes wait at the far end.
func unread(p *PTY) (n int) {
	control(p.far, func(fd int) (err error) {
		n, err = unix.IoctlGetInt(fd, unix.TIOCINQ)
		return err
	})
	return n
}

func TestEveryByteComesThroughAsItIs(t *testing.T) {
	p := newPTY(t)
	far := openFar(t, p)
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for chunk := range slices.Chunk(all, 100) {
		_, err := p.Write(chunk)
		require.NoError(t, err)
		got := make([]byte, len(chunk))
		_, err = io.ReadFull(far, got)
		require.NoError(t, err)
		require.Equal(t, chunk, got)
	}
}

func TestNothingComesBackOfWhatIsSent(t *testing.T) {
	p := newPTY(t)
	far := openFar(t, p)
	_, err := p.Write([]byte("to the reader\r\n"))
	require.NoError(t, err)
	_, err = io.ReadFull(far, make([]byte, len("to the reader\r\n"))) // now an echo would be on its way
	require.NoError(t, err)
	_, err = far.Write([]byte("from the reader\r\n"))
	require.NoError(t, err)
	require.NoError(t, p.near.SetReadDeadline(time.Now().Add(10*time.Second)))
	got := make([]byte, len("from the reader\r\n"))
	_, err = io.ReadFull(p.near, got)
	require.NoError(t, err)
	require.Equal(t, "from the reader\r\n", string(got), "no echo before it")
}

func TestLinesThatNobodyReadsAreNotKept(t *testing.T) {
	p := newPTY(t)
	old, fresh := []byte("ST,GS,+000001.0  g\r\n"), []byte("ST,GS,+000002.0  g\r\n")
	for range 500 { // more than a terminal holds
		before := unread(p)
		_, err := p.Write(old)
		require.NoError(t, err)
		if before >= mostUnread {
			before = 0
		}
		for unread(p) < before+len(old) { // the kernel brings them over in its own time
			runtime.Gosched()
		}
	}
	far := openFar(t, p)
	_, err := p.Write(fresh)
	require.NoError(t, err)
	var got []byte
	for !slices.Contains(got, '2') || got[len(got)-1] != '\n' {
		part := make([]byte, 4096)
		n, err := far.Read(part)
		require.NoError(t, err)
		got = append(got, part[:n]...)
	}
	require.LessOrEqual(t, len(got), mostUnread+2*len(fresh))
}

func TestCloseEndsAWriteThatWaits(t *testing.T) {
	p := newPTY(t)
	ended := make(chan error, 1)
	go func() {
		var err error
		for err == nil {
			_, err = p.Write(make([]byte, 1<<20)) // far more than a terminal holds
		}
		ended <- err
	}()
	for unread(p) < 1000 { // full, or about to be
		runtime.Gosched()
	}
	require.NoError(t, p.Close())
	select {
	case err := <-ended:
		require.Error(t, err)
	case <-time.After(10 * time.Second):
		t.Fatal("the write still waits")
	}
	_, err := p.Write([]byte("x"))
	require.Error(t, err)
}

func TestAReaderSeesTheEndOfAClosedPTY(t *testing.T) {
	p := newPTY(t)
	far := openFar(t, p)
	require.NoError(t, p.Close())
	_, err := far.Read(make([]byte, 1))
	require.Error(t, err)
	require.NotErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestABenchOnARealPTYSendsWholeLines(t *testing.T) {
	p := newPTY(t)
	far := openFar(t, p)
	b := newBench(t, Options{Scale: ScaleOptions{RateHz: 50, Baud: 115200}})
	stop := start(t, b, p)
	defer stop()
	got := make([]byte, 20*20)
	_, err := io.ReadFull(far, got)
	require.NoError(t, err)
	require.Len(t, shownGrams(t, got), 20)
}

func TestABenchOnARealPTYDamagesItsLines(t *testing.T) {
	p := newPTY(t)
	far := openFar(t, p)
	b := newBench(t, Options{Scale: ScaleOptions{RateHz: 50, Baud: 115200}, Damage: DamageOptions{Merge: 1}})
	stop := start(t, b, p)
	defer stop()
	got := make([]byte, 18*20)
	_, err := io.ReadFull(far, got)
	require.NoError(t, err)
	require.Regexp(t, `^([SU][TS],GS,[+-]\d{6}\.\d  g){20}$`, string(got), "every line end is lost")
}

// setFar sets a far end's speed and stop bits, as a program does that opens a port.
func setFar(t *testing.T, far *os.File, speed, stopBits uint32) {
	t.Helper()
	require.NoError(t, control(far, func(fd int) error {
		tio, err := unix.IoctlGetTermios(fd, unix.TCGETS)
		if err != nil {
			return err
		}
		tio.Cflag = tio.Cflag&^(unix.CBAUD|unix.CSTOPB) | speed | stopBits
		return unix.IoctlSetTermios(fd, unix.TCSETSF, tio) // and drops what came before
	}))
}

// readUntil reads until what came in all matches.
func readUntil(t *testing.T, far *os.File, matches func([]byte) bool) []byte {
	t.Helper()
	var got []byte
	for !matches(got) {
		part := make([]byte, 4096)
		n, err := far.Read(part)
		require.NoError(t, err, "so far: %q", got)
		got = append(got, part[:n]...)
	}
	return got
}

var wholeLine = regexp.MustCompile(`[SU][TS],GS,[+-]\d{6}\.\d  g\r\n`)

func TestASpeedOtherThanTheScalesIsReadAsRubbish(t *testing.T) {
	p := newPTY(t)
	b := newBench(t, Options{Scale: ScaleOptions{RateHz: 40, Baud: 19200, Frame: "7E1"}})
	require.NoError(t, p.Honour(b.UART()))
	far := openFar(t, p)
	stop := start(t, b, p)
	defer stop()
	readUntil(t, far, wholeLine.Match) // it begins at the scale's own
	setFar(t, far, unix.B9600, 0)
	readUntil(t, far, func([]byte) bool { return heardBy(b).Baud == 9600 })
	rubbish := readUntil(t, far, func(got []byte) bool { return len(got) > 200 })
	require.Contains(t, string(rubbish), "\x00")
	require.Less(t, len(wholeLine.FindAll(rubbish, -1)), 2, "what was under way may be whole: %q", rubbish)
	setFar(t, far, unix.B19200, unix.CSTOPB)
	readUntil(t, far, wholeLine.Match)
	require.Equal(t, UART{19200, 7, 'E', 2}, heardBy(b), "stop bits are seen, and make no difference to a receiver")
}

func heardBy(b *Bench) UART {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.wire.far
}

func TestTheFarEndCountsFromHonourOn(t *testing.T) {
	p := newPTY(t)
	_, counts := p.FarEnd()
	require.False(t, counts)
	for _, want := range []UART{{1200, 8, 'N', 1}, {9600, 7, 'O', 2}, {115200, 8, 'N', 1}} {
		require.NoError(t, p.Honour(want))
		got, counts := p.FarEnd()
		require.True(t, counts)
		require.Equal(t, want, got)
	}
	require.ErrorContains(t, p.Honour(UART{12345, 8, 'N', 1}), "to 12345 baud: no such speed")
}

func TestWhatTheHostWritesReachesTheScale(t *testing.T) {
	p := newPTY(t)
	far := openFar(t, p)
	b := newBench(t, Options{Scale: ScaleOptions{Shape: "letter-status", OnRequest: []byte("SI\r\n")}})
	stop := start(t, b, p)
	for range 3 {
		_, err := far.Write([]byte("SI\r\n"))
		require.NoError(t, err)
		got := readUntil(t, far, func(got []byte) bool { return slices.Contains(got, '\n') })
		require.Regexp(t, `^S [SD]       [ -]0\.\d g\r\n$`, string(got))
	}
	stop()
	stop = start(t, b, p) // a second run reads again
	defer stop()
	_, err := far.Write([]byte("SI\r\n"))
	require.NoError(t, err)
	readUntil(t, far, func(got []byte) bool { return slices.Contains(got, '\n') })
}

func TestABenchGoesOnAfterItIsUnpluggedAndPluggedInAgain(t *testing.T) {
	b := newBench(t, Options{Scale: quiet(ScaleOptions{RateHz: 50, Baud: 115200})})
	first := newPTY(t)
	far := openFar(t, first)
	stop := start(t, b, first)
	readUntil(t, far, wholeLine.Match)
	require.NoError(t, first.Close())
	_, err := io.ReadAll(far)
	require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "the reader's port is gone")
	stop()

	second := newPTY(t)
	far = openFar(t, second)
	stop = start(t, b, second)
	defer stop()
	require.Regexp(t, `ST,GS,\+000000\.0`, string(readUntil(t, far, regexp.MustCompile("ST.*\n").Match)))
}
