package scaledrv

import "twocup/scaledrv/reading"

// layout is what stays the same in all frames of one scale with one setting.
type layout struct {
	width    int // as in parsed
	decimals uint8
	unit     reading.Unit
	blanked  bool // as in parsed
}

// guard holds back a frame of a layout not seen before until the next frame has it too. A character lost on the way
// makes a line that reads as a smaller weight, but also one of another layout; a change of unit or resolution at the
// scale costs one line. The first line after opening waits for its second.
//
// It is made for scales that pad their digits, as they commonly do. Without padding each new digit is a change of
// layout: that costs a line, and a line cut to the old length right after it would pass. A shape whose number is as long
// as its digits gives no width, and has only its decimals and its unit to go by.
//
// A scale that has shown whole units never lets out thousandths of the same unit: no resolution changes so far, but 1,000 g
// or 1.000 g of a display that parts its thousands would be read as one gram.
type guard struct {
	accepted [2]layout // of whole and of blanked frames
	waiting  layout
	held     int // bytes of the frame that waits; 0 where none does
}

// pass says whether a frame of this layout and so many bytes may be let out, and how many bytes of a frame that waited
// are now known to be damage.
func (g *guard) pass(l layout, bytes int) (ok bool, damaged int) {
	accepted := &g.accepted[0]
	if l.blanked {
		accepted = &g.accepted[1]
	}
	if l.unit == accepted.unit && accepted.decimals == 0 && l.decimals == 3 {
		return false, g.interrupt() + bytes
	}
	if g.held > 0 && l == g.waiting {
		for i := range g.accepted {
			if g.accepted[i].unit != l.unit {
				g.accepted[i] = layout{} // of before a change of unit
			}
		}
		*accepted, g.held = l, 0
		return true, 0
	}
	damaged = g.interrupt()
	if l == *accepted {
		return true, damaged
	}
	g.waiting, g.held = l, bytes
	return false, damaged
}

// interrupt is told of a rejected frame: the one that waited has no second in a row. It gives that one's bytes.
func (g *guard) interrupt() (damaged int) {
	damaged, g.held = g.held, 0
	return damaged
}
