package scaledrv

import "twocup/scaledrv/reading"

// layout is what stays the same in all lines of one scale with one setting. No line has the zero layout.
type layout struct {
	length   int // bytes
	decimals uint8
	unit     reading.Unit
}

// guard holds back a line of a layout not seen before until the next line has it too. A character lost on the way makes
// a line that reads as a smaller weight, but also one of another layout; a change of unit or resolution at the scale
// costs one line. The first line after opening waits for its second.
//
// It is made for scales that pad their digits, as they commonly do. Without padding each new digit is a change of
// layout: that costs a line, and a line cut to the old length right after it would pass.
type guard struct {
	accepted layout
	waiting  layout
}

// pass says whether a line of this layout may be let out, and how many bytes of a line that waited are now known to be
// damage.
func (g *guard) pass(l layout) (ok bool, damaged int) {
	if l == g.waiting {
		g.accepted, g.waiting = l, layout{}
		return true, 0
	}
	damaged = g.interrupt()
	if l == g.accepted {
		return true, damaged
	}
	g.waiting = l
	return false, damaged
}

// interrupt is told of a rejected line: the one that waited has no second in a row. It gives that one's bytes.
func (g *guard) interrupt() (damaged int) {
	damaged = g.waiting.length
	g.waiting = layout{}
	return damaged
}
