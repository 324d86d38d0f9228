package scaledrv

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
)

func TestParseLink(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       serialLink
	}{
		{"9600 8N1 where nothing is said", "serial:/dev/ttyUSB0",
			serialLink{"/dev/ttyUSB0", serial.Mode{BaudRate: 9600, DataBits: 8}}},
		{"all defaults said", "serial:/dev/ttyUSB0?baud=9600&frame=8N1&flow=none&dtr=on&rts=on",
			serialLink{"/dev/ttyUSB0", serial.Mode{BaudRate: 9600, DataBits: 8}}},
		{"seven bits, even parity, by a path with colons", "serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0?frame=7E1&baud=2400",
			serialLink{"/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0", serial.Mode{BaudRate: 2400, DataBits: 7, Parity: serial.EvenParity}}},
		{"odd parity", "serial:/dev/ttyS0?frame=7O1", serialLink{"/dev/ttyS0", serial.Mode{BaudRate: 9600, DataBits: 7, Parity: serial.OddParity}}},
		{"two stop bits", "serial:/dev/ttyS0?frame=8N2", serialLink{"/dev/ttyS0", serial.Mode{BaudRate: 9600, DataBits: 8, StopBits: serial.TwoStopBits}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			link, err := ParseLink(tt.text)
			require.NoError(t, err)
			require.Equal(t, &tt.want, link)
			require.Equal(t, tt.want.device, link.Name())
		})
	}
}

func TestParseLinkRefuses(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"a bare path", "/dev/ttyUSB0", `read link "/dev/ttyUSB0": it begins with no known kind of link: write it as serial:/dev/ttyUSB0 or the like`},
		{"nothing", "", `read link "": it begins with no known kind of link: write it as serial:/dev/ttyUSB0 or the like`},
		{"no device", "serial:?baud=9600", `read link "serial:?baud=9600": no device: write it as serial:/dev/ttyUSB0`},
		{"a device without its folder", "serial:ttyUSB0", `read link "serial:ttyUSB0": device "ttyUSB0" is no whole path: write it as serial:/dev/ttyUSB0`},
		{"a setting of another word", "serial:/dev/a?speed=9600", `read link "serial:/dev/a?speed=9600": unknown setting "speed": use baud, frame, flow, dtr, rts`},
		{"an empty setting", "serial:/dev/a?baud=9600&", `read link "serial:/dev/a?baud=9600&": unknown setting "": use baud, frame, flow, dtr, rts`},
		{"a setting twice", "serial:/dev/a?baud=9600&baud=4800", `read link "serial:/dev/a?baud=9600&baud=4800": setting "baud" stands twice: leave one of them`},
		{"a rate that is none", "serial:/dev/a?baud=fast", `read link "serial:/dev/a?baud=fast": baud=fast: use one of [1200 2400 4800 9600 19200 38400 57600 115200]`},
		{"a rate with a digit lost", "serial:/dev/a?baud=960", `read link "serial:/dev/a?baud=960": baud=960: use one of [1200 2400 4800 9600 19200 38400 57600 115200]`},
		{"a frame that no scale has", "serial:/dev/a?frame=5N1", `read link "serial:/dev/a?frame=5N1": frame=5N1: use 8N1, 7E1, 7O1 or 8N2`},
		{"flow control", "serial:/dev/a?flow=rtscts", `read link "serial:/dev/a?flow=rtscts": flow=rtscts is not built yet: use flow=none`},
		{"flow control of another word", "serial:/dev/a?flow=hard", `read link "serial:/dev/a?flow=hard": flow=hard: use one of [none rtscts xonxoff]`},
		{"DTR off", "serial:/dev/a?dtr=off", `read link "serial:/dev/a?dtr=off": dtr=off is not built yet: use dtr=on`},
		{"RTS off", "serial:/dev/a?rts=off", `read link "serial:/dev/a?rts=off": rts=off is not built yet: use rts=on`},
		{"RTS of another word", "serial:/dev/a?rts=1", `read link "serial:/dev/a?rts=1": rts=1: use one of [on off]`},
		{"USB HID", "hid:/dev/hidraw0", `read link "hid:/dev/hidraw0": links of the kind "hid" are not built yet: use serial:/dev/ttyUSB0 or the like`},
		{"TCP", "tcp://192.0.2.7:4001", `read link "tcp://192.0.2.7:4001": links of the kind "tcp" are not built yet: use serial:/dev/ttyUSB0 or the like`},
		{"replay", "replay:file.log?speed=4", `read link "replay:file.log?speed=4": links of the kind "replay" are not built yet: use serial:/dev/ttyUSB0 or the like`},
		{"the simulated scale", "sim:", `read link "sim:": links of the kind "sim" are not built yet: use serial:/dev/ttyUSB0 or the like`},
		{"a scale without a cable", "manual", `read link "manual": links of the kind "manual" are not built yet: use serial:/dev/ttyUSB0 or the like`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			link, err := ParseLink(tt.text)
			require.EqualError(t, err, tt.want)
			require.Nil(t, link)
		})
	}
}

func TestALinkErrorSaysWhatToDo(t *testing.T) {
	in := func(err error) error { return &fs.PathError{Op: "open", Path: "/dev/ttyUSB0", Err: err} }
	for _, tt := range []struct {
		name string
		err  error
		want string
	}{
		{"no permission", in(syscall.EACCES), "permission denied (add the user to group dialout)"},
		{"no device", in(syscall.ENOENT), "no such file or directory (plug the adapter in, or correct the path)"},
		{"a device without its adapter", in(syscall.ENXIO), "no such device or address (plug the adapter in, or correct the path)"},
		{"busy", in(syscall.EBUSY), "device or resource busy (another program reads this port: end it)"},
		{"no terminal", in(syscall.ENOTTY), "inappropriate ioctl for device (this is no serial port: correct the path)"},
		{"a folder", in(syscall.EISDIR), "is a directory (this is no serial port: correct the path)"},
		{"hung up", in(syscall.EIO), "input/output error (hung up or unplugged: check the adapter and its cable)"},
		{"at its end", io.EOF, "EOF (hung up or unplugged: check the adapter and its cable)"},
		{"the library's own busy, code 0", &serial.PortError{}, "Serial port busy (another program reads this port: end it)"},
		{"what we know nothing of has no hint", os.ErrInvalid, "invalid argument"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := linkError("open serial port", "/dev/ttyUSB0", tt.err)
			require.EqualError(t, err, `open serial port "/dev/ttyUSB0": `+tt.want)
			require.True(t, errors.Is(err, errors.Unwrap(err)))
			require.Same(t, err, linkError("read", "another", err), "one hint is enough")
		})
	}
}
