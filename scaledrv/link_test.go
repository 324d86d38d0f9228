package scaledrv

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
)

// patience is the longest that a test waits for something that should be there in milliseconds.
const patience = 10 * time.Second

func parseLink(t *testing.T, text string) Link {
	t.Helper()
	link, err := ParseLink(text)
	require.NoError(t, err)
	return link
}

// within takes the next from a channel.
func within[T any](t *testing.T, c <-chan T) (v T) {
	t.Helper()
	select {
	case v = <-c:
	case <-time.After(patience):
		require.Fail(t, "waited in vain")
	}
	return v
}

// on9600 is a port with the settings that hold where nothing is said.
func on9600(device string, change func(*serialLink)) *serialLink {
	link := &serialLink{device: device, mode: serial.Mode{BaudRate: 9600, DataBits: 8}, flow: "none", dtr: true, rts: true}
	if change != nil {
		change(link)
	}
	return link
}

func TestParseLink(t *testing.T) {
	const usb, byPath = "/dev/ttyUSB0", "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0"
	for _, tt := range []struct {
		name, text string
		want       Link
		device     string
	}{
		{"9600 8N1 where nothing is said", "serial:" + usb, on9600(usb, nil), usb},
		{"all defaults said", "serial:" + usb + "?baud=9600&frame=8N1&flow=none&dtr=on&rts=on", on9600(usb, func(l *serialLink) { l.baudStated, l.frameStated = "9600", "8N1" }), usb},
		{"seven bits, even parity, by a path with colons", "serial:" + byPath + "?frame=7E1&baud=2400", on9600(byPath, func(l *serialLink) {
			l.mode = serial.Mode{BaudRate: 2400, DataBits: 7, Parity: serial.EvenParity}
			l.baudStated, l.frameStated = "2400", "7E1"
		}), byPath},
		{"odd parity", "serial:" + usb + "?frame=7O1", on9600(usb, func(l *serialLink) {
			l.mode = serial.Mode{BaudRate: 9600, DataBits: 7, Parity: serial.OddParity}
			l.frameStated = "7O1"
		}), usb},
		{"two stop bits", "serial:" + usb + "?frame=8N2", on9600(usb, func(l *serialLink) { l.mode.StopBits, l.frameStated = serial.TwoStopBits, "8N2" }), usb},
		{"RTS/CTS", "serial:" + usb + "?flow=rtscts", on9600(usb, func(l *serialLink) { l.flow = "rtscts" }), usb},
		{"XON/XOFF", "serial:" + usb + "?flow=xonxoff", on9600(usb, func(l *serialLink) { l.flow = "xonxoff" }), usb},
		{"DTR off", "serial:" + usb + "?dtr=off", on9600(usb, func(l *serialLink) { l.dtr = false }), usb},
		{"RTS off", "serial:" + usb + "?rts=off", on9600(usb, func(l *serialLink) { l.rts = false }), usb},
		{"a network address", "tcp://192.0.2.7:4001", &tcpLink{"192.0.2.7", "4001"}, "192.0.2.7:4001"},
		{"an IPv6 address", "tcp://[2001:db8::7]:4001", &tcpLink{"2001:db8::7", "4001"}, "[2001:db8::7]:4001"},
		{"a host's name", "tcp://scale.example:23", &tcpLink{"scale.example", "23"}, "scale.example:23"},
		{"a HID scale by its node", "hid:/dev/hidraw0", &hidLink{node: "/dev/hidraw0", sys: "/sys"}, "/dev/hidraw0"},
		{"a HID scale by its ids", "hid:1209:00Af", &hidLink{vid: 0x1209, pid: 0xAF, sys: "/sys"}, "1209:00af"},
		{"a HID scale of another sysfs", "hid:1209:0001?sys=/host/sys", &hidLink{vid: 0x1209, pid: 1, sys: "/host/sys"}, "1209:0001"},
		{"a recording in its own time", "replay:a/file.log", &replayLink{path: "a/file.log", speed: 1}, "a/file.log"},
		{"a recording played faster", "replay:/a/file.log?speed=4", &replayLink{path: "/a/file.log", speed: 4}, "/a/file.log"},
		{"a recording played slower", "replay:file.log?speed=0.5", &replayLink{path: "file.log", speed: 0.5}, "file.log"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			link, err := ParseLink(tt.text)
			require.NoError(t, err)
			require.Equal(t, tt.want, link)
			require.Equal(t, tt.device, link.Name())
		})
	}
}

