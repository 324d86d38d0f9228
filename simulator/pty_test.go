//go:build linux

package simulator

import (
	"io"
	"os"
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
