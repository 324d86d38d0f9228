package plan

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

const decigram = reading.Gram / 10

func bench() *Scale {
	return &Scale{ID: "small", Division: decigram, Capacity: 6 * reading.Kilogram}
}

func byWeight(a, b material.Number) material.Card {
	return material.Card{ID: "x", Name: "X", Ratio: material.Ratio{Weight: &material.Parts{A: a, B: b}}}
}

func total(g float64) Amount { return Amount{TotalG: new(grams(g))} }

func grams(g float64) reading.Mass {
	m, _ := reading.FromGrams(g)
	return m
}

// poured are A, and B onto it, on one scale without a new reference between them.
func poured(d reading.Mass, a, b reading.Mass) []metrology.Weighing {
	return []metrology.Weighing{{Part: "A", Mass: a, FromD: d, ToD: d}, {Part: "B", Mass: b, FromD: d, ToD: d, Shared: true}}
}

func TestThePlanOfTheContractWithoutItsAddition(t *testing.T) {
	card := byWeight("100", "50")
	card.ID = "harbour-clear"
	card.Density = material.Density{A: "1.10", B: "0.98", Mixed: "1.06", Cast: "1.08"}
	p, err := Make(card, 3, total(300), bench())
	require.NoError(t, err)
	got, err := json.Marshal(p)
	require.NoError(t, err)
	require.JSONEq(t, `{"material":"harbour-clear","revision":3,"ratio_b_per_a":0.5,"total_g":300,"ab_g":300,"volume_ml":277.777778,"cups":1,"batch_total_g":300,
	 "parts":[{"part":"A","scale":"small","vessel":"cup","measured_by":"weight","target_g":200,"low_g":196,"high_g":204,"limit_low_g":196,"limit_high_g":204},
	          {"part":"B","scale":"small","vessel":"cup","measured_by":"weight","target_g":100,"low_g":98.3,"high_g":101.7,"limit_low_g":98,"limit_high_g":102}],
	 "uncertainty_pct":0.265,"provable_g":69.7,"pourable_g":69.7,
	 "checks":[{"id":"resolution","level":"ok","figure":"A + B 300 g, uncertainty of the ratio 0.265 %","limit":"tolerance -2 to 2 %, smallest batch 69.7 g","do":""},
	           {"id":"capacity","level":"ok","figure":"mix 300 g, without the cup","limit":"capacity 6000 g","do":""}],
	 "assumed":["tolerance ±2 % of B relative to A: the card states none","tolerance of A's amount ±2 %: the card states none",
	  "B is measured by weight: the card does not say","B is poured onto A in one cup: the card does not say",
	  "not a fast system, B may be topped up: the card does not say","viscosity medium: the card does not say",
	  "no clock for the pot life: the card states none","repeatability one division (0.1 g): none stated for scale small"],
	 "tolerance_pct":{"low":-2,"high":2},"amount_tolerance_pct":2,"density_u":0,"liquid_density":1.06,
	 "scale":{"id":"small","division_pg":100000000000,"capacity_pg":6000000000000000,"repeatability_pg":0,"linearity_pg":0},
	 "exact":{"ratio_b_per_a":0.5,"part_a_pg":200000000000000,"part_b_pg":100000000000000}}`, string(got))
}

func TestAPlanWithoutAScaleHasTargetsAndLimitsAndProvesNothing(t *testing.T) {
	p, err := Make(byWeight("100", "8"), 1, total(1000), nil)
	require.NoError(t, err)
	got, err := json.Marshal(p)
	require.NoError(t, err)
	var shown map[string]any
	require.NoError(t, json.Unmarshal(got, &shown))
	for _, field := range []string{"uncertainty_pct", "provable_g", "pourable_g", "volume_ml", "scale"} {
		require.Contains(t, shown, field)
		require.Nil(t, shown[field], field)
	}
	require.Empty(t, shown["checks"])
	b := p.Parts[1]
	require.Nil(t, b.Scale)
	require.Equal(t, []string{"74.074074 g", "72.592593 g", "75.555556 g"}, []string{b.Target.String(), b.Low.String(), b.High.String()})
}

