package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// Link is a way for bytes to reach us. It can be opened again after its port was lost, one port at a time.
type Link interface {
	Name() string // the device, as a person knows it
	Open(ctx context.Context) (Port, error)
}

// Port is an open link. Read blocks until there are bytes, an error, or the deadline, which it reports as
// os.ErrDeadlineExceeded. SetReadDeadline also reaches a Read that waits already; Close is called by the reading
// goroutine. An os.File on the runtime's poller and a net.Conn are Ports.
type Port interface {
	io.ReadCloser
	SetReadDeadline(time.Time) error
}

// LinkError says what could not be done with which device, why, and what a person can do about it.
type LinkError struct {
	Op, Device, Do string
	Err            error
}

func (e *LinkError) Error() string {
	return strings.TrimSuffix(fmt.Sprintf("%s %q: %v (%s)", e.Op, e.Device, e.Err, e.Do), " ()")
}

func (e *LinkError) Unwrap() error { return e.Err }

// linkError makes a LinkError with its hint. One that is a LinkError already stays as it is.
func linkError(op, device string, err error) *LinkError {
	if known, ok := errors.AsType[*LinkError](err); ok {
		return known
	}
	if inPath, ok := errors.AsType[*fs.PathError](err); ok {
		err = inPath.Err // the path stands in Device
	}
	return &LinkError{Op: op, Device: device, Do: hint(err), Err: err}
}

// hint is what a person can do about a port's error; empty where we don't know.
func hint(err error) string {
	is := func(targets ...error) bool {
		return slices.ContainsFunc(targets, func(target error) bool { return errors.Is(err, target) })
	}
	code := serial.PortErrorCode(-1)
	if inLibrary, ok := errors.AsType[*serial.PortError](err); ok {
		code = inLibrary.Code()
	}
	switch {
	case is(syscall.ENOENT, syscall.ENODEV, syscall.ENXIO) || code == serial.PortNotFound:
		return "plug the adapter in, or correct the path"
	case is(syscall.EACCES, syscall.EPERM) || code == serial.PermissionDenied:
		return "add the user to group dialout"
	case is(syscall.EBUSY) || code == serial.PortBusy:
		return "another program reads this port: end it"
	case is(syscall.ENOTTY, syscall.EISDIR) || code == serial.InvalidSerialPort:
		return "this is no serial port: correct the path"
	case is(syscall.EIO, io.EOF) || code == serial.PortClosed:
		return "hung up or unplugged: check the adapter and its cable"
	}
	return ""
}

// ParseLink reads a link as it stands in the configuration, such as serial:/dev/ttyUSB0?baud=9600&frame=8N1.
func ParseLink(text string) (Link, error) {
	scheme, rest, _ := strings.Cut(text, ":")
	var link Link
	var err error
	switch scheme {
	case "serial":
		link, err = parseSerial(rest)
	case "hid", "tcp", "replay", "sim", "manual":
		err = fmt.Errorf("links of the kind %q are not built yet: use serial:/dev/ttyUSB0 or the like", scheme)
	default:
		err = errors.New("it begins with no known kind of link: write it as serial:/dev/ttyUSB0 or the like")
	}
	if err != nil {
		return nil, fmt.Errorf("read link %q: %w", text, err)
	}
	return link, nil
}
