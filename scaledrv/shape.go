package scaledrv

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"twocup/scaledrv/reading"
)

// Shape is how a scale lays out what it sends.
type Shape struct {
	name string
	opt  ShapeOptions  // it was made with
	open func() format // a fresh one for each opening of a port: a format may keep what later frames leave out
}

// Name is the shape's name in the configuration.
func (s Shape) Name() string { return s.name }

// format cuts frames out of a stream of bytes and reads them, in their order.
type format struct {
	cutter
	read func(frame []byte, p *parsed) error // fills in a zero parsed, which means something only without an error
}

// cutter cuts frames out of a stream, a line each for most shapes.
type cutter interface {
	// next takes bytes up to the end of a frame and gives that frame, valid until the next call, and what is left of
	// chunk. Without a frame, chunk is used up. Rejected counts the bytes that were discarded on the way.
	next(chunk []byte) (frame, rest []byte, rejected int)
}

// parsed is what a frame says. Its reading has no time yet.
type parsed struct {
	reading.Reading
	width   int   // bytes up to the end of its number and unit, where a scale pads them; 0 where it does not
	blanked bool  // the display leaves out a digit or the unit just now, as some do while they move
	whole   bool  // what it came over lets no damage pass: the guard has no say
	step    int64 // the division in units of the last digit, where the frame states it; else 0
}

// ErrNoReading is a format's answer to a frame that is well-formed but carries no weight. It is no damage.
var ErrNoReading = errors.New("the line carries no weight")

// ShapeOptions are what a shape may need to be told.
type ShapeOptions struct {
	Unit    reading.Unit // of frames that state none; UnitNone: those are rejected
	Pattern string       // the expression of the shape `pattern`
}

// shapes are the shapes that are built, by name; each has a file shape_*.go.
var shapes = map[string]func(ShapeOptions) (Shape, error){
	"auto":             newAuto,
	"bare":             newBare,
	"hid":              newHID,
	"letter-status":    newLetterStatus,
	"pattern":          newPattern,
	"reversed":         newReversed,
	"status-comma":     newStatusComma,
	"stx-words":        newStxWords,
	"trailing-flag":    newTrailingFlag,
	"unit-when-stable": newUnitWhenStable,
}

// ShapeByName finds a shape by the name that the configuration has for it. The error says what is wrong with the name
// or the options.
func ShapeByName(name string, opt ShapeOptions) (Shape, error) {
	if opt.Pattern != "" && name != "pattern" {
		return Shape{}, fmt.Errorf("a pattern goes with shape: pattern, not with shape: %s", name)
	}
	if made, ok := shapes[name]; ok {
		return made(opt)
	}
	return Shape{}, fmt.Errorf("unknown shape %q (known: %s)", name, strings.Join(slices.Sorted(maps.Keys(shapes)), ", "))
}
