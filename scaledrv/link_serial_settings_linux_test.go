package scaledrv

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// The flags are POSIX.1-2017 (IXON, IXOFF) and termios(3) of Linux (CRTSCTS), read back through a second descriptor.
func TestFlowControlIsAsAskedFor(t *testing.T) {
	for _, tt := range []struct {
		flow              string
		xonxoff, hardware bool
	}{{"none", false, false}, {"xonxoff", true, false}, {"rtscts", false, true}} {
		t.Run(tt.flow, func(t *testing.T) {
			scale, tty, err := pty.Open()
			require.NoError(t, err)
			defer scale.Close()
			defer tty.Close()
			// As another program may have left it.
			before, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS)
			require.NoError(t, err)
			before.Iflag |= unix.IXON | unix.IXOFF | unix.IXANY
			before.Cflag |= unix.CRTSCTS
			require.NoError(t, unix.IoctlSetTermios(int(tty.Fd()), unix.TCSETS, before))

			open(t, tty.Name()+"?baud=4800&frame=8N2&flow="+tt.flow)
			got, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS)
			require.NoError(t, err)
			require.Equal(t, tt.xonxoff, got.Iflag&unix.IXON != 0)
			require.Equal(t, tt.xonxoff, got.Iflag&unix.IXOFF != 0)
			require.Zero(t, got.Iflag&unix.IXANY, "only XON ends XOFF")
			require.Equal(t, tt.hardware, got.Cflag&unix.CRTSCTS != 0)
			require.EqualValues(t, unix.B4800, got.Cflag&unix.CBAUD, "the library's settings stay")
			require.NotZero(t, got.Cflag&unix.CSTOPB)
			require.Zero(t, got.Lflag&(unix.ICANON|unix.ECHO|unix.ISIG))
		})
	}
}

const xon, xoff = 0x11, 0x13

// A scale that has said XOFF takes no bytes.
func TestXOFFHoldsAWriteBackUntilXONItsDeadlineOrClose(t *testing.T) {
	scale, path, _ := openPTY(t)
	port := open(t, path+"?flow=xonxoff")
	_, err := scale.Write([]byte{'a', xoff, 'b'})
	require.NoError(t, err)
	require.NoError(t, port.SetReadDeadline(time.Now().Add(patience)))
	got := make([]byte, 10)
	_, err = io.ReadFull(port, got[:2])
	require.NoError(t, err)
	require.Equal(t, "ab", string(got[:2]), "the system keeps XOFF")

	require.NoError(t, port.SetWriteDeadline(time.Now().Add(50*time.Millisecond)))
	_, err = port.Write([]byte("SI\r\n"))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)

	require.NoError(t, port.SetWriteDeadline(time.Time{}))
	wrote := make(chan error)
	go func() { _, err := port.Write([]byte("SI\r\n")); wrote <- err }()
	_, err = scale.Write([]byte{xon})
	require.NoError(t, err)
	require.NoError(t, within(t, wrote))
	n, err := io.ReadAtLeast(scale, got, 4)
	require.NoError(t, err)
	require.Equal(t, "SI\r\n", string(got[:n]))

	_, err = scale.Write([]byte{xoff, 'c'})
	require.NoError(t, err)
	_, err = io.ReadFull(port, got[:1])
	require.NoError(t, err)
	go func() { _, err := port.Write([]byte("SI\r\n")); wrote <- err }()
	closed := make(chan error)
	go func() { closed <- port.Close() }()
	require.NoError(t, within(t, closed))
	require.ErrorIs(t, within(t, wrote), os.ErrClosed)
}

func TestWithoutModemLinesOnlyOffIsRefused(t *testing.T) {
	_, path, _ := openPTY(t)
	open(t, path+"?dtr=on&rts=on").Close()
	open(t, path+"?flow=rtscts").Close()
	for _, line := range []string{"dtr", "rts"} {
		_, err := parseLink(t, "serial:"+path+"?"+line+"=off").Open(t.Context())
		require.ErrorContains(t, err, fmt.Sprintf(`switch %s of serial port "%s": `, strings.ToUpper(line), path))
		require.ErrorContains(t, err, "(leave "+line+"=off out if this port has no such line)")
		open(t, path).Close() // the failed opening has let it go
	}
}

// linePort has modem lines, which a pseudo-terminal has not.
type linePort struct {
	serial.Port
	set  []string
	fail error
}

func (p *linePort) note(name string, on bool) error {
	p.set = append(p.set, fmt.Sprint(name, on))
	return p.fail
}

func (p *linePort) SetDTR(on bool) error { return p.note("dtr ", on) }
func (p *linePort) SetRTS(on bool) error { return p.note("rts ", on) }

func TestModemLinesAreSetAsConfigured(t *testing.T) {
	for _, tt := range []struct {
		settings string
		want     []string
	}{
		{"", []string{"dtr true", "rts true"}},
		{"?dtr=off", []string{"dtr false", "rts true"}},
		{"?rts=off", []string{"dtr true", "rts false"}},
		{"?flow=rtscts&dtr=off", []string{"dtr false"}}, // flow control moves RTS
	} {
		t.Run(tt.settings, func(t *testing.T) {
			port := &linePort{}
			require.NoError(t, parseLink(t, "serial:/dev/ttyUSB0"+tt.settings).(*serialLink).setModemLines(port))
			require.Equal(t, tt.want, port.set)
		})
	}
	err := on9600("/dev/ttyUSB0", nil).setModemLines(&linePort{fail: syscall.EIO})
	require.EqualError(t, err, `switch DTR of serial port "/dev/ttyUSB0": input/output error (hung up or unplugged: check the adapter and its cable)`)
}

