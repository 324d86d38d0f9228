package scaledrv

import (
	"bytes"
	"errors"
	"fmt"

	"twocup/scaledrv/reading"
)

// longestHID is the longest line of a hid link: a descriptor in hexadecimal digits.
const longestHID = len("descriptor") + 3*maxDescriptor

func newHID(opt ShapeOptions) (Shape, error) {
	if opt.Unit == reading.UnitLBOZ {
		return Shape{}, errors.New("unit lb:oz: a HID scale sends pounds or ounces (USB-IF HID Usage Tables, Scales Page)")
	}
	return Shape{"hid", opt, func() format {
		h := &hid{unit: opt.Unit, bytes: make([]byte, 0, maxDescriptor)}
		return format{&lines{most: longestHID, synced: true}, h.read}
	}}, nil
}

// hid reads the lines of a hid link: a report is read by the descriptor before it.
//
// What damage can pass: none that USB does not let pass, which has a checksum of 16 bits over what it carries and sends again
// what is damaged (from memory). So the guard has no say, and a scale that sends only when something changes is read at once.
// Half a line has lost its word, or is too short.
type hid struct {
	unit  reading.Unit
	scale *hidScale // nil: no descriptor that can be used has come
	bytes []byte    // of the line at hand
}

var errNoDescriptor = errors.New("a report without a descriptor before it that can be used")

func (h *hid) read(line []byte, p *parsed) error {
	word, digits, _ := bytes.Cut(line, []byte{' '})
	var err error
	if h.bytes, err = appendUnhex(h.bytes[:0], digits); err != nil {
		return err
	}
	switch string(word) {
	case "descriptor":
		h.scale = nil
		d, err := parseHID(h.bytes)
		if err != nil {
			return err
		}
		scale, err := newHIDScale(d, h.unit)
		if err != nil {
			return err
		}
		h.scale = scale
		return ErrNoReading
	case "report":
		if h.scale == nil {
			return errNoDescriptor
		}
		p.whole = true
		return h.scale.read(h.bytes, &p.Reading)
	}
	return fmt.Errorf("line %.20q is neither a descriptor nor a report", line)
}

// appendUnhex reads bytes of two hexadecimal digits each, parted by blanks.
func appendUnhex(b, digits []byte) ([]byte, error) {
	for i := 0; i < len(digits); i += 3 {
		if len(digits) < i+2 || len(digits) > i+2 && (digits[i+2] != ' ' || len(digits) == i+3) {
			return b, fmt.Errorf("no bytes of two digits each, parted by a blank, at %d", i)
		}
		high, low := unhex(digits[i]), unhex(digits[i+1])
		if high|low > 0xF {
			return b, fmt.Errorf("%q is no hexadecimal byte", digits[i:i+2])
		}
		b = append(b, high<<4|low)
	}
	return b, nil
}

// unhex is a digit's value, or more than 15.
func unhex(c byte) byte {
	switch {
	case '0' <= c && c <= '9':
		return c - '0'
	case 'A' <= c && c <= 'F':
		return c - 'A' + 10
	}
	return 0xFF
}
