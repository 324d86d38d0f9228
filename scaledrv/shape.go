package scaledrv

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"twocup/scaledrv/reading"
)

// Shape reads one line, without its end, of a scale. It keeps nothing of the line and does not set the reading's At. Its
// error is ErrNoReading, or says why the line is rejected.
type Shape func(line []byte) (reading.Reading, error)

// ErrNoReading is a Shape's answer to a line that is well-formed but carries no weight. It is no damage.
var ErrNoReading = errors.New("the line carries no weight")

// shapes are the shapes that are built; each file shape_*.go puts its own in.
var shapes = map[string]Shape{}

// planned are the other names that the configuration knows.
var planned = []string{"auto", "bare", "hid", "letter-status", "pattern", "reversed", "stx-words", "trailing-flag", "unit-when-stable"}

// ShapeByName finds a shape by the name that the configuration has for it.
func ShapeByName(name string) (Shape, error) {
	if shape, ok := shapes[name]; ok {
		return shape, nil
	}
	built := strings.Join(slices.Sorted(maps.Keys(shapes)), ", ")
	if slices.Contains(planned, name) {
		return nil, fmt.Errorf("shape %q is not built yet (built: %s)", name, built)
	}
	return nil, fmt.Errorf("unknown shape %q (known: %s; not built yet: %s)", name, built, strings.Join(planned, ", "))
}
