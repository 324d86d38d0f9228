//go:build !linux

package scaledrv

import (
	"path/filepath"
	"runtime"

	"go.bug.st/serial"
)

func openSerial(device string, mode *serial.Mode) (Port, error) {
	path := device
	if runtime.GOOS != "windows" { // COM3 is no path
		var err error
		if path, err = filepath.EvalSymlinks(device); err != nil {
			return nil, err
		}
	}
	port, err := serial.Open(path, mode)
	if err != nil {
		return nil, err
	}
	return newBeatPort(port, device), nil
}
