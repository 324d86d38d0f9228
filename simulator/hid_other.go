//go:build !linux

package simulator

import "errors"

// HID is a pseudo HID scale. This system has none that can be used here.
type HID struct{}

var errNoHID = errors.New("make a pseudo HID scale: built for Linux only (run it there)")

// OpenHID always fails on this system.
func OpenHID(string, string, int) (*HID, error) { return nil, errNoHID }

func (*HID) Node() string              { return "" }
func (*HID) Sys() string               { return "" }
func (*HID) Write([]byte) (int, error) { return 0, errNoHID }
func (*HID) Close() error              { return errNoHID }
