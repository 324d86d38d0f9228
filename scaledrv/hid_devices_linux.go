package scaledrv

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// hidDevice is a device of the system's hidraw driver.
type hidDevice struct {
	Node     string // such as /dev/hidraw0
	VID, PID uint16 // vendor and product
	Name     string // as the device states it, whatever that is
	Scale    bool   // its descriptor has an application of the Scales page
}

// hidDevices lists the hidraw devices of a sysfs, commonly /sys; their nodes are in the folder dev beside it. It needs no
// permission to open any of them. Devices that vanish meanwhile are left out, and so are those that state no ids.
func hidDevices(root string) ([]hidDevice, error) {
	folder := filepath.Join(root, "class", "hidraw")
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // the driver is not there before its first device
	}
	if err != nil {
		return nil, fmt.Errorf("list HID devices: %w (see that sysfs can be read)", err)
	}
	var found []hidDevice
	for _, entry := range entries {
		device := filepath.Join(folder, entry.Name(), "device")
		d := hidDevice{Node: filepath.Join(filepath.Dir(root), "dev", entry.Name())}
		uevent, err := os.ReadFile(filepath.Join(device, "uevent"))
		if err != nil || !d.readIDs(string(uevent)) {
			continue
		}
		if descriptor, err := os.ReadFile(filepath.Join(device, "report_descriptor")); err == nil {
			parsed, _ := parseHID(descriptor) // a scale that states it wrongly is one too
			d.Scale = parsed.scale
		}
		found = append(found, d)
	}
	return found, nil
}

// readIDs takes ids and name from lines such as HID_ID=0003:00001209:00000001 and HID_NAME=Bench scale.
func (d *hidDevice) readIDs(uevent string) (ok bool) {
	for line := range strings.Lines(uevent) {
		key, value, _ := strings.Cut(strings.TrimRight(line, "\n"), "=")
		switch key {
		case "HID_NAME":
			d.Name = value
		case "HID_ID":
			ids := strings.Split(value, ":") // bus, vendor, product
			if len(ids) != 3 {
				return false
			}
			vid, err1 := strconv.ParseUint(ids[1], 16, 16)
			pid, err2 := strconv.ParseUint(ids[2], 16, 16)
			d.VID, d.PID, ok = uint16(vid), uint16(pid), err1 == nil && err2 == nil
		}
	}
	return ok
}
