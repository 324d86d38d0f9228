package scaledrv

import (
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

func TestAChangeOfUnitMakesTheGuardForgetAllLayoutsBeforeIt(t *testing.T) {
	var g guard
	passes := func(l layout) bool {
		ok, _ := g.pass(l, 10)
		return ok
	}
	grams := layout{width: 10, decimals: 2, unit: reading.UnitG}
	blanked := layout{width: 10, decimals: 1, unit: reading.UnitG, blanked: true}
	ounces := layout{width: 10, decimals: 3, unit: reading.UnitOZ}
	for _, l := range []layout{grams, blanked} {
		require.False(t, passes(l))
		require.True(t, passes(l))
	}
	require.True(t, passes(grams), "a whole one and a blanked one stand beside each other")
	require.True(t, passes(blanked))

	require.False(t, passes(ounces))
	require.True(t, passes(ounces))
	require.False(t, passes(blanked), "one blanked frame in grams after a change to ounces may be damage")
	require.True(t, passes(ounces), "and changes nothing")
	require.False(t, passes(grams), "nor does one whole frame in grams pass")
}

func TestAMarkOfThousandsIsNoDecimalMark(t *testing.T) {
	in := newIntake(shapeNamed("bare", ShapeOptions{}), nil)
	require.Equal(t, []string{"998 g", "999 g"}, drain(in, "\r\n997 g\r\n998 g\r\n999 g\r\n1,000 g\r\n1,001 g\r\n1,002 g\r\n"))
	require.EqualValues(t, len("1,000 g1,001 g1,002 g"), in.rejected)
	require.Equal(t, []string{"998 g"}, drain(in, "998 g\r\n"))
}
