package station

import (
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/batch"
	"twocup/station/material"
	"twocup/station/plan"
)

// 34/190 g of hardener for a gram of resin is an index of 100, by definition; a supplier's page prints it as 17.9 phr.
func TestTheIndexOfWhatWasPoured(t *testing.T) {
	poured := func(a, b reading.Mass) []batch.PartView {
		return []batch.PartView{{Part: plan.Part{Part: "A"}, Poured: a}, {Part: plan.Part{Part: "B"}, Poured: b}}
	}
	eq := &material.Equivalents{A: "190", B: "34"}
	index := func(eq *material.Equivalents, parts []batch.PartView, doses ...plan.Dose) *float64 {
		return index(eq, doses, parts)
	}
	require.InDelta(t, 100, *index(eq, poured(190*reading.Gram, 34*reading.Gram)), 1e-9)
	require.InDelta(t, 110, *index(eq, poured(190*reading.Gram, 374*reading.Gram/10)), 1e-9, "a tenth more of B's amine")
	withThinner := append(poured(190*reading.Gram, 34*reading.Gram), batch.PartView{Part: plan.Part{Part: "thinner"}, Poured: 19 * reading.Gram})
	require.InDelta(t, 100/1.1, *index(eq, withThinner, plan.Dose{ID: "thinner", CountsA: 1}), 1e-3, "what counts as A is A")
	eq.StatedIndexOf = "a"
	require.InDelta(t, 100/1.1, *index(eq, poured(190*reading.Gram, 374*reading.Gram/10)), 1e-3, "A on top")
	require.Nil(t, index(nil, poured(reading.Gram, reading.Gram)), "a card without equivalents")
	require.Nil(t, index(eq, poured(reading.Gram, 0)), "half a batch")
}
