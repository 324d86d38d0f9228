package scaledrv

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"syscall"

	"go.bug.st/serial"
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
func openSerial(device string, mode *serial.Mode) (Port, error) {
	path, err := filepath.EvalSymlinks(device)
	if err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	if err := lock(file); err != nil {
		file.Close()
		return nil, err
	}
	settings, err := serial.Open(path, mode)
	if err != nil {
		file.Close()
		return nil, err
	}
	port := &filePort{File: file, settings: settings, device: device}
	// What lies in the system's buffer is older than this opening, and may be from before the settings were right.
	if err := settings.ResetInputBuffer(); err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return port, nil
}

// lock takes the device for this descriptor. The library's exclusive mode does not bind root; this does, as far as
// other readers ask too.
func lock(file *os.File) error {
	conn, err := file.SyscallConn()
	if err != nil {
		return err
	}
	var lockErr error
	if err := conn.Control(func(fd uintptr) { lockErr = syscall.Flock(int(fd), syscall.LOCK_EX|syscall.LOCK_NB) }); err != nil {
		return err
	}
	if lockErr == syscall.EWOULDBLOCK {
		return syscall.EBUSY
	}
	return lockErr
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

func (p *filePort) Close() error { return errors.Join(p.settings.Close(), p.File.Close()) }
