package scaledrv

import (
	"errors"
	"fmt"

	"twocup/scaledrv/reading"
)

// The usages that a reading is made of: USB-IF HID Usage Tables for USB 1.5, Scales Page.
const (
	scalesPage = 0x8D

	usageAttributeReport  = scalesPage<<16 | 0x30
	usageDataReport       = scalesPage<<16 | 0x32
	usageStatusReport     = scalesPage<<16 | 0x33
	usageStatisticsReport = scalesPage<<16 | 0x35

	usageWeight  = scalesPage<<16 | 0x40
	usageScaling = scalesPage<<16 | 0x41

	usageMilligram = scalesPage<<16 | 0x51
	usagePound     = scalesPage<<16 | 0x5C

	usageFault    = scalesPage<<16 | 0x71
	usageToRezero = scalesPage<<16 | 0x78
)

// hidUnits are the weight units in the order of their usages, from milligram on. Tael and avoirdupois ton have no one factor.
var hidUnits = [usagePound - usageMilligram + 1]reading.Unit{reading.UnitMG, reading.UnitG, reading.UnitKG, reading.UnitCT, reading.UnitNone,
	reading.UnitGN, reading.UnitDWT, reading.UnitT, reading.UnitNone, reading.UnitOZT, reading.UnitOZ, reading.UnitLB}

// statuses is a set of status usages, the fault in bit 0.
type statuses uint8

const (
	statusFault  statuses = 1<<0 | 1<<6 | 1<<7 // fault, requires calibration, requires re-zeroing
	statusStable statuses = 1<<1 | 1<<3        // at the centre of zero, or with a weight
	statusMoving statuses = 1 << 2
	statusUnder  statuses = 1 << 4
	statusOver   statuses = 1 << 5
)

// state is what the statuses together say; of several, the one that lets less through.
func (s statuses) state() (reading.State, reading.Motion) {
	switch {
	case s&statusFault != 0:
		return reading.Fault, reading.MotionUnknown
	case s&statusOver != 0:
		return reading.Over, reading.MotionUnknown
	case s&statusUnder != 0:
		return reading.Under, reading.MotionUnknown
	case s&statusMoving != 0:
		return reading.Normal, reading.Moving
	case s&statusStable != 0:
		return reading.Normal, reading.Stable
	}
	return reading.Normal, reading.MotionUnknown
}

// hidElement is one number of a report that says something of the weight.
type hidElement struct {
	*hidField
	bit   int
	usage uint32 // of a variable
}

// hidInputReport is one of the reports that a scale sends.
type hidInputReport struct {
	bits                           int
	elements                       []hidElement
	weight, scaling, units, status bool // it has a field for them
}

// hidScale reads the reports of one scale by their usages, wherever its descriptor has put them.
//
// Weight, scaling and unit must be in one report: put together from several, they could be of before and after a change at
// the scale. A status in a report of its own holds for the weights that follow until the next one. So while a scale goes out
// of its range, one weight may come with the status of before; an unsigned one below zero looks like one above.
//
// What stands in the report collections for attributes, control, weight limit and statistics is not the load on the pan, and
// is passed over.
type hidScale struct {
	numbered bool
	unit     reading.Unit // of a scale that has no field for it
	reports  map[uint8]*hidInputReport
	keeps    bool     // some reports have a status and no weight
	kept     statuses // of the newest of them; none: not known
}

// maxElements of weight, scaling, unit and status in all of a scale's reports; ours.
const maxElements = 64

// newHIDScale says what is missing from a descriptor that no weight can be read by.
func newHIDScale(d hidDescriptor, unit reading.Unit) (*hidScale, error) {
	s := &hidScale{numbered: d.numbered, unit: unit, reports: map[uint8]*hidInputReport{}}
	if !d.scale {
		return nil, errors.New("this is no scale: its descriptor has no application of the Scales page (0x8D)")
	}
	for r, bits := range d.bits {
		if r.kind == hidInput {
			s.reports[r.id] = &hidInputReport{bits: bits}
		}
	}
	left := maxElements
	for i := range d.fields {
		f := &d.fields[i]
		if f.report.kind != hidInput || f.in != 0 && f.in != usageDataReport && f.in != usageStatusReport {
			continue
		}
		if !s.reports[f.report.id].add(f, &left) {
			return nil, fmt.Errorf("its descriptor has more than %d fields for weight, unit and status", maxElements)
		}
	}
	return s, s.check()
}

// add takes the elements of a field that say something of the weight; false where there are too many.
func (r *hidInputReport) add(f *hidField, left *int) bool {
	for i := range f.count {
		e := hidElement{hidField: f, bit: f.bit + i*f.size}
		if f.array {
			units, status := f.has(usageMilligram, usagePound), f.has(usageFault, usageToRezero)
			if !units && !status {
				return true
			}
			r.units, r.status = r.units || units, r.status || status
		} else {
			e.usage = f.usage(int64(i))
			switch u := e.usage; {
			case u == usageWeight:
				r.weight = true
			case u == usageScaling:
				r.scaling = true
			case usageMilligram <= u && u <= usagePound:
				r.units = true
			case usageFault <= u && u <= usageToRezero:
				r.status = true
			default:
				continue
			}
		}
		if *left--; *left < 0 {
			return false
		}
		r.elements = append(r.elements, e)
	}
	return true
}

// has says whether some of a field's usages are in a range.
func (f *hidField) has(low, high uint32) bool {
	for _, r := range f.usages {
		if r.min <= high && low <= r.max {
			return true
		}
	}
	return false
}