func TestParseLinkRefuses(t *testing.T) {
	const tcpForm = "write it as tcp://192.0.2.7:4001 or tcp://[2001:db8::7]:4001"
	const speedForm = "use a number from 0.1 to 1000; 1 is the original timing"
	for _, tt := range []struct{ name, text, why string }{
		{"a bare path", "/dev/ttyUSB0", "it begins with no known kind of link: " + howToWrite},
		{"nothing", "", "it begins with no known kind of link: " + howToWrite},
		{"no device", "serial:?baud=9600", "no device: write it as serial:/dev/ttyUSB0"},
		{"a device without its folder", "serial:ttyUSB0", `device "ttyUSB0" is no whole path: write it as serial:/dev/ttyUSB0`},
		{"a setting of another word", "serial:/dev/a?speed=9600", `unknown setting "speed": use baud, dtr, flow, frame, rts`},
		{"an empty setting", "serial:/dev/a?baud=9600&", `unknown setting "": use baud, dtr, flow, frame, rts`},
		{"a setting twice", "serial:/dev/a?baud=9600&baud=4800", `setting "baud" stands twice: leave one of them`},
		{"an empty rate", "serial:/dev/a?baud=", `setting "baud" has no value: give it one, or leave it out`},
		{"a rate that is none", "serial:/dev/a?baud=fast", "baud=fast: use one of [1200 2400 4800 9600 19200 38400 57600 115200]"},
		{"a rate with a digit lost", "serial:/dev/a?baud=960", "baud=960: use one of [1200 2400 4800 9600 19200 38400 57600 115200]"},
		{"a frame that no scale has", "serial:/dev/a?frame=5N1", "frame=5N1: use 8N1, 7E1, 7O1 or 8N2"},
		{"flow control of another word", "serial:/dev/a?flow=hard", "flow=hard: use one of [none rtscts xonxoff]"},
		{"RTS of another word", "serial:/dev/a?rts=1", "rts=1: use one of [on off]"},
		{"RTS off where flow control moves it", "serial:/dev/a?rts=off&flow=rtscts", "rts=off contradicts flow=rtscts, which moves RTS itself: leave one of them out"},
		{"a network address without //", "tcp:192.0.2.7:4001", "no // before the host: " + tcpForm},
		{"no port", "tcp://192.0.2.7", `"192.0.2.7" is no host and port: ` + tcpForm},
		{"no host", "tcp://:4001", `":4001" is no host and port: ` + tcpForm},
		{"an IPv6 address without brackets", "tcp://2001:db8::7:4001", `"2001:db8::7:4001" is no host and port: ` + tcpForm},
		{"a user before the host", "tcp://me@192.0.2.7:4001", `"me@192.0.2.7:4001" is no host and port: ` + tcpForm},
		{"a port by name", "tcp://192.0.2.7:telnet", `port "telnet" is none of 1 to 65535: ` + tcpForm},
		{"port 0", "tcp://192.0.2.7:0", `port "0" is none of 1 to 65535: ` + tcpForm},
		{"a port beyond all", "tcp://192.0.2.7:65536", `port "65536" is none of 1 to 65535: ` + tcpForm},
		{"a folder behind the port", "tcp://192.0.2.7:4001/", `port "4001/" is none of 1 to 65535: ` + tcpForm},
		{"no HID device", "hid:", `"" is no device: ` + hidForm},
		{"a HID device without its folder", "hid:hidraw0", `"hidraw0" is no device: ` + hidForm},
		{"a vendor alone", "hid:1209", `"1209" is no device: ` + hidForm},
		{"ids of three digits", "hid:1209:001", `"1209:001" is no device: ` + hidForm},
		{"ids with a sign", "hid:1209:+001", `"1209:+001" is no device: ` + hidForm},
		{"ids of other letters", "hid:1209:000G", `"1209:000G" is no device: ` + hidForm},
		{"a sysfs without its path", "hid:1209:0001?sys=sys", "sys=sys: use the whole path of a sysfs"},
		{"a rate of a HID scale", "hid:/dev/hidraw0?baud=9600", `unknown setting "baud": use sys`},
		{"no recording", "replay:?speed=4", "no file: write it as replay:file.log or replay:file.log?speed=4"},
		{"a speed of nothing", "replay:a.log?speed=0", "speed=0: " + speedForm},
		{"backwards", "replay:a.log?speed=-1", "speed=-1: " + speedForm},
		{"a speed that is no number", "replay:a.log?speed=NaN", "speed=NaN: " + speedForm},
		{"a speed without end", "replay:a.log?speed=Inf", "speed=Inf: " + speedForm},
		{"an empty speed", "replay:a.log?speed", `setting "speed" has no value: give it one, or leave it out`},
		{"a rate of a recording", "replay:a.log?baud=9600", `unknown setting "baud": use speed`},
		{"a scale without a cable", "manual", `links of the kind "manual" are not built yet: ` + howToWrite},
		{"the simulated scale", "sim:", `"sim:" is started by the program itself and is no way to a port: ` + howToWrite},
	} {
		t.Run(tt.name, func(t *testing.T) {
			link, err := ParseLink(tt.text)
			require.EqualError(t, err, fmt.Sprintf("read link %q: %s", tt.text, tt.why))
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