func TestAPlanIsTheSameAfterTheLedger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawnPlan(t)
		first, err := json.Marshal(p)
		require.NoError(t, err)
		var again Plan
		require.NoError(t, json.Unmarshal(first, &again))
		second, err := json.Marshal(again)
		require.NoError(t, err)
		require.Equal(t, string(first), string(second))

		require.Equal(t, p.PartA(), again.PartA())
		w := p.sequence()
		w[p.index("A")].Mass, w[p.index("B")].Mass = p.PartA().High, p.PartA().High
		i := p.index("B")
		before, provable := p.PartB(w[:i], w[i])
		after, still := again.PartB(w[:i], w[i])
		require.Equal(t, before, after)
		require.Equal(t, provable, still)
		e1, u1, v1 := p.Judge(w)
		e2, u2, v2 := again.Judge(w)
		require.Equal(t, []any{e1, u1, v1}, []any{e2, u2, v2})
		require.Equal(t, p.Refusal(), again.Refusal())
		require.Equal(t, p.OpenChecks(), again.OpenChecks())
	})
}

// drawnPlan is of a random card and scale. The division may be in pounds, which no number of micrograms gives.
func drawnPlan(t *rapid.T) Plan {
	card := byWeight(
		rapid.SampledFrom([]material.Number{"100", "50", "3", "1"}).Draw(t, "a"),
		rapid.SampledFrom([]material.Number{"100", "27.5", "8", "1"}).Draw(t, "b"))
	if rapid.Bool().Draw(t, "by volume") {
		card.Ratio = material.Ratio{Volume: card.Ratio.Weight}
		card.Density = material.Density{A: "1.042", B: "1.218"}
	}
	pound, err := reading.ParseMass("0.001 lb")
	require.NoError(t, err)
	scale := &Scale{ID: "s", Division: rapid.SampledFrom([]reading.Mass{decigram, decigram / 10, pound}).Draw(t, "d"), Capacity: 3 * reading.Kilogram,
		Repeatability: rapid.SampledFrom([]reading.Mass{0, decigram / 3}).Draw(t, "s")}
	if rapid.Bool().Draw(t, "apart") {
		card.StatedCombine = "apart"
	}
	card.Additions = drawnAdditions(t)
	p, err := Make(card, 1, total(rapid.Float64Range(1, 5000).Draw(t, "total_g")), scale)
	require.NoError(t, err)
	return p
}

func drawnAdditions(t *rapid.T) (list []material.Addition) {
	for _, id := range []string{"first", "second"}[:rapid.IntRange(0, 2).Draw(t, "additions")] {
		a := material.Addition{ID: id,
			Of:             rapid.SampledFrom([]string{"a", "b", "ab"}).Draw(t, "of"),
			Pct:            new(rapid.SampledFrom([]float64{0.5, 3, 20}).Draw(t, "pct")),
			StatedWhen:     rapid.SampledFrom([]string{"before_a", "after_a", "after_b"}).Draw(t, "when"),
			StatedCountsAs: rapid.SampledFrom([]string{"none", "a"}).Draw(t, "counts as"), StatedCountsFraction: new(0.5),
		}
		if a.StatedCountsAs == "a" && a.Of != "a" {
			a.Pct = new(0.5) // what follows B must not call for more B than it follows
		}
		list = append(list, a)
	}
	return list
}

func TestScalingABatchScalesEveryMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		card := byWeight("100", rapid.SampledFrom([]material.Number{"50", "130", "8", "27"}).Draw(t, "b"))
		g, factor := rapid.Float64Range(10, 500).Draw(t, "total_g"), rapid.Float64Range(0.1, 20).Draw(t, "factor")
		small, err := Make(card, 1, total(g), nil)
		require.NoError(t, err)
		large, err := Make(card, 1, total(g*factor), nil)
		require.NoError(t, err)
		for i, part := range small.Parts {
			require.InDelta(t, part.Target.Grams()*factor, large.Parts[i].Target.Grams(), 1e-9)
			require.InDelta(t, part.LimitLow.Grams()*factor, large.Parts[i].LimitLow.Grams(), 1e-9)
			require.InDelta(t, part.LimitHigh.Grams()*factor, large.Parts[i].LimitHigh.Grams(), 1e-9)
		}
	})
}

