//go:build !linux

package scaledrv

import (
	"errors"
	"fmt"
	"path/filepath"
	"runtime"

	"go.bug.st/serial"
)

func openSerial(l *serialLink) (Port, error) {
	if l.flow != "none" {
		return nil, &LinkError{Op: "open serial port", Device: l.device, Do: "use flow=none",
			Err: fmt.Errorf("flow=%s is not built for %s", l.flow, runtime.GOOS)}
	}
	path := l.device
	if runtime.GOOS != "windows" { // COM3 is no path
		var err error
		if path, err = filepath.EvalSymlinks(l.device); err != nil {
			return nil, err
		}
	}
	port, err := serial.Open(path, &l.mode)
	if err != nil {
		return nil, err
	}
	if err := l.setModemLines(port); err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return newBeatPort(port, l.device), nil
}
