package scaledrv

import (
	"cmp"
	"slices"
	"strings"
	"unicode"
)

// ListedPort is a port that the system knows, at which a scale may be. Its texts can be printed: what a device states of
// itself may be anything, and what is no printable character stands as U+FFFD.
type ListedPort struct {
	Device      string   // such as /dev/ttyUSB0
	Kind        string   // serial or hid
	VID, PID    string   // of USB, four hexadecimal digits each; empty for what is not on USB or not known
	Maker, Name string   // as the device states them; often those of the converter in the cable
	Serial      string   // its serial number, where it states one
	Stable      []string // names that lead to it also after it was plugged in anew, the best first
	Link        string   // for a scale's entry: by a stable name, where there is one
	Err         error    // why this user can't open it, with what to do; nil where nothing is seen to be in the way
}

// Ports are the serial ports and HID scales, in the order of their names. None is opened to be listed: that would raise
// the modem lines, which resets some devices, and set the port's speed. So it is read from the system's own lists who
// may open a port and, as far as this user may see it, who has. Elsewhere than on Linux there are the serial ports'
// names only, and no Err.
func Ports() ([]ListedPort, error) { return listPorts("/") }

// inOrder sorts ports by their names: ttyUSB9 is before ttyUSB10.
func inOrder(list []ListedPort) []ListedPort {
	slices.SortFunc(list, func(a, b ListedPort) int {
		return cmp.Or(cmp.Compare(len(a.Device), len(b.Device)), strings.Compare(a.Device, b.Device))
	})
	return list
}

// plainText is a text that a terminal takes as text: no control or formatting character, no byte that is not UTF-8.
func plainText(text string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return unicode.ReplacementChar
		}
		return r
	}, strings.TrimSpace(text))
}
