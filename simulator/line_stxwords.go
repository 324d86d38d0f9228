package simulator

import (
	"strconv"

	"twocup/scaledrv/reading"
)

// Bits of the three status characters, from memory.
const (
	always = 1 << 5 // makes a printable character of each

	pointOnes = 2 // A, bits 0-2: the number counts ones; one less tens, one more tenths and so on to thousandths, 5
	stepShift = 3 // A, bits 3-4: the step, 1 for 1, 2 for 2, 3 for 5

	bitNet    = 1 << 0 // B
	bitMinus  = 1 << 1
	bitRange  = 1 << 2 // over or under
	bitMoving = 1 << 3
	bitKilo   = 1 << 4 // kilograms, and other metric units, which C names; else pounds
	// Bit 6 of B, not yet zeroed, is never set: this scale zeroes itself as it is switched on.
)

// unitBits are bit 4 of B and bits 0-2 of C.
var unitBits = map[reading.Unit]struct{ b, c byte }{
	reading.UnitKG: {bitKilo, 0}, reading.UnitLB: {0, 0},
	reading.UnitG: {bitKilo, 1}, reading.UnitT: {bitKilo, 2}, reading.UnitOZ: {0, 3},
}

// inWords is a step as this shape has it: tens where the last digit is never anything but zero.
func (f *lineFormat) inWords() (perDivision int64, decimals int) {
	perDivision, decimals = f.face.perDivision, f.face.decimals
	if decimals == 0 && perDivision%10 == 0 {
		return perDivision / 10, -1
	}
	return perDivision, decimals
}

func fitsStxWords(f *lineFormat) string {
	perDivision, decimals := f.inWords()
	_, known := unitBits[f.face.unit]
	switch {
	case !known:
		return "stx-words has no word for this unit (give g, kg, t, lb or oz)"
	case decimals > 3 || perDivision != 1 && perDivision != 2 && perDivision != 5:
		return "stx-words has steps of 1, 2 or 5 from tens to thousandths (give such a division)"
	case f.most/f.face.perDivision*perDivision > 999_999:
		return "does not fit the 6 places of a line (give a coarser division or less capacity)"
	}
	return ""
}

// writeStxWords: STX, three status characters, six digits of weight, six of tare, CR, and with Checksum the byte that makes
// the 7-bit sum of all of them zero. Outside the range the weight is nines. There is no word for a fault.
func writeStxWords(f *lineFormat, b []byte, shown display) []byte {
	if shown.fault {
		return b
	}
	perDivision, decimals := f.inWords()
	unit := unitBits[f.face.unit]
	step := map[int64]byte{1: 1, 2: 2, 5: 3}[perDivision]
	start := len(b)
	b = append(b, stx, always|step<<stepShift|byte(pointOnes+decimals), f.statusB(shown)|unit.b, always|unit.c)
	weight := max(shown.divisions, -shown.divisions) * perDivision
	if shown.over || shown.under {
		weight = 999_999
	}
	b = sixDigits(b, weight)
	b = append(sixDigits(b, shown.tare*perDivision), '\r')
	if f.Checksum {
		var sum byte
		for _, c := range b[start:] {
			sum += c
		}
		b = append(b, -sum&0x7f)
	}
	return b
}

func (f *lineFormat) statusB(shown display) byte {
	bits := byte(always)
	for _, is := range []struct {
		bit byte
		on  bool
	}{
		{bitNet, shown.net}, {bitMinus, shown.divisions < 0 || shown.under}, {bitRange, shown.over || shown.under},
		{bitMoving, !shown.stable},
	} {
		if is.on {
			bits |= is.bit
		}
	}
	return bits
}

func sixDigits(b []byte, n int64) []byte {
	var room [20]byte
	digits := strconv.AppendInt(room[:0], n, 10)
	return append(padding(b, '0', 6-len(digits)), digits...)
}
