package scaledrv

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"twocup/scaledrv/reading"
)

// open opens the node and reads the descriptor from sysfs, which has it for a pseudo device too. That it is this node's is
// sure: the device's own folder has a number that is never given twice (from memory), and is there before the node is
// opened and after.
func (l *hidLink) open() (Port, error) {
	node, err := l.find()
	if err != nil {
		return nil, err
	}
	path, err := filepath.EvalSymlinks(node)
	if err != nil {
		return nil, err
	}
	folder, err := filepath.EvalSymlinks(filepath.Join(l.sys, "class", "hidraw", filepath.Base(path), "device"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, l.whyNot(path)
	}
	if err != nil {
		return nil, err
	}
	file, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	descriptor, err := readScaleDescriptor(folder)
	if err != nil {
		file.Close()
		return nil, err
	}
	port := &hidPort{File: file, device: l.Name()}
	port.text = appendHID(port.text, "descriptor", descriptor)
	return port, nil
}

// whyNot tells a node that has no HID device behind it from one that has just gone.
func (l *hidLink) whyNot(path string) error {
	if _, err := os.Stat(path); err != nil {
		return err
	}
	return &LinkError{Op: "open HID scale", Device: l.Name(), Do: hidForm, Err: fmt.Errorf("%s has no device of this name for a node of hidraw", l.sys)}
}

// readScaleDescriptor reads the descriptor of a device by its folder in sysfs. A descriptor that no weight can be read by is
// an error: it would only ever give rejected reports.
func readScaleDescriptor(folder string) ([]byte, error) {
	descriptor, err := os.ReadFile(filepath.Join(folder, "report_descriptor"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, syscall.ENODEV // it has gone since
	}
	if err != nil {
		return nil, err
	}
	d, err := parseHID(descriptor)
	if err != nil {
		return nil, fmt.Errorf("its report descriptor: %w", err)
	}
	_, err = newHIDScale(d, reading.UnitNone)
	return descriptor, err
}

// find gives the node of the scale.
func (l *hidLink) find() (node string, err error) {
	if l.node != "" {
		return l.node, nil
	}
	devices, err := hidDevices(l.sys)
	if err != nil {
		return "", err
	}
	var nodes, scales []string
	for _, d := range devices {
		switch {
		case d.Scale && d.VID == l.vid && d.PID == l.pid:
			nodes = append(nodes, d.Node)
		case d.Scale:
			scales = append(scales, fmt.Sprintf("%04x:%04x", d.VID, d.PID))
		}
	}
	fault := &LinkError{Op: "find HID scale", Device: l.Name()}
	switch len(nodes) {
	case 1:
		return nodes[0], nil
	case 0:
		fault.Err, fault.Do = errors.New("no scale with these ids is there"), "plug it in and switch it on, or correct the ids"
		if len(scales) > 0 {
			fault.Do += "; HID scales with other ids: " + strings.Join(scales, ", ")
		}
	default:
		fault.Err, fault.Do = errors.New("scales with the same ids: "+strings.Join(nodes, ", ")), "name one by its path, as hid:"+nodes[0]
	}
	return "", fault
}

// hidPort is a node that is read a report at a time.
type hidPort struct {
	*os.File
	device string
	report [1 + maxReportBits/8]byte
	text   []byte // not given out yet
	room   []byte
}

// Read gives text. Between a line and the next it waits for a report.
func (p *hidPort) Read(b []byte) (int, error) {
	for len(p.text) == 0 {
		n, err := p.File.Read(p.report[:])
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return 0, err
		}
		if err != nil {
			return 0, hidError("read HID scale", p.device, err)
		}
		p.room = appendHID(p.room[:0], "report", p.report[:n])
		p.text = p.room
	}
	n := copy(b, p.text)
	p.text = p.text[n:]
	return n, nil
}

// Write always fails.
func (p *hidPort) Write([]byte) (int, error) {
	return 0, hidError("write to HID scale", p.device, errSendHID)
}
