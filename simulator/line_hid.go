package simulator

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"twocup/scaledrv/reading"
)

// hidLayout is how a HID scale lays out its report, and the descriptor that says so.
type hidLayout struct {
	descriptor string
	units      []reading.Unit // by their codes; UnitNone has none
	most       int64          // the largest number that its field holds
	report     func(status, unit byte, exponent int, digits int64) []byte
	signed     bool // it has a sign; else below zero is a status
}

// The units of USB-IF HID Usage Tables for USB 1.5, Scales Page, from milligram on, codes from 1. Tael and avoirdupois ton
// have no one factor and are not shown here.
var hidUnits = []reading.Unit{reading.UnitNone, reading.UnitMG, reading.UnitG, reading.UnitKG, reading.UnitCT, reading.UnitNone, reading.UnitGN, reading.UnitDWT,
	reading.UnitT, reading.UnitNone, reading.UnitOZT, reading.UnitOZ, reading.UnitLB}

// hidLayouts are known by name. Their descriptors were written for this project from the table above and USB-IF Device Class
// Definition for HID 1.11, 6.2.2: numbered, the usual order; the same without a number; and one in another order, with
// padding, a signed weight of 24 bits and four units with codes from 0.
var hidLayouts = map[string]hidLayout{
	"": {
		descriptor: "05 8D 09 01 A1 01 09 20 A1 02 85 03 09 32 A1 02 09 70 A1 02 19 71 29 78 15 01 25 08 75 08 95 01 81 00 C0 09 50 A1 02 19 51 29 5C " +
			"15 01 25 0C 75 08 95 01 81 00 C0 09 41 15 81 25 7F 75 08 95 01 81 02 09 40 15 00 27 FF FF 00 00 75 10 95 01 81 02 C0 C0 C0",
		units: hidUnits, most: 0xFFFF,
		report: func(status, unit byte, exponent int, digits int64) []byte {
			return binary.LittleEndian.AppendUint16([]byte{3, status, unit, byte(exponent)}, uint16(digits))
		},
	},
	"no-number": {
		descriptor: "05 8D 09 20 A1 01 09 70 A1 02 19 71 29 78 15 01 25 08 75 08 95 01 81 00 C0 09 50 A1 02 19 51 29 5C 15 01 25 0C 81 00 C0 " +
			"09 41 15 81 25 7F 81 02 09 40 15 00 26 FF FF 75 10 95 01 81 02 C0",
		units: hidUnits, most: 0xFFFF,
		report: func(status, unit byte, exponent int, digits int64) []byte {
			return binary.LittleEndian.AppendUint16([]byte{status, unit, byte(exponent)}, uint16(digits))
		},
	},
	"reordered": {
		descriptor: "05 8D 09 01 A1 01 09 20 A1 02 85 07 09 32 A1 02 09 40 17 00 00 80 FF 27 FF FF 7F 00 75 18 95 01 81 02 75 04 95 01 81 03 " +
			"09 70 A1 02 19 71 29 78 15 01 25 08 75 04 95 01 81 00 C0 75 08 95 01 81 03 09 41 15 81 25 7F 75 08 95 01 81 02 " +
			"09 50 A1 02 09 52 09 53 09 5B 09 5C 15 00 25 03 75 08 95 01 81 00 C0 C0 C0 C0",
		units: []reading.Unit{reading.UnitG, reading.UnitKG, reading.UnitOZ, reading.UnitLB}, most: 0x7FFFFF, signed: true,
		report: func(status, unit byte, exponent int, digits int64) []byte {
			weight := binary.LittleEndian.AppendUint32(nil, uint32(digits))
			return append(append([]byte{7}, weight[:3]...), status<<4, 0xA5, byte(exponent), unit) // any padding
		},
	},
}

// fitsHID says what of a unit or step a report cannot say.
func fitsHID(f *lineFormat) string {
	layout, known := hidLayouts[f.Report]
	switch {
	case !known:
		return fmt.Sprintf("layout %q of a report: unknown (known: \"\", no-number, reordered)", f.Report)
	case f.face.unit == reading.UnitNone || !slices.Contains(layout.units, f.face.unit):
		return "a report has no code for this unit"
	case f.most > layout.most:
		return fmt.Sprintf("a report holds at most %d units of the last digit (give a coarser division or less capacity)", layout.most)
	}
	return ""
}

// writeHID: a report's bytes as two hexadecimal digits each, which HID makes bytes of. The status codes from 1: fault, stable
// at zero, in motion, stable, under zero, over.
func writeHID(f *lineFormat, b []byte, shown display) []byte {
	layout := hidLayouts[f.Report]
	status, digits := byte(3), f.magnitude(shown)
	switch {
	case shown.fault:
		status, digits = 1, 0
	case shown.over:
		status, digits = 6, 0
	case shown.under || shown.divisions < 0 && !layout.signed:
		status = 5
	case shown.stable && digits == 0:
		status = 2
	case shown.stable:
		status = 4
	}
	if shown.divisions < 0 && layout.signed {
		digits = -digits
	}
	unit := byte(slices.Index(layout.units, f.face.unit))
	return fmt.Appendf(b, "% X", layout.report(status, unit, -f.face.decimals, min(digits, layout.most)))
}

// hidReport makes a line of writeHID bytes again.
func hidReport(line []byte) (report []byte, err error) {
	return hex.DecodeString(string(bytes.ReplaceAll(line, []byte{' '}, nil)))
}

// hidDescriptor is a layout's.
func hidDescriptor(layout string) []byte {
	descriptor, _ := hex.DecodeString(strings.ReplaceAll(hidLayouts[layout].descriptor, " ", ""))
	return descriptor
}
