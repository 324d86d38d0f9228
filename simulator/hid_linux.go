package simulator

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// HID is a pseudo HID scale: a folder with a sysfs that has its descriptor and ids, and beside it, in dev, a node that gives
// one report a read. The node is a FIFO in packet mode (pipe(2), O_DIRECT). As a HID device does, it loses the newest reports
// when nobody reads, and keeps none from before it was opened.
type HID struct {
	folder string
	number int
	node   *os.File // the writing end
	line   []byte   // not whole yet
}

// OpenHID plugs in a scale that sends reports of a layout, one of LineOptions.Report, with the ids 1209:0001 (a vendor's
// number that is given to open projects), as hidraw device of this number. The folder must exist; several may share it.
func OpenHID(folder, layout string, number int) (*HID, error) {
	h := &HID{folder: folder, number: number}
	err := errors.Join(os.MkdirAll(filepath.Dir(h.Node()), 0o700), unix.Mkfifo(h.Node(), 0o600))
	if err == nil {
		if err = h.plugIn(hidDescriptor(layout)); err != nil {
			err = errors.Join(err, h.Close())
		}
	}
	if err != nil {
		return nil, fmt.Errorf("make a pseudo HID scale: %w (give a folder of a file system that has FIFOs, and a number that is free)", err)
	}
	return h, nil
}

func (h *HID) name() string { return fmt.Sprintf("hidraw%d", h.number) }

// Node is the path of the node.
func (h *HID) Node() string { return filepath.Join(h.folder, "dev", h.name()) }

// Sys is the sysfs that has the device.
func (h *HID) Sys() string { return filepath.Join(h.folder, "sys") }

func (h *HID) device() string { return filepath.Join(h.Sys(), "class", "hidraw", h.name()) }

// plugIn opens the node first: who sees the device in sysfs can read it.
func (h *HID) plugIn(descriptor []byte) error {
	device := filepath.Join(h.device(), "device")
	uevent := "DRIVER=hid-generic\nHID_ID=0003:00001209:00000001\nHID_NAME=Simulated bench scale\n"
	return errors.Join(
		h.hold(),
		os.MkdirAll(device, 0o700),
		os.WriteFile(filepath.Join(device, "report_descriptor"), descriptor, 0o600),
		os.WriteFile(filepath.Join(device, "uevent"), []byte(uevent), 0o600),
	)
}

// hold opens the writing end, which takes a reader for the moment, and switches packets on. What lay in the FIFO is gone.
func (h *HID) hold() error {
	if h.node != nil {
		h.node.Close()
	}
	reader, err := os.OpenFile(h.Node(), os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return err
	}
	defer reader.Close()
	if h.node, err = os.OpenFile(h.Node(), os.O_WRONLY|unix.O_NONBLOCK, 0); err != nil {
		return err
	}
	return control(h.node, func(fd int) error {
		_, err := unix.FcntlInt(uintptr(fd), unix.F_SETFL, unix.O_DIRECT|unix.O_NONBLOCK)
		return err
	})
}

// Write sends the reports that have become whole lines, of a bench with the shape hid.
func (h *HID) Write(b []byte) (int, error) {
	h.line = append(h.line, b...)
	for {
		line, rest, whole := bytes.Cut(h.line, []byte("\r\n"))
		if !whole {
			return len(b), nil
		}
		report, err := hidReport(line)
		h.line = append(h.line[:0], rest...)
		if err != nil {
			return len(b), fmt.Errorf("send report %q: %w (give the bench the shape hid)", line, err)
		}
		if err := h.send(report); err != nil {
			return len(b), err
		}
	}
}

// send loses what nobody takes.
func (h *HID) send(report []byte) error {
	err := control(h.node, func(fd int) error {
		_, err := unix.Write(fd, report) // not the file's own Write, which would wait for room
		return err
	})
	switch {
	case errors.Is(err, unix.EPIPE):
		return h.hold() // nobody reads; what was left unread is not for the next
	case errors.Is(err, unix.EAGAIN):
		return nil
	}
	return err
}

// Close unplugs the scale: a reader comes to the end, and the device is gone.
func (h *HID) Close() error {
	err := errors.Join(os.RemoveAll(h.device()), os.RemoveAll(h.Node()))
	if h.node != nil {
		err = errors.Join(err, h.node.Close())
	}
	return err
}
