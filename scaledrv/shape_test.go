package scaledrv

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestShapesAreFoundByName(t *testing.T) {
	shape, err := ShapeByName("status-comma")
	require.NoError(t, err)
	require.Equal(t, "1.0 g stable", describe(shape([]byte("ST,1.0 g"))))
}

func TestAnUnknownShapeIsToldWhichAreKnown(t *testing.T) {
	_, err := ShapeByName("status comma")
	require.ErrorContains(t, err, `unknown shape "status comma" (known: status-comma; not built yet: auto, bare,`)
	_, err = ShapeByName("")
	require.ErrorContains(t, err, `unknown shape ""`)
}

func TestAShapeOfALaterDayIsNotBuiltYet(t *testing.T) {
	for _, name := range []string{"auto", "pattern", "letter-status", "unit-when-stable", "trailing-flag", "stx-words", "reversed", "bare", "hid"} {
		_, err := ShapeByName(name)
		require.ErrorContains(t, err, `shape "`+name+`" is not built yet`)
	}
}

func TestEveryShapeHasGoldenLogs(t *testing.T) {
	for name := range shapes {
		logs, err := filepath.Glob(filepath.Join("testdata", name, "*.log"))
		require.NoError(t, err)
		require.NotEmpty(t, logs, name)
	}
}
