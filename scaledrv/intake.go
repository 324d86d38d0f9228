package scaledrv

import (
	"errors"

	"twocup/scaledrv/reading"
)

// intake makes readings from the bytes of one opening of a port.
type intake struct {
	shape    Shape
	split    splitter
	guard    guard
	rejected uint64 // bytes of damaged lines, without their ends
}

// next takes bytes up to the end of the first line that is let out as a reading and gives what is left of chunk.
// Without a reading, chunk is used up.
func (in *intake) next(chunk []byte) (r reading.Reading, rest []byte, ok bool) {
	for len(chunk) > 0 {
		var line []byte
		line, chunk = in.split.next(chunk)
		if in.split.rejected > 0 {
			in.reject(in.split.rejected)
			in.split.rejected = 0
		}
		if line == nil {
			break
		}
		r, err := in.shape(line)
		switch {
		case errors.Is(err, ErrNoReading):
		case err != nil:
			in.reject(uint64(len(line)))
		case in.letOut(r, len(line)):
			return r, chunk, true
		}
	}
	return reading.Reading{}, nil, false
}

func (in *intake) reject(bytes uint64) { in.rejected += bytes + uint64(in.guard.interrupt()) }

// letOut asks the guard. Outside the scale's range there is no weight that could be wrong.
func (in *intake) letOut(r reading.Reading, length int) bool {
	if r.State != reading.Normal {
		return true
	}
	ok, damaged := in.guard.pass(layout{length, r.Value.Decimals, r.Value.Unit})
	in.rejected += uint64(damaged)
	return ok
}
