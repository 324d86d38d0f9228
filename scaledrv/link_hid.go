package scaledrv

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// hidLink is a USB HID scale, by its node or by its ids: by these it is found anew at each opening.
//
// What comes out of its port is text, so that all that takes a scale's bytes takes these too: at each opening first the
// report descriptor, "descriptor 05 8D 09 01 A1 01 …", then a line for each report, "report 03 04 02 FF F2 05".
type hidLink struct {
	node     string // or, where it is empty:
	vid, pid uint16
	sys      string // where sysfs is
}

const hidForm = "write it as hid:/dev/hidraw0, or with vendor and product as hid:1209:0001"

// parseHIDLink reads what follows "hid:".
func parseHIDLink(text string) (*hidLink, error) {
	device, query, _ := strings.Cut(text, "?")
	settings := map[string]string{"sys": "/sys"}
	if err := readSettings(settings, query); err != nil {
		return nil, err
	}
	l := &hidLink{sys: settings["sys"]}
	if !filepath.IsAbs(l.sys) {
		return nil, fmt.Errorf("sys=%s: use the whole path of a sysfs", l.sys)
	}
	if filepath.IsAbs(device) {
		l.node = device
		return l, nil
	}
	vid, pid, _ := strings.Cut(device, ":")
	var ok1, ok2 bool
	l.vid, ok1 = parseID(vid)
	l.pid, ok2 = parseID(pid)
	if !ok1 || !ok2 {
		return nil, fmt.Errorf("%q is no device: %s", device, hidForm)
	}
	return l, nil
}

// parseID reads four hexadecimal digits.
func parseID(text string) (id uint16, ok bool) {
	n, err := strconv.ParseUint(text, 16, 16)
	return uint16(n), err == nil && len(text) == 4
}

// Name is the node, or the ids.
func (l *hidLink) Name() string {
	if l.node != "" {
		return l.node
	}
	return fmt.Sprintf("%04x:%04x", l.vid, l.pid)
}

// Open finds the device and reads its report descriptor. The error is a *LinkError.
func (l *hidLink) Open(context.Context) (Port, error) {
	port, err := l.open()
	if err != nil {
		return nil, hidError("open HID scale", l.Name(), err)
	}
	return port, nil
}

// hidError makes a LinkError with the hint for such a device.
func hidError(op, device string, err error) *LinkError {
	known := linkError(op, device, err)
	switch err := known.Err; {
	case isAny(err, syscall.ENOENT, syscall.ENXIO):
		known.Do = "plug the scale in and switch it on, or correct the path"
	case isAny(err, syscall.EACCES, syscall.EPERM):
		known.Do = hidPermission
	case isAny(err, syscall.ENODEV, syscall.EIO, io.EOF):
		known.Do = "unplugged or switched off: check the scale and its cable"
	case isAny(err, syscall.ENOTTY, syscall.EISDIR):
		known.Do = hidForm
	}
	return known
}

// hidPermission names no rule of its own: one for all of hidraw would let the group read keyboards too.
const hidPermission = `give this one device to a group of this user's by a udev rule: "twocup ports" prints it`

var errSendHID = errors.New("nothing is ever sent to a HID scale: take request and commands out of its entry")

// appendHID appends a line of a word and bytes in hexadecimal digits.
func appendHID(text []byte, word string, b []byte) []byte {
	const digits = "0123456789ABCDEF"
	text = append(text, word...)
	for _, c := range b {
		text = append(text, ' ', digits[c>>4], digits[c&0xF])
	}
	return append(text, '\n')
}
