package scaledrv

import (
	"errors"
	"time"

	"twocup/scaledrv/reading"
)

// intake makes readings from the bytes of one opening of a port.
type intake struct {
	format
	guard  guard
	parsed parsed // of the last frame: here, since it is filled in through a pointer that could be anywhere
	tally
	*hearing
}

// tally counts what came.
type tally struct {
	frames    uint64 // cut out, whatever became of them
	unweighed uint64 // of these, whole ones without a weight
	unitless  uint64 // and rejected ones that have a number and no unit, where none is given
	rejected  uint64 // bytes of damaged frames, without their ends
}

// minus is what came after before was counted.
func (t tally) minus(before tally) tally {
	return tally{t.frames - before.frames, t.unweighed - before.unweighed, t.unitless - before.unitless, t.rejected - before.rejected}
}

func newIntake(s Shape, h *hearing) *intake { return &intake{format: s.open(), hearing: h} }

// next takes bytes up to the end of the first frame that is let out as a reading and gives what is left of chunk.
// Without a reading, chunk is used up. The reading gets the time at which its last byte came.
func (in *intake) next(chunk []byte, at time.Time) (r reading.Reading, rest []byte, ok bool) {
	for len(chunk) > 0 && !ok {
		before := in.rejected
		frame, rest, rejected := in.cutter.next(chunk)
		in.came(chunk[:len(chunk)-len(rest)])
		chunk = rest
		if rejected > 0 {
			in.reject(rejected)
		}
		if frame == nil {
			if rejected > 0 {
				in.is(LineRejected, reading.Reading{At: at}, in.rejected-before, errNoFrame)
			}
			break
		}
		in.frames++
		in.parsed = parsed{}
		outcome, err := in.judge(frame)
		in.parsed.At = at
		in.is(outcome, in.parsed.Reading, in.rejected-before, err)
		ok = outcome == LineRead
	}
	return in.parsed.Reading, chunk, ok
}

// judge reads a frame.
func (in *intake) judge(frame []byte) (Outcome, error) {
	err := in.read(frame, &in.parsed)
	switch {
	case errors.Is(err, ErrNoReading):
		in.unweighed++
		return LineNoWeight, nil
	case errors.Is(err, errNoUnit):
		in.unitless++
		in.reject(len(frame))
		return LineRejected, err
	case err != nil:
		in.reject(len(frame))
		return LineRejected, err
	case in.letOut(&in.parsed, len(frame)):
		return LineRead, nil
	}
	return LineHeld, nil
}

func (in *intake) reject(bytes int) { in.rejected += uint64(bytes + in.guard.interrupt()) }

// letOut asks the guard. Outside the scale's range there is no weight that could be wrong.
func (in *intake) letOut(p *parsed, bytes int) bool {
	if p.whole || p.State != reading.Normal {
		return true
	}
	ok, damaged := in.guard.pass(layout{p.width, p.Value.Decimals, p.Value.Unit, p.blanked}, bytes)
	in.rejected += uint64(damaged)
	return ok
}
