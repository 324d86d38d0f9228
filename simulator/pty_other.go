//go:build !linux

package simulator

import (
	"errors"
	"time"
)

// PTY is a pseudo-terminal. This system has none that can be used here.
type PTY struct{}

var errNoPTY = errors.New("open a pseudo-terminal: built for Linux only (run the demo there)")

// OpenPTY always fails on this system.
func OpenPTY() (*PTY, error) { return nil, errNoPTY }

func (*PTY) Path() string                    { return "" }
func (*PTY) Read([]byte) (int, error)        { return 0, errNoPTY }
func (*PTY) SetReadDeadline(time.Time) error { return errNoPTY }
func (*PTY) Honour(UART) error               { return errNoPTY }
func (*PTY) FarEnd() (UART, bool)            { return UART{}, false }
func (*PTY) Write([]byte) (int, error)       { return 0, errNoPTY }
func (*PTY) Close() error                    { return errNoPTY }
