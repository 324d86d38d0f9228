package scaledrv

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// hidPorts are the HID scales. Their ids are their stable names, but of scales with the same ones each goes by its node.
// That another program reads one is no trouble: each reader gets every report (Documentation/hid/hidraw.rst).
func hidPorts(root string) (list []ListedPort, err error) {
	devices, err := hidDevices(filepath.Join(root, "sys"))
	if err != nil {
		return nil, err
	}
	named := map[string]int{}
	for _, d := range devices {
		if d.Scale {
			named[d.idLink()]++
		}
	}
	for _, d := range devices {
		if !d.Scale {
			continue
		}
		device := "/dev/" + plainText(filepath.Base(d.Node))
		p := ListedPort{
			Device: device, Kind: "hid", VID: fmt.Sprintf("%04x", d.VID), PID: fmt.Sprintf("%04x", d.PID), Name: plainText(d.Name),
			Link: d.idLink(), Err: d.whyNotNow(device),
		}
		if named[p.Link] > 1 {
			p.Link = "hid:" + device
		}
		list = append(list, p)
	}
	return list, nil
}

func (d hidDevice) idLink() string { return fmt.Sprintf("hid:%04x:%04x", d.VID, d.PID) }

// whyNotNow is why opening this scale would fail, as far as that can be seen without opening it.
func (d hidDevice) whyNotNow(device string) error {
	err := unix.Faccessat(unix.AT_FDCWD, d.Node, unix.R_OK, unix.AT_EACCESS)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return &LinkError{Op: "look at HID scale", Device: device, Err: err, Do: hintGone}
	}
	do := permissionHint(d.Node)
	if do == hintNoGroup { // the rule for this device alone: one for all of hidraw would let the group read keyboards too
		do += fmt.Sprintf(`: KERNEL=="hidraw*", ATTRS{idVendor}=="%04x", ATTRS{idProduct}=="%04x", GROUP="dialout", MODE="0660"`, d.VID, d.PID)
	}
	return &LinkError{Op: "open HID scale", Device: device, Err: err, Do: do}
}
