package scaledrv

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"unsafe"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// filePort carries a serial port's bytes over a file on the runtime's poller: the library's own Read waits in select on
// a thread of its own, which costs five times the CPU. The library has the settings.
type filePort struct {
	*os.File
	settings serial.Port
	device   string
}

// openSerial opens the device twice: first for ourselves, because once the library has it nobody else can open it. The
// path is resolved once, so that a symlink moved in between does not give the settings to another device.
func openSerial(l *serialLink) (Port, error) {
	path, err := filepath.EvalSymlinks(l.device)
	if err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, l.whyNot(path, err)
	}
	if err := onDescriptor(file, isTerminal); err != nil {
		file.Close()
		return nil, l.whyNot(path, err)
	}
	if err := lock(file, path); err != nil {
		file.Close()
		return nil, l.whyNot(path, err)
	}
	settings, err := openKept(path, &l.mode)
	if err != nil {
		file.Close()
		return nil, l.whyNot(path, err)
	}
	port := &filePort{File: file, settings: settings, device: l.device}
	if err := l.prepare(port); err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return port, nil
}

// isTerminal says whether the device has line settings at all; else the error is ENOTTY.
func isTerminal(fd int) error {
	_, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	return err
}

// openKept opens a port with the library and keeps its descriptor out of programs that this one starts, as the library
// does not: they would hold the port after us.
func openKept(path string, mode *serial.Mode) (serial.Port, error) {
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	port, err := serial.Open(path, mode)
	if err != nil {
		return nil, err
	}
	numbers, err := os.ReadDir("/proc/self/fd")
	for _, number := range numbers {
		fd, _ := strconv.Atoi(number.Name())
		if target, _ := os.Readlink("/proc/self/fd/" + number.Name()); target == path {
			syscall.CloseOnExec(fd)
		}
	}
	if err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return port, nil
}

// prepare makes the settings that the library leaves off, or has not.
func (l *serialLink) prepare(port *filePort) error {
	if err := onDescriptor(port.File, func(fd int) error { return setFlow(fd, l.flow) }); err != nil {
		return &LinkError{Op: "set flow control of serial port", Device: l.device, Do: "use flow=none, or an adapter that can", Err: err}
	}
	if err := l.setModemLines(port.settings); err != nil {
		return err
	}
	_ = onDescriptor(port.File, askLowLatency) // a hint: many drivers have no such thing
	// What lies in the system's buffer is older than this opening, and may be from before the settings were right.
	return port.settings.ResetInputBuffer()
}

func onDescriptor(file *os.File, do func(fd int) error) error {
	conn, err := file.SyscallConn()
	if err != nil {
		return err
	}
	var doErr error
	if err := conn.Control(func(fd uintptr) { doErr = do(int(fd)) }); err != nil {
		return err
	}
	return doErr
}

// setFlow switches flow control on, which the library has switched off. With xonxoff the system keeps XON and XOFF
// (bytes 0x11 and 0x13) for itself. A driver that can't do it does not say so but leaves the flag off.
func setFlow(fd int, flow string) error {
	var inputFlags, controlFlags uint32
	switch flow {
	case "rtscts":
		controlFlags = unix.CRTSCTS
	case "xonxoff":
		inputFlags = unix.IXON | unix.IXOFF
	default:
		return nil
	}
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	settings.Iflag |= inputFlags
	settings.Cflag |= controlFlags
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, settings); err != nil {
		return err
	}
	if settings, err = unix.IoctlGetTermios(fd, unix.TCGETS); err != nil {
		return err
	}
	if settings.Iflag&inputFlags != inputFlags || settings.Cflag&controlFlags != controlFlags {
		return fmt.Errorf("the port's driver does not do flow=%s", flow)
	}
	return nil
}

// askLowLatency asks a converter's driver to hand bytes over at once instead of collecting them, commonly for 16 ms
// (common practice, no source). The system lets every user do so (include/linux/tty_flags.h: ASYNC_LOW_LATENCY is in
// ASYNC_USR_MASK).
func askLowLatency(fd int) error {
	var info [32]uint32 // at least a struct serial_struct of linux/serial.h, whose fifth int is its flags
	const flags, lowLatency = 4, 1 << 13
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), unix.TIOCGSERIAL, uintptr(unsafe.Pointer(&info))); errno != 0 {
		return errno
	}
	info[flags] |= lowLatency
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), unix.TIOCSSERIAL, uintptr(unsafe.Pointer(&info))); errno != 0 {
		return errno
	}
	return nil
}

func (p *filePort) Read(b []byte) (int, error) {
	n, err := p.File.Read(b)
	if err == io.EOF { // a terminal has no end: one of the two ways in which the system says that it hung up
		err = syscall.EIO
	}
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		err = linkError("read serial port", p.device, err)
	}
	return n, err
}

func (p *filePort) Write(b []byte) (int, error) {
	n, err := p.File.Write(b)
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		err = linkError("write to serial port", p.device, err)
	}
	return n, err
}

// Close drops what the scale has not taken: with flow control the system would wait up to 30 s for it (the default
// closing_wait of Linux's serial ports).
func (p *filePort) Close() error {
	_ = p.settings.ResetOutputBuffer() // of an unplugged port there is none
	return errors.Join(p.settings.Close(), p.File.Close())
}