func TestAPouredExactlyAsPlannedGivesThePlannedB(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawnPlan(t)
		w, i := p.sequence(), p.index("B")
		b, _ := p.PartB(w[:i], w[i])
		require.Equal(t, p.Parts[i], b)
		require.InDelta(t, p.b().Grams(), b.Target.Grams(), 1e-10, "each dose is a whole number of picograms")
		require.Equal(t, p.Parts[p.index("A")], p.PartA())
		w[i].Mass = b.Target
		for _, d := range p.Doses {
			step := p.division(p.placeOf(d.ID))
			require.InDelta(t, p.target(d.ID).Grams(), p.PartAddition(d.ID, w[:i+1], step).Target.Grams(), 1e-10)
			require.Equal(t, p.Parts[p.index(d.ID)], p.PartAddition(d.ID, nil, step))
		}
		e, _, _ := p.Judge(w)
		require.InDelta(t, 0, e, 1e-6)
	})
}

func TestAnyBInsideItsWindowIsWithinAndTheNextStepIsNot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawnPlan(t)
		d, i := p.Scale.Division, p.index("B")
		w := p.sequence()
		a := p.PartA().Target.CeilTo(d) + reading.Mass(rapid.IntRange(-20, 20).Draw(t, "off"))*d
		if a <= 0 {
			return
		}
		w[p.index("A")].Mass = a
		verdict := func(b reading.Mass) metrology.Verdict { // with what follows B dosed by it
			then := append(w[:i:i], w[i])
			then[i].Mass = b
			for _, later := range w[i+1:] {
				later.Mass = p.PartAddition(later.Part, then, d).Target
				then = append(then, later)
			}
			_, _, v := p.Judge(then)
			return v
		}
		b, provable := p.PartB(w[:i], w[i])
		if !provable {
			require.NotEqual(t, metrology.Within, verdict(b.Target.FloorTo(d)))
			require.NotEqual(t, metrology.Within, verdict(b.Target.CeilTo(d)))
			return
		}
		inside := b.Low + d*reading.Mass(rapid.Int64Range(0, int64((b.High-b.Low)/d)).Draw(t, "step"))
		require.Equal(t, metrology.Within, verdict(inside))
		require.NotEqual(t, metrology.Within, verdict(b.Low-d))
		require.NotEqual(t, metrology.Within, verdict(b.High+d))
	})
}

func TestACorrectionMakesTheRatioRightAgain(t *testing.T) {
	p, err := Make(byWeight("100", "50"), 1, total(300), bench())
	require.NoError(t, err)
	done := poured(decigram, 200*reading.Gram, grams(103.5))
	open := metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}
	pan := grams(40 + 303.5)

	a, provable, err := p.CorrectA(done, open, pan)
	require.NoError(t, err)
	require.True(t, provable)
	require.Equal(t, "A", a.Part)
	require.Equal(t, "207 g", a.Target.String())
	for _, tt := range []struct {
		a    reading.Mass
		want metrology.Verdict
	}{{a.Low, metrology.Within}, {a.High, metrology.Within}, {a.Target, metrology.Within}, {a.Low - decigram, metrology.Unproven}, {a.High + decigram, metrology.Unproven}} {
		open.Part, open.Mass = "A", tt.a-200*reading.Gram
		_, _, v := p.Judge(append(done[:2:2], open))
		require.Equal(t, tt.want, v, tt.a.String())
	}

	_, _, err = p.CorrectA(done, open, grams(5993.1))
	require.EqualError(t, err, `correct with A: no room for 7 g more on scale "small": it carries 5993.1 g and has a capacity of 6000 g; accept the batch as it is, or scrap it`)
	_, _, err = p.CorrectA(done, open, grams(5993))
	require.NoError(t, err)
	_, _, err = p.CorrectA(poured(decigram, 200*reading.Gram, 100*reading.Gram), open, pan)
	require.ErrorContains(t, err, "100 g of B to 200 g of A is not too much B")
}

func TestHandingOverWeighingsLeavesThemAsTheyWere(t *testing.T) {
	p, err := Make(byWeight("100", "50"), 1, total(300), bench())
	require.NoError(t, err)
	done := append(make([]metrology.Weighing, 0, 4), poured(decigram, 200*reading.Gram, 104*reading.Gram)...)
	spare := done[:3]
	_, _, err = p.CorrectA(done, metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}, 0)
	require.NoError(t, err)
	require.Equal(t, metrology.Weighing{}, spare[2], "the caller's spare room is the caller's")
}

