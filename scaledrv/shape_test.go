package scaledrv

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// answer is what a format reads in a frame.
func answer(read func([]byte, *parsed) error, frame string) (p parsed, err error) {
	err = read([]byte(frame), &p)
	return p, err
}

func TestShapesAreFoundByName(t *testing.T) {
	shape, err := ShapeByName("status-comma", ShapeOptions{})
	require.NoError(t, err)
	require.Equal(t, "status-comma", shape.Name())
	require.Equal(t, "1.0 g stable", describe(answer(shape.open().read, "ST,1.0 g")))
}

func TestAnUnknownShapeIsToldWhichAreKnown(t *testing.T) {
	_, err := ShapeByName("status comma", ShapeOptions{})
	require.ErrorContains(t, err, `unknown shape "status comma" (known: `)
	require.ErrorContains(t, err, `status-comma`)
	_, err = ShapeByName("", ShapeOptions{})
	require.ErrorContains(t, err, `unknown shape ""`)
}

func TestAPatternGoesWithItsShapeOnly(t *testing.T) {
	_, err := ShapeByName("status-comma", ShapeOptions{Pattern: "(?P<value>.*)"})
	require.EqualError(t, err, "a pattern goes with shape: pattern, not with shape: status-comma")
}

func TestEveryShapeHasGoldenLogs(t *testing.T) {
	for name := range shapes {
		if name == "auto" {
			continue // which becomes one of the others
		}
		logs, err := filepath.Glob(filepath.Join("testdata", name, "*.log"))
		require.NoError(t, err)
		require.NotEmpty(t, logs, name)
	}
}
