//go:build !linux

package scaledrv

import (
	"fmt"
	"runtime"
)

func (l *hidLink) open() (Port, error) {
	return nil, &LinkError{Op: "open HID scale", Device: l.Name(), Do: "read it on Linux, or use a scale with a serial port",
		Err: fmt.Errorf("HID scales are not built for %s", runtime.GOOS)}
}
