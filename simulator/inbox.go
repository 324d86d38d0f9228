package simulator

import (
	"bytes"
	"slices"
)

// order is what a command asks of the scale.
type order int

const (
	nothing order = iota
	request
	tare
	zero
)

type command struct {
	text []byte
	does order
}

// inbox finds commands among the bytes from the host, wherever they stand.
type inbox struct {
	known []command // the longest first
	heard []byte    // as much of the newest as a command has
}

func newInbox(opt ScaleOptions) (in inbox) {
	for _, c := range []command{{opt.OnRequest, request}, {opt.TareCommand, tare}, {opt.ZeroCommand, zero}} {
		if len(c.text) > 0 {
			in.known = append(in.known, command{bytes.Clone(c.text), c.does})
		}
	}
	slices.SortStableFunc(in.known, func(a, b command) int { return len(b.text) - len(a.text) })
	return in
}

// take takes a byte in and says which command is whole with it.
func (in *inbox) take(c byte) order {
	if len(in.known) == 0 {
		return nothing
	}
	if len(in.heard) == len(in.known[0].text) {
		in.heard = slices.Delete(in.heard, 0, 1)
	}
	in.heard = append(in.heard, c)
	for _, known := range in.known {
		if bytes.HasSuffix(in.heard, known.text) {
			in.clear()
			return known.does
		}
	}
	return nothing
}

func (in *inbox) clear() { in.heard = in.heard[:0] }
