package scaledrv

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"syscall"

	"golang.org/x/sys/unix"
)

// listPorts reads the system's lists, which lie in sys and dev under root.
func listPorts(root string) (list []ListedPort, err error) {
	found, err := serialPorts(root)
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	for _, p := range found {
		p.Stable = p.stableNames(root, found)
		p.Link = "serial:" + slices.Concat(p.Stable, []string{p.Device})[0]
		p.Err = (&serialLink{device: p.Device}).whyNotNow(filepath.Join(root, p.Device))
		list = append(list, p.ListedPort)
	}
	scales, err := hidPorts(root)
	return inOrder(append(list, scales...)), err
}

// foundPort is a port, and where the system keeps its USB device; empty where it has none.
type foundPort struct {
	ListedPort
	usb string
}

// serialPorts are the terminals that have a device. Those without one are virtual: consoles, pseudo-terminals. Those of
// type 0 are places for a chip that is not there: the type is that of TIOCGSERIAL (Documentation/ABI/testing/sysfs-tty),
// and 0 is PORT_UNKNOWN (include/uapi/linux/serial.h).
func serialPorts(root string) (list []foundPort, err error) {
	class := filepath.Join(root, "sys/class/tty")
	entries, err := os.ReadDir(class)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // a kernel without terminals
	}
	for _, entry := range entries {
		dir := filepath.Join(class, entry.Name())
		device, gone := filepath.EvalSymlinks(filepath.Join(dir, "device"))
		if gone != nil || attribute(dir, "type") == "0" {
			continue
		}
		p := foundPort{usb: usbAbove(device)}
		p.Device, p.Kind = "/dev/"+plainText(entry.Name()), "serial"
		p.states(p.usb)
		list = append(list, p)
	}
	return list, err
}

// usbAbove is the USB device that a device of sysfs belongs to; empty where there is none.
func usbAbove(dir string) string {
	for ; dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		if attribute(dir, "idVendor") != "" {
			return dir
		}
	}
	return ""
}

var fourHex = regexp.MustCompile(`^[0-9a-f]{4}$`)

// states reads what a USB device says of itself.
func (p *ListedPort) states(usb string) {
	if usb == "" {
		return
	}
	if vid, pid := attribute(usb, "idVendor"), attribute(usb, "idProduct"); fourHex.MatchString(vid) && fourHex.MatchString(pid) {
		p.VID, p.PID = vid, pid
	}
	p.Maker, p.Name, p.Serial = attribute(usb, "manufacturer"), attribute(usb, "product"), attribute(usb, "serial")
}

// attribute is a file of sysfs that holds one line; empty where there is none.
func attribute(dir, name string) string {
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return plainText(string(text))
}

// stableNames are the links that udev keeps to a port on USB. Devices that state the same of themselves have one name
// under by-id between them, which leads to any of them: then there is only the name of the socket.
func (p *foundPort) stableNames(root string, all []foundPort) (names []string) {
	if p.usb == "" {
		return nil // its own name is as good
	}
	folders := []string{"/dev/serial/by-id", "/dev/serial/by-path"}
	if slices.ContainsFunc(all, p.isTwinOf) {
		folders = folders[1:]
	}
	node, _ := os.Stat(filepath.Join(root, p.Device))
	for _, folder := range folders {
		entries, _ := os.ReadDir(filepath.Join(root, folder)) // without udev there is none
		for _, entry := range entries {
			name := filepath.Join(folder, entry.Name())
			leadsTo, _ := os.Stat(filepath.Join(root, name)) // neither is opened
			if node != nil && leadsTo != nil && os.SameFile(node, leadsTo) && fitsLink(name) {
				names = append(names, name)
			}
		}
	}
	return names
}

func (p *foundPort) isTwinOf(q foundPort) bool {
	return q.usb != "" && q.usb != p.usb && [...]string{q.VID, q.PID, q.Maker, q.Name, q.Serial} == [...]string{p.VID, p.PID, p.Maker, p.Name, p.Serial}
}

// fitsLink says whether a link of this path, as it would be printed, leads to it.
func fitsLink(path string) bool {
	link, err := parseSerial(plainText(path))
	return err == nil && link.device == path
}

// hintGone is for a device that the system knows, and of which there is no node.
const hintGone = "it has been unplugged just now, or the container this runs in has not been given it"

// whyNotNow is why opening this link would fail, as far as that can be seen without opening it. The path is that of its
// node.
func (l *serialLink) whyNotNow(path string) error {
	err := unix.Faccessat(unix.AT_FDCWD, path, unix.R_OK|unix.W_OK, unix.AT_EACCESS)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &LinkError{Op: "look at serial port", Device: l.device, Err: err, Do: hintGone}
	case err != nil:
		return l.whyNot(path, err)
	case len(holders(path, 0)) > 0:
		return l.whyNot(path, syscall.EBUSY)
	}
	return nil
}
