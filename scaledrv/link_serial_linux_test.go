package scaledrv

import (
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
)

// openPTY gives the scale's end of a pseudo-terminal and the path of ours. Both ends live until pull is called.
func openPTY(t *testing.T) (scale *os.File, path string, pull func()) {
	t.Helper()
	scale, tty, err := pty.Open()
	require.NoError(t, err)
	pull = func() { scale.Close(); tty.Close() }
	t.Cleanup(pull)
	return scale, tty.Name(), pull
}

func open(t *testing.T, path string) Port {
	t.Helper()
	port, err := parseLink(t, "serial:"+path).Open(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { port.Close() })
	return port
}

func TestBytesOfASerialPortArriveAsTheyAre(t *testing.T) {
	scale, path, _ := openPTY(t)
	port := open(t, path+"?frame=7E1&baud=4800")
	var all [256]byte
	for i := range all {
		all[i] = byte(i) // CR, ^C, ^D, XOFF and the like mean something to a terminal that is not raw
	}
	_, err := scale.Write(all[:])
	require.NoError(t, err)
	require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
	got := make([]byte, len(all))
	_, err = io.ReadFull(port, got)
	require.NoError(t, err)
	require.Equal(t, all[:], got)

	require.NoError(t, port.SetReadDeadline(time.Now()))
	_, err = port.Read(got)
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestAProgramThatIsStartedDoesNotHoldThePort(t *testing.T) {
	_, path, _ := openPTY(t)
	open(t, path)
	child := exec.Command("cat")
	stdin, err := child.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	require.Empty(t, holders(path, os.Getpid()))
	require.NoError(t, stdin.Close())
	require.NoError(t, child.Wait())
}

func TestWhatLayInTheBufferBeforeOpeningIsDropped(t *testing.T) {
	scale, path, _ := openPTY(t)
	_, err := scale.Write([]byte("\nold\n"))
	require.NoError(t, err)
	port := open(t, path)
	_, err = scale.Write([]byte("new"))
	require.NoError(t, err)
	require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
	got := make([]byte, 3)
	_, err = io.ReadFull(port, got)
	require.NoError(t, err)
	require.Equal(t, "new", string(got))
}

// As root it is the lock that refuses, else it is the library's exclusive mode.
func TestASecondReaderIsToldOfTheFirst(t *testing.T) {
	_, path, _ := openPTY(t)
	first := open(t, path)
	link := filepath.Join(t.TempDir(), "scale")
	require.NoError(t, os.Symlink(path, link))
	second := parseLink(t, "serial:"+link)
	_, err := second.Open(t.Context())
	require.EqualError(t, err, `open serial port "`+link+`": device or resource busy (another program reads this port: end it)`)
	require.NoError(t, first.Close())
	port, err := second.Open(t.Context())
	require.NoError(t, err)
	require.NoError(t, port.Close())
}

func TestAPathThatIsNoSerialPort(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for _, tt := range []struct{ name, path, want string }{
		{"a missing node", folder + "/ttyUSB0", "no such file or directory (plug the adapter in, or correct the path)"},
		{"a folder", folder, "is a directory (this is no serial port: correct the path)"},
		{"a file", file, "inappropriate ioctl for device (this is no serial port: correct the path)"},
		{"a device that many hold", "/dev/null", "inappropriate ioctl for device (this is no serial port: correct the path)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := parseLink(t, "serial:"+tt.path).Open(t.Context())
			require.EqualError(t, err, `open serial port "`+tt.path+`": `+tt.want)
		})
	}
}

func TestDescriptorsDoNotLeak(t *testing.T) {
	_, path, pull := openPTY(t)
	link := parseLink(t, "serial:"+path)
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	round := func() {
		port, err := link.Open(t.Context())
		require.NoError(t, err)
		for path, why := range map[string]string{path: "busy", path + "no": "no such file", file: "no serial port"} {
			_, err = parseLink(t, "serial:"+path).Open(t.Context())
			require.ErrorContains(t, err, why) // a file left open, and so locked, would be busy the next time
		}
		require.NoError(t, port.Close())
	}
	round() // the runtime's poller has descriptors of its own
	before := descriptors(t)
	for range 20 {
		round()
	}
	require.Equal(t, before, descriptors(t))

	port, err := link.Open(t.Context())
	require.NoError(t, err)
	pull()
	require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
	_, err = port.Read(make([]byte, 1))
	require.EqualError(t, err, `read serial port "`+path+`": input/output error (hung up or unplugged: check the adapter and its cable)`)
	require.NoError(t, port.Close())
	require.Equal(t, before-2, descriptors(t), "both ends of the pseudo-terminal are closed, and ours too")
}

