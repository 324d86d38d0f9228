package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
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

// Port is an open link. Read and Write block until they are done, fail, or reach their deadline, which they report as
// os.ErrDeadlineExceeded; the zero time is no deadline. Setting a deadline also reaches a Read or Write that waits
// already. What is written is a few bytes, such as a request. Close is called by the reading goroutine; it does not wait
// for a scale that takes no bytes. An os.File on the runtime's poller and a net.Conn are Ports.
type Port interface {
	io.ReadWriteCloser
	SetReadDeadline(time.Time) error
	SetWriteDeadline(time.Time) error
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

// Hints that more than one place gives.
const (
	hintBusy       = "another program reads this port: end it"
	hintPermission = "add the user to group dialout"
)

// hint is what a person can do about a serial port's error; empty where we don't know.
func hint(err error) string {
	code := serial.PortErrorCode(-1)
	if inLibrary, ok := errors.AsType[*serial.PortError](err); ok {
		code = inLibrary.Code()
	}
	switch {
	case isAny(err, syscall.ENOENT, syscall.ENODEV, syscall.ENXIO) || code == serial.PortNotFound:
		return "plug the adapter in, or correct the path"
	case isAny(err, syscall.EACCES, syscall.EPERM) || code == serial.PermissionDenied:
		return hintPermission
	case isAny(err, syscall.EBUSY) || code == serial.PortBusy:
		return hintBusy
	case isAny(err, syscall.ENOTTY, syscall.EISDIR) || code == serial.InvalidSerialPort:
		return "this is no serial port: correct the path"
	case isAny(err, syscall.EIO, io.EOF) || code == serial.PortClosed:
		return "hung up or unplugged: check the adapter and its cable"
	}
	return ""
}

func isAny(err error, targets ...error) bool {
	return slices.ContainsFunc(targets, func(target error) bool { return errors.Is(err, target) })
}

const howToWrite = "write it as serial:/dev/ttyUSB0, hid:/dev/hidraw0, tcp://192.0.2.7:4001 or replay:file.log"

// ParseLink reads a link as it stands in the configuration, such as serial:/dev/ttyUSB0?baud=9600&frame=8N1,
// hid:/dev/hidraw0, tcp://192.0.2.7:4001 or replay:file.log?speed=4. It opens nothing.
func ParseLink(text string) (Link, error) {
	kind, rest, _ := strings.Cut(text, ":")
	var link Link
	var err error
	switch kind {
	case "serial":
		link, err = parseSerial(rest)
	case "hid":
		link, err = parseHIDLink(rest)
	case "tcp":
		link, err = parseTCP(rest)
	case "replay":
		link, err = parseReplay(rest)
	case "sim":
		err = errors.New(`"sim:" is started by the program itself and is no way to a port: ` + howToWrite)
	case "manual":
		err = fmt.Errorf("links of the kind %q are not built yet: %s", kind, howToWrite)
	default:
		err = errors.New("it begins with no known kind of link: " + howToWrite)
	}
	if err != nil {
		return nil, fmt.Errorf("read link %q: %w", text, err)
	}
	return link, nil
}

// readSettings puts the settings of a link's query over the defaults, whose keys are the only ones known.
func readSettings(settings map[string]string, query string) error {
	if query == "" {
		return nil
	}
	seen := map[string]bool{}
	for pair := range strings.SplitSeq(query, "&") {
		key, value, _ := strings.Cut(pair, "=")
		switch _, known := settings[key]; {
		case !known:
			return fmt.Errorf("unknown setting %q: use %s", key, strings.Join(slices.Sorted(maps.Keys(settings)), ", "))
		case seen[key]:
			return fmt.Errorf("setting %q stands twice: leave one of them", key)
		case value == "":
			return fmt.Errorf("setting %q has no value: give it one, or leave it out", key)
		}
		seen[key], settings[key] = true, value
	}
	return nil
}
