package simulator

import (
	"errors"
	"fmt"
	"os"
	"sync/atomic"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// PTY is a pseudo-terminal: a serial line whose near end is the bench's and whose far end has a path to open. It keeps the far end open itself, so that the line is whole before anyone opens it and after they leave.
type PTY struct {
	near, far *os.File
	scale     atomic.Pointer[UART] // set by Honour
}

// OpenPTY makes a pseudo-terminal that carries every byte as it is.
func OpenPTY() (*PTY, error) {
	near, far, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w (is /dev/pts mounted?)", err)
	}
	defer near.Close() // used by a descriptor of its own from here on
	p := &PTY{far: far}
	if p.near, err = unblocked(near); err == nil {
		err = makeRaw(far)
	}
	if err != nil {
		p.Close()
		return nil, fmt.Errorf("set the pseudo-terminal %q: %w", far.Name(), err)
	}
	return p, nil
}

// unblocked is the same file on the runtime's poller, so that Close ends a Write that waits.
func unblocked(f *os.File) (*os.File, error) {
	fd, err := unix.FcntlInt(f.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		unix.Close(fd)
		return nil, err
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}

// makeRaw turns off echo, line editing and every translation: 8 bits, as in termios(3), cfmakeraw.
func makeRaw(f *os.File) error {
	return control(f, func(fd int) error {
		t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
		if err != nil {
			return err
		}
		t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
		t.Oflag &^= unix.OPOST
		t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
		t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
		t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
		return unix.IoctlSetTermios(fd, unix.TCSETS, t)
	})
}

func control(f *os.File, do func(fd int) error) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	if err := raw.Control(func(fd uintptr) { failed = do(int(fd)) }); err != nil {
		return err
	}
	return failed
}

// Path is the far end's, to be opened as a serial port.
func (p *PTY) Path() string { return p.far.Name() }

// Both are about a second of a scale's lines.
const (
	mostUnread  = 256
	longestWait = time.Second
)

// Write sends bytes to the far end. Nobody there is no error: bytes that nobody has read for about a second are dropped,
// as a serial line does, so that who opens the port later gets no old weights. It waits for at most a second.
func (p *PTY) Write(b []byte) (int, error) {
	if err := p.dropUnread(); err != nil {
		return 0, fmt.Errorf("write to the pseudo-terminal %q: %w", p.Path(), err)
	}
	if err := p.near.SetWriteDeadline(time.Now().Add(longestWait)); err != nil {
		return 0, err
	}
	_, err := p.near.Write(b)
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		return 0, err
	}
	return len(b), nil
}

func (p *PTY) dropUnread() error {
	return control(p.far, func(fd int) error {
		unread, err := unix.IoctlGetInt(fd, unix.TIOCINQ)
		if err != nil || unread < mostUnread {
			return err
		}
		return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH)
	})
}

// Read gives what was written to the far end. It waits for it, until the deadline or Close.
func (p *PTY) Read(b []byte) (int, error) { return p.near.Read(b) }

// SetReadDeadline also ends a Read that waits already.
func (p *PTY) SetReadDeadline(t time.Time) error { return p.near.SetReadDeadline(t) }

var speeds = map[int]uint32{
	1200: unix.B1200, 2400: unix.B2400, 4800: unix.B4800, 9600: unix.B9600,
	19200: unix.B19200, 38400: unix.B38400, 57600: unix.B57600, 115200: unix.B115200,
}

// Honour makes the far end's line settings count, see FarEnd, and sets them to the scale's own to begin with. To be called
// before the path is given to anyone. Who opens it afterwards and sets another speed reads what a UART of that speed would.
func (p *PTY) Honour(scale UART) error {
	speed, ok := speeds[scale.Baud]
	if !ok {
		return fmt.Errorf("set the pseudo-terminal %q to %d baud: no such speed (give 1200 to 115200, as scales have)", p.Path(), scale.Baud)
	}
	err := control(p.far, func(fd int) error {
		t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
		if err != nil {
			return err
		}
		t.Cflag = t.Cflag&^(unix.CBAUD|unix.CSTOPB) | speed
		if scale.StopBits == 2 {
			t.Cflag |= unix.CSTOPB
		}
		return unix.IoctlSetTermios(fd, unix.TCSETS, t)
	})
	if err != nil {
		return fmt.Errorf("set the pseudo-terminal %q to %v: %w", p.Path(), scale, err)
	}
	p.scale.Store(&scale)
	return nil
}

// FarEnd is how the far end is set: speed and stop bits as its termios has them. Data bits and parity are always the
// scale's, since a pseudo-terminal has 8 bits without parity whatever is asked of it. It is false until Honour.
func (p *PTY) FarEnd() (far UART, counts bool) {
	scale := p.scale.Load()
	if scale == nil {
		return UART{}, false
	}
	far = *scale
	err := control(p.far, func(fd int) error {
		t, err := unix.IoctlGetTermios(fd, unix.TCGETS2) // which has the speed as a number
		if err != nil {
			return err
		}
		far.Baud, far.StopBits = int(t.Ospeed), 1
		if t.Cflag&unix.CSTOPB != 0 {
			far.StopBits = 2
		}
		return nil
	})
	return far, err == nil
}

// Close takes the pseudo-terminal away: a reader sees a port that is unplugged. A Write that waits ends.
func (p *PTY) Close() error {
	farErr := p.far.Close()
	if p.near == nil {
		return farErr
	}
	if err := p.near.Close(); err != nil {
		return err
	}
	return farErr
}
