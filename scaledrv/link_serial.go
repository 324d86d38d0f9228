package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"go.bug.st/serial"
)

// serialLink is a serial port by its path. The path is resolved anew at each opening: a symlink that moves is followed.
type serialLink struct {
	device string
	mode   serial.Mode
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
	settings := map[string]string{"baud": "9600", "frame": "8N1", "flow": "none", "dtr": "on", "rts": "on"}
	if err := readSettings(settings, query); err != nil {
		return nil, err
	}
	mode, ok := frames[settings["frame"]]
	if !ok {
		return nil, fmt.Errorf("frame=%s: use 8N1, 7E1, 7O1 or 8N2", settings["frame"])
	}
	baud, err := strconv.Atoi(settings["baud"])
	if err != nil || !slices.Contains(bauds, baud) {
		return nil, fmt.Errorf("baud=%s: use one of %v", settings["baud"], bauds)
	}
	mode.BaudRate = baud
	if err := onlyBuilt(settings); err != nil {
		return nil, err
	}
	return &serialLink{device: device, mode: mode}, nil
}

// readSettings puts the settings of a link's query over the defaults, whose keys are the only ones known.
func readSettings(settings map[string]string, query string) error {
	seen := map[string]bool{}
	for pair := range strings.SplitSeq(query, "&") {
		if query == "" {
			break
		}
		key, value, _ := strings.Cut(pair, "=")
		switch _, known := settings[key]; {
		case !known:
			return fmt.Errorf("unknown setting %q: use baud, frame, flow, dtr, rts", key)
		case seen[key]:
			return fmt.Errorf("setting %q stands twice: leave one of them", key)
		}
		seen[key], settings[key] = true, value
	}
	return nil
}

// onlyBuilt refuses the settings that are known but not built, and those that are neither.
func onlyBuilt(settings map[string]string) error {
	for _, s := range []struct {
		key     string
		choices []string // the first is the one that is built
	}{
		{"flow", []string{"none", "rtscts", "xonxoff"}},
		{"dtr", []string{"on", "off"}},
		{"rts", []string{"on", "off"}},
	} {
		switch value := settings[s.key]; slices.Index(s.choices, value) {
		case 0:
		case -1:
			return fmt.Errorf("%s=%s: use one of %v", s.key, value, s.choices)
		default:
			return fmt.Errorf("%s=%s is not built yet: use %s=%s", s.key, value, s.key, s.choices[0])
		}
	}
	return nil
}

// Name is the path as configured.
func (l *serialLink) Name() string { return l.device }

// Open opens the port and makes its settings. The error is a *LinkError.
func (l *serialLink) Open(context.Context) (Port, error) {
	port, err := openSerial(l.device, &l.mode)
	if err != nil {
		return nil, linkError("open serial port", l.device, err)
	}
	return port, nil
}