func (p *linePort) ResetOutputBuffer() error { p.set = append(p.set, "drop output"); return p.fail }
func (p *linePort) Close() error             { p.set = append(p.set, "close"); return nil }

// A pseudo-terminal does not wait for its output, as a serial port does; that the system then has nothing to wait for is
// not tested.
func TestCloseDropsWhatTheScaleHasNotTaken(t *testing.T) {
	settings := &linePort{fail: syscall.EIO}
	file, err := os.Open(os.DevNull)
	require.NoError(t, err)
	require.NoError(t, (&filePort{File: file, settings: settings}).Close(), "of an unplugged port there is none")
	require.Equal(t, []string{"drop output", "close"}, settings.set)
	require.ErrorIs(t, file.Close(), os.ErrClosed)
}

// asNobody runs on a thread of its own that has given up root. The thread ends with it.
func asNobody(t *testing.T, do func()) {
	t.Helper()
	done := make(chan syscall.Errno)
	go func() {
		runtime.LockOSThread() // and never unlocked
		if os.Getuid() == 0 {
			const nobody = 65534
			for _, call := range [][2]uintptr{{unix.SYS_SETGROUPS, 0}, {unix.SYS_SETRESGID, nobody}, {unix.SYS_SETRESUID, nobody}} { // of this thread only
				if _, _, errno := unix.RawSyscall(call[0], call[1], call[1], call[1]); errno != 0 {
					done <- errno
					return
				}
			}
		}
		do()
		done <- 0
	}()
	require.Zero(t, <-done)
}

func TestASecondReaderThatIsNotRootIsRefusedByTheSystem(t *testing.T) {
	_, path, _ := openPTY(t)
	require.NoError(t, os.Chmod(path, 0o666))
	first := open(t, path)
	var plain, ours error
	asNobody(t, func() {
		_, plain = os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY, 0) // asks for no lock
		_, ours = parseLink(t, "serial:"+path).Open(t.Context())
	})
	require.ErrorIs(t, plain, syscall.EBUSY)
	require.ErrorContains(t, ours, `open serial port "`+path+`": device or resource busy (another program reads this port: end it`)
	require.NoError(t, first.Close())
	asNobody(t, func() {
		var port Port
		if port, ours = parseLink(t, "serial:"+path).Open(t.Context()); ours == nil {
			ours = port.Close()
		}
	})
	require.NoError(t, ours)
}

// On Debian and its kin group 1 is daemon, 20 is dialout; the name is looked for in the system's own list.
func TestNoPermissionNamesTheGroupThatHasIt(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root can give a device to a group")
	}
	groups, err := os.ReadFile("/etc/group")
	require.NoError(t, err)
	name, rest, _ := strings.Cut(strings.Split(string(groups), "\n")[1], ":")
	var gid int
	_, err = fmt.Sscanf(rest, "x:%d:", &gid)
	require.NoError(t, err)

	_, path, _ := openPTY(t)
	refused := func() (err error) {
		asNobody(t, func() { _, err = parseLink(t, "serial:"+path).Open(t.Context()) })
		return err
	}
	require.NoError(t, os.Chown(path, 0, gid))
	require.NoError(t, os.Chmod(path, 0o660))
	require.EqualError(t, refused(), `open serial port "`+path+`": permission denied (add the user to group `+name+`)`)
	require.NoError(t, os.Chown(path, 0, 4_000_000))
	require.EqualError(t, refused(), `open serial port "`+path+`": permission denied (add the user to the group with the number 4000000)`)
	require.NoError(t, os.Chmod(path, 0o600))
	require.EqualError(t, refused(), `open serial port "`+path+`": permission denied (no group may read and write this device: add a udev rule that gives it to group dialout)`)
}

// The reader asks for no lock and was here first.
func TestAProgramThatReadsThePortAlreadyIsNamed(t *testing.T) {
	_, path, _ := openPTY(t)
	reader := exec.Command("sh", "-c", `exec <"$0"; echo ready; read -r line`, path)
	reader.SysProcAttr = &syscall.SysProcAttr{Setsid: true} // so that the terminal's end does not end the test
	said, err := reader.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, reader.Start())
	ended := false
	end := func() {
		if !ended {
			ended = true
			_ = reader.Process.Kill()
			_ = reader.Wait()
		}
	}
	t.Cleanup(end)
	_, err = bufio.NewReader(said).ReadString('\n')
	require.NoError(t, err)

	_, err = parseLink(t, "serial:"+path).Open(t.Context())
	require.EqualError(t, err, fmt.Sprintf(`open serial port "%s": device or resource busy (another program reads this port: end it: pid %d (sh))`, path, reader.Process.Pid))
	known, ok := errors.AsType[*LinkError](err)
	require.True(t, ok)
	require.Equal(t, path, known.Device)
	end()
	open(t, path)
}