// check says why no weight can be read, and finds out which reports have the status.
func (s *hidScale) check() error {
	weight, scaling, units := false, true, false
	for _, r := range s.reports {
		s.keeps = s.keeps || r.status && !r.weight
		weight = weight || r.weight
		scaling = scaling && (r.scaling || !r.weight)
		units = units || r.units && !r.weight
	}
	for _, r := range s.reports {
		if r.weight && r.units {
			units = false
		}
	}
	switch {
	case !weight:
		return errors.New("its descriptor has no Data Weight (usage 0x40) in a report that the scale sends by itself")
	case !scaling:
		return errors.New("its descriptor has no Data Scaling (usage 0x41) beside Data Weight: where the mark of the number stands is not known")
	case units:
		return errors.New("its descriptor has Weight Unit (usages 0x51 to 0x5C) in another report than Data Weight: a weight could be taken in a unit of before")
	}
	return nil
}

// hidSaid is what the elements of one report say.
type hidSaid struct {
	weight, scaling         int64
	weights, scalings, unit int // how many; of the unit, the last usage
	units                   int
	status                  statuses
}

// read reads a report, its id included, into a zero reading.
func (s *hidScale) read(report []byte, p *reading.Reading) error {
	if len(report) == 0 {
		return errors.New("an empty report")
	}
	id := uint8(0)
	if s.numbered {
		id, report = report[0], report[1:]
	}
	r := s.reports[id]
	if r == nil {
		return fmt.Errorf("report id %d is not in the descriptor", id)
	}
	keeps := r.status && !r.weight
	if keeps {
		s.kept = 0 // whatever becomes of this one, the one before is over
	}
	if 8*len(report) < r.bits {
		return fmt.Errorf("%d bytes behind the report id, %d bits by the descriptor", len(report), r.bits)
	}
	var said hidSaid
	if err := r.read(report, &said); err != nil {
		return err
	}
	status := said.status
	switch {
	case r.status && status == 0:
		return errors.New("no status: its code is outside the logical range")
	case keeps:
		s.kept = status
	case r.weight && !r.status && s.keeps:
		if status = s.kept; status == 0 {
			return ErrNoReading // it may be below zero, or at fault
		}
	}
	p.State, p.Motion = status.state()
	switch {
	case p.State != reading.Normal:
		return nil
	case !r.weight:
		return ErrNoReading
	}
	return s.weigh(r, &said, p)
}

// read sums up a report's elements.
func (r *hidInputReport) read(report []byte, said *hidSaid) error {
	for i := range r.elements {
		e := &r.elements[i]
		v := e.value(report)
		inside := e.min <= v && v <= e.max
		u := e.usage
		switch {
		case e.array:
			if !inside {
				continue // the standard's null value: nothing is asserted
			}
			if u = e.hidField.usage(v - e.min); u < usageMilligram {
				continue // an array has no number in it
			}
		case u == usageWeight, u == usageScaling:
			if !inside {
				return fmt.Errorf("usage 0x%X is %d, outside the %d to %d of the descriptor", u&0xFFFF, v, e.min, e.max)
			}
		case v == 0:
			continue // a flag that is off
		}
		said.take(u, v)
	}
	return nil
}

func (said *hidSaid) take(u uint32, v int64) {
	switch {
	case u == usageWeight:
		said.weight = v
		said.weights++
	case u == usageScaling:
		said.scaling = v
		said.scalings++
	case usageMilligram <= u && u <= usagePound:
		said.unit = int(u - usageMilligram)
		said.units++
	case usageFault <= u && u <= usageToRezero:
		said.status |= 1 << (u - usageFault)
	}
}

// value is an element's number: the lowest bit comes first (HID 1.11, 5.6). The report is long enough.
func (e *hidElement) value(report []byte) int64 {
	var v uint64
	for i := (e.bit + e.size - 1) / 8; i >= e.bit/8; i-- {
		v = v<<8 | uint64(report[i])
	}
	v = v >> (e.bit % 8) << (64 - e.size)
	if e.min < 0 {
		return int64(v) >> (64 - e.size)
	}
	return int64(v >> (64 - e.size))
}

// weigh fills in value and mass.
func (s *hidScale) weigh(r *hidInputReport, said *hidSaid, p *reading.Reading) error {
	unit := s.unit
	switch {
	case said.weights != 1 || said.scalings != 1:
		return fmt.Errorf("%d weights and %d scalings in one report", said.weights, said.scalings)
	case !r.units && unit == reading.UnitNone:
		return errNoUnit
	case !r.units:
	case said.units != 1:
		return fmt.Errorf("%d units: a code outside the logical range is none", said.units)
	default:
		if unit = hidUnits[said.unit]; unit == reading.UnitNone {
			return fmt.Errorf("unit with usage 0x%X: tael and avoirdupois ton differ from place to place: set the scale to another unit", usageMilligram&0xFFFF+said.unit)
		}
	}
	v := reading.Value{Digits: said.weight, Unit: unit}
	switch n := said.scaling; {
	case n < -reading.MaxDecimals || n > reading.MaxDecimals:
		return fmt.Errorf("scaling 10^%d: beyond 10^±%d", n, reading.MaxDecimals)
	case n <= 0:
		v.Decimals = uint8(-n)
	default:
		for range n {
			v.Digits *= 10 // 32 bits and nine digits more fit
		}
	}
	return setWeight(v, false, p)
}
