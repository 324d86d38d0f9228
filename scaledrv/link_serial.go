package scaledrv

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"go.bug.st/serial"
)

// serialLink is a serial port by its path. The path is resolved anew at each opening: a symlink that moves is followed.
type serialLink struct {
	device   string
	mode     serial.Mode
	flow     string // none, rtscts, xonxoff
	dtr, rts bool   // the modem lines once the port is open; at opening the system raises both for a moment
	// What stands in the link's text, and is not to be found out.
	baudStated, frameStated string
}

// The line settings that bench scales have: common practice, no source.
var (
	bauds  = []int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}
	frames = map[string]serial.Mode{
		"8N1": {DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit},
		"7E1": {DataBits: 7, Parity: serial.EvenParity, StopBits: serial.OneStopBit},
		"7O1": {DataBits: 7, Parity: serial.OddParity, StopBits: serial.OneStopBit},
		"8N2": {DataBits: 8, Parity: serial.NoParity, StopBits: serial.TwoStopBits},
	}
)

// parseSerial reads what follows "serial:". What is left out is 9600 baud, 8N1, no flow control, DTR and RTS on.
func parseSerial(text string) (*serialLink, error) {
	device, query, _ := strings.Cut(text, "?")
	switch {
	case device == "":
		return nil, errors.New("no device: write it as serial:/dev/ttyUSB0")
	case !filepath.IsAbs(device) && runtime.GOOS != "windows":
		return nil, fmt.Errorf("device %q is no whole path: write it as serial:/dev/%s", device, filepath.Base(device))
	}
	settings := map[string]string{"baud": "", "frame": "", "flow": "none", "dtr": "on", "rts": "on"}
	if err := readSettings(settings, query); err != nil {
		return nil, err
	}
	baudStated, frameStated := settings["baud"], settings["frame"]
	settings["baud"], settings["frame"] = cmp.Or(baudStated, "9600"), cmp.Or(frameStated, "8N1")
	mode, ok := frames[settings["frame"]]
	if !ok {
		return nil, fmt.Errorf("frame=%s: use 8N1, 7E1, 7O1 or 8N2", settings["frame"])
	}
	baud, err := strconv.Atoi(settings["baud"])
	if err != nil || !slices.Contains(bauds, baud) {
		return nil, fmt.Errorf("baud=%s: use one of %v", settings["baud"], bauds)
	}
	mode.BaudRate = baud
	if err := checkLines(settings); err != nil {
		return nil, err
	}
	return &serialLink{
		device: device, mode: mode, flow: settings["flow"], dtr: settings["dtr"] == "on", rts: settings["rts"] == "on",
		baudStated: baudStated, frameStated: frameStated,
	}, nil
}

// tryBauds are the bauds in the order in which an identification tries them: the one that most scales have, then the slow
// ones, at which a scale that sends often is soon known not to be.
var tryBauds = []int{9600, 4800, 2400, 19200, 1200, 38400, 57600, 115200}

// tunings is a tuner's.
func (l *serialLink) tunings() (tryable []int, tryFrames []string) {
	tryable, tryFrames = tryBauds, []string{"8N1", "7E1", "7O1"}
	if l.baudStated != "" {
		tryable = []int{l.mode.BaudRate}
	}
	if l.frameStated != "" {
		tryFrames = []string{l.frameStated}
	}
	return tryable, tryFrames
}

// tuned is a tuner's.
func (l *serialLink) tuned(baud int, frame string) Link {
	other := *l
	other.mode = frames[frame]
	other.mode.BaudRate = baud
	return &other
}

func checkLines(settings map[string]string) error {
	for _, s := range []struct {
		key     string
		choices []string
	}{
		{"flow", []string{"none", "rtscts", "xonxoff"}},
		{"dtr", []string{"on", "off"}},
		{"rts", []string{"on", "off"}},
	} {
		if value := settings[s.key]; !slices.Contains(s.choices, value) {
			return fmt.Errorf("%s=%s: use one of %v", s.key, value, s.choices)
		}
	}
	if settings["flow"] == "rtscts" && settings["rts"] == "off" {
		return errors.New("rts=off contradicts flow=rtscts, which moves RTS itself: leave one of them out")
	}
	return nil
}

// Name is the path as configured.
func (l *serialLink) Name() string { return l.device }

// Open opens the port and makes its settings. The error is a *LinkError.
func (l *serialLink) Open(context.Context) (Port, error) {
	port, err := openSerial(l)
	if err != nil {
		return nil, linkError("open serial port", l.device, err)
	}
	return port, nil
}

// setModemLines puts DTR and RTS as configured. A port without these lines, such as a pseudo-terminal, is no fault
// unless one of them is to be off. RTS is left alone where flow control moves it.
func (l *serialLink) setModemLines(port serial.Port) error {
	for _, line := range []struct {
		name string
		on   bool
		set  func(bool) error
	}{{"dtr", l.dtr, port.SetDTR}, {"rts", l.rts, port.SetRTS}} {
		if line.name == "rts" && l.flow == "rtscts" {
			continue
		}
		err := line.set(line.on)
		if err == nil || line.on && isAny(err, syscall.ENOTTY, syscall.EINVAL) {
			continue
		}
		do := fmt.Sprintf("leave %s=off out if this port has no such line", line.name)
		if line.on {
			do = hint(err)
		}
		return &LinkError{Op: "switch " + strings.ToUpper(line.name) + " of serial port", Device: l.device, Do: do, Err: err}
	}
	return nil
}