func descriptors(t *testing.T) int {
	t.Helper()
	open, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	return len(open)
}

// saysWhenOpen tells of each port that its link has opened.
type saysWhenOpen struct {
	Link
	opened chan struct{}
}

func (l saysWhenOpen) Open(ctx context.Context) (Port, error) {
	port, err := l.Link.Open(ctx)
	if err == nil {
		l.opened <- struct{}{}
	}
	return port, err
}

func TestAnUnpluggedAdapterComesBackUnderAnotherName(t *testing.T) {
	scale, path, pull := openPTY(t)
	name := filepath.Join(t.TempDir(), "scale")
	require.NoError(t, os.Symlink(path, name))
	link := saysWhenOpen{parseLink(t, "serial:"+name), make(chan struct{}, 1)}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	d := Start(ctx, link, statusCommaShape, Options{StaleAfter: time.Minute})

	within(t, link.opened)
	_, err := scale.Write([]byte("\r\n" + line1 + line2))
	require.NoError(t, err)
	require.Equal(t, "up 2.0 g stable", within(t, d.Events()).String())

	require.NoError(t, os.Remove(name)) // as with a device's node; and its number may be another pseudo-terminal's at once
	pull()
	lost := within(t, d.Events())
	require.Equal(t, `down read serial port "`+name+`": input/output error (hung up or unplugged: check the adapter and its cable)`, lost.String())
	away := within(t, d.Events())
	require.Equal(t, `down open serial port "`+name+`": no such file or directory (plug the adapter in, or correct the path)`, away.String())

	scale, path, _ = openPTY(t)
	require.NoError(t, os.Symlink(path, name))
	within(t, link.opened)
	_, err = scale.Write([]byte("\r\n" + line1 + line3))
	require.NoError(t, err)
	require.Equal(t, "up 3.0 g stable", within(t, d.Events()).String())
	require.Equal(t, Stats{Readings: 2, Bytes: 60, Reconnects: 1}, d.Stats())

	stop()
	_, more := <-d.Events()
	require.False(t, more)
	port := open(t, path) // nobody holds it any more
	require.NoError(t, port.Close())
}

// The way of other systems works here too, so it is tested here.
func TestThePortOverTheLibrarysRead(t *testing.T) {
	scale, path, pull := openPTY(t)
	library, err := serial.Open(path, &serial.Mode{BaudRate: 9600, DataBits: 8})
	require.NoError(t, err)
	port := newBeatPort(library, path)
	b := make([]byte, 100)

	_, err = scale.Write([]byte(line1))
	require.NoError(t, err)
	n, err := port.Read(b)
	require.NoError(t, err)
	require.Equal(t, line1[:n], string(b[:n]))
	for got := n; got < len(line1); got += n {
		n, err = port.Read(b)
		require.NoError(t, err)
	}

	require.NoError(t, port.SetWriteDeadline(time.Now().Add(patience)))
	n, err = port.Write([]byte("SI\r\n"))
	require.NoError(t, err)
	require.Equal(t, 4, n)
	n, err = io.ReadAtLeast(scale, b, 4)
	require.NoError(t, err)
	require.Equal(t, "SI\r\n", string(b[:n]))

	started := time.Now()
	require.NoError(t, port.SetReadDeadline(started.Add(beat+beat/2)))
	_, err = port.Read(b)
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	require.GreaterOrEqual(t, time.Since(started), beat+beat/2, "silent beats are waited through")

	require.NoError(t, port.SetReadDeadline(time.Time{}))
	failed := make(chan error)
	go func() { _, err := port.Read(b); failed <- err }()
	require.NoError(t, port.SetReadDeadline(time.Unix(1, 0)), "as at the end of the context, while it reads")
	require.ErrorIs(t, within(t, failed), os.ErrDeadlineExceeded)

	require.NoError(t, port.SetReadDeadline(time.Time{}))
	pull()
	_, err = port.Read(b)
	require.ErrorContains(t, err, `read serial port "`+path+`"`)
	require.True(t, strings.HasSuffix(err.Error(), "(hung up or unplugged: check the adapter and its cable)"), err)
	require.NoError(t, port.Close())
}