func TestBInTwoWeighingsHasOneWindowForItsTotal(t *testing.T) {
	p, err := Make(byWeight("100", "50"), 1, total(300), bench())
	require.NoError(t, err)
	done := poured(decigram, 200*reading.Gram, 60*reading.Gram)
	b, provable := p.PartB(done, metrology.Weighing{FromD: decigram, ToD: decigram}) // the cup was lifted and put back
	require.True(t, provable)
	require.Equal(t, "100 g", b.Target.String())
	require.Equal(t, []string{"98.4 g", "101.6 g"}, []string{b.Low.String(), b.High.String()}, "two more readings, a narrower window")
}

func TestChecksSayWhatSpeaksAgainstStarting(t *testing.T) {
	for _, tt := range []struct {
		name       string
		total      float64
		scale      Scale
		resolution Level
		capacity   Level
		do         string
	}{
		{"a batch with room", 300, Scale{Division: decigram, Capacity: reading.Kilogram}, OK, OK, ""},
		{"nine tenths of the capacity, the cup left out", 900, Scale{Division: decigram, Capacity: reading.Kilogram}, OK, OK, ""},
		{"a little more", 900.1, Scale{Division: decigram, Capacity: reading.Kilogram}, OK, Caution, ""},
		{"exactly the capacity", 1000, Scale{Division: decigram, Capacity: reading.Kilogram}, OK, Caution, ""},
		{"more than the capacity", 1000.1, Scale{Division: decigram, Capacity: reading.Kilogram}, OK, Stop, ""},
		{"the smallest batch", 69.7, Scale{Division: decigram}, OK, "", ""},
		{"a little less than that", 69.6, Scale{Division: decigram}, Caution, "",
			"little room for the hand: make at least 69.7 g, or use a scale with a finer division, or measure this one's repeatability (the same cup on and off ten times)"},
		{"a small batch on coarse steps", 30, Scale{Division: reading.Gram}, Stop, "",
			"no step of the display proves this ratio: make at least 696.9 g, or use a scale with a finer division, or measure this one's repeatability (the same cup on and off ten times)"},
		{"the same with its repeatability measured", 30, Scale{Division: reading.Gram, Repeatability: 41 * reading.Gram / 100}, Stop, "",
			"no step of the display proves this ratio: make at least 462.8 g, or use a scale with a finer division"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := Make(byWeight("100", "50"), 1, total(tt.total), &tt.scale)
			require.NoError(t, err)
			require.Equal(t, tt.resolution, p.Checks[0].Level)
			require.Equal(t, tt.do, p.Checks[0].Do)
			require.Equal(t, tt.resolution == Stop, len(p.OpenChecks()) == 1)
			if tt.capacity == "" {
				require.Len(t, p.Checks, 1, "a capacity that is not stated is not checked")
				return
			}
			require.Equal(t, tt.capacity, p.Checks[1].Level)
			require.Equal(t, tt.capacity == Stop, p.Refusal() != nil)
		})
	}
}

func TestDensitiesTooCoarseForTheToleranceStopTheBatch(t *testing.T) {
	card := byWeight("1", "1")
	card.Ratio = material.Ratio{Volume: card.Ratio.Weight}
	card.Density = material.Density{A: "1.1", B: "1.0"}
	p, err := Make(card, 1, total(300), bench())
	require.NoError(t, err)
	require.Nil(t, p.ProvableG)
	require.Equal(t, []string{"resolution"}, p.OpenChecks())
	require.Contains(t, p.Checks[0].Do, "densities are too coarse")
}

func TestAmountsThatCannotBePlannedAreRefused(t *testing.T) {
	for _, tt := range []struct {
		name   string
		amount Amount
		field  string
	}{
		{"no number for a volume", Amount{VolumeML: new(math.NaN())}, "amount.volume_ml"},
		{"an infinite volume", Amount{VolumeML: new(math.Inf(1))}, "amount.volume_ml"},
		{"a negative allowance", Amount{TotalG: new(reading.Gram), AllowancePct: -1}, "amount.allowance_pct"},
		{"an allowance that is no number", Amount{TotalG: new(reading.Gram), AllowancePct: math.NaN()}, "amount.allowance_pct"},
		{"less than a microgram", Amount{TotalG: new(reading.Mass(5))}, "amount"},
		{"more than a tonne", Amount{PartBG: new(5000 * reading.Kilogram)}, "amount"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Make(byWeight("100", "50"), 1, tt.amount, nil)
			require.Error(t, err)
			require.Equal(t, tt.field, err.(material.Faults)[0].Field)
		})
	}
}
