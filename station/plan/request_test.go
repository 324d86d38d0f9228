package plan

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

func (p Plan) checked(t *testing.T, id string) Check {
	t.Helper()
	for _, c := range p.Checks {
		if c.ID == id {
			return c
		}
	}
	require.Fail(t, "no check", id)
	return Check{}
}

func (p Plan) hasCheck(id string) bool {
	for _, c := range p.Checks {
		if c.ID == id {
			return true
		}
	}
	return false
}

func catalysed() material.Card {
	card := byWeight("100", "1.5")
	card.Ratio.BRange = []float64{1, 2.5}
	return card
}

func TestBIsChosenInsideItsRange(t *testing.T) {
	for _, tt := range []struct {
		name   string
		card   material.Card
		choice *float64
		target string
		fault  string
	}{
		{"the card's ratio where nothing is chosen", catalysed(), nil, "4.5 g", ""},
		{"what was chosen", catalysed(), new(2.0), "6 g", ""},
		{"the lower edge", catalysed(), new(1.0), "3 g", ""},
		{"the upper edge", catalysed(), new(2.5), "7.5 g", ""},
		{"below the range", catalysed(), new(0.99), "", "b_per_100_a: b_per_100_a is 0.99 parts of B per 100 of A, must be from 1 to 2.5"},
		{"above the range", catalysed(), new(2.51), "", "must be from 1 to 2.5"},
		{"no number", catalysed(), new(math.NaN()), "", "must be from 1 to 2.5"},
		{"a card without a range", byWeight("100", "1.5"), new(2.0), "", "has no b_range to choose from"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := Request{Card: tt.card, Amount: Amount{PartAG: new(300 * reading.Gram)}, BPer100A: tt.choice, Scales: []Scale{*bench()}}.Plan()
			if tt.fault != "" {
				require.ErrorContains(t, err, tt.fault)
				return
			}
			require.NoError(t, err)
			require.Contains(t, p.checked(t, "resolution").Limit, "range 1 to 2.5 parts of B per 100 of A")
			b := p.Parts[1]
			require.Equal(t, tt.target, b.Target.String())
			require.Equal(t, []string{"3 g", "7.5 g"}, []string{b.LimitLow.String(), b.LimitHigh.String()}, "the range, whatever was chosen")
			require.Equal(t, []string{"3.3 g", "7.2 g"}, []string{b.Low.String(), b.High.String()}) // JCGM 106:2012, 8.3.2
			_, _, v := p.Judge([]metrology.Weighing{{Part: "A", Mass: 300 * reading.Gram, FromD: decigram, ToD: decigram},
				{Part: "B", Mass: grams(8.1), FromD: decigram, ToD: decigram, Shared: true}})
			require.Equal(t, metrology.Outside, v, "outside the range is outside whatever the target was")
		})
	}
}

func TestARangeHoldsItsOwnEdges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		card := byWeight("100", "1")
		low := rapid.Float64Range(0.1, 5).Draw(t, "low")
		card.Ratio.BRange = []float64{low, low + rapid.Float64Range(0.1, 5).Draw(t, "wide")}
		edge := rapid.SampledFrom(card.Ratio.BRange).Draw(t, "edge")
		p, err := Request{Card: card, Amount: total(300), BPer100A: &edge}.Plan()
		require.NoError(t, err)
		require.LessOrEqual(t, p.TolerancePct.LowPct, 0.0)
		require.GreaterOrEqual(t, p.TolerancePct.HighPct, 0.0)
	})
}

func TestAChosenRatioIsByWeight(t *testing.T) {
	card := catalysed()
	card.Ratio = material.Ratio{Volume: card.Ratio.Weight, BRange: card.Ratio.BRange}
	card.Density = material.Density{A: "1.1", B: "1.1"}
	request := Request{Card: card, Amount: total(300), Scales: []Scale{*bench()}}
	p, err := request.Plan()
	require.NoError(t, err)
	require.Positive(t, p.DensityU, "the card's ratio is as good as its densities")
	request.BPer100A = new(2.0)
	p, err = request.Plan()
	require.NoError(t, err)
	require.Zero(t, p.DensityU)
}

func TestABMeasuredByDropsIsProvedByNoScale(t *testing.T) {
	card := catalysed()
	card.StatedMeasureB = "drops"
	p, err := Make(card, 1, total(304.5), bench())
	require.NoError(t, err)
	b := p.Parts[1]
	require.Nil(t, b.Scale)
	require.Equal(t, []string{"own", "drops", "4.5 g", "3 g", "7.5 g"}, []string{b.Vessel, b.MeasuredBy, b.Target.String(), b.Low.String(), b.High.String()})
	require.Nil(t, p.UncertaintyPct)
	require.Nil(t, p.ProvableG)
	require.Equal(t, Caution, p.checked(t, "resolution").Level)
}

func TestBInACupOfItsOwnHasReadingsOfItsOwn(t *testing.T) {
	card := byWeight("100", "50")
	card.StatedCombine = "apart"
	p, err := Make(card, 1, total(300), bench())
	require.NoError(t, err)
	require.Equal(t, "own", p.Parts[1].Vessel)
	require.InDelta(t, 0.224, *p.UncertaintyPct, 1e-9, "as with a new reference between A and B")
	require.Contains(t, p.checked(t, "scale").Do, "scrape it out")
}

func TestEachPartGoesWhereItIsWeighedBest(t *testing.T) {
	big := Scale{ID: "big", Division: reading.Gram, Capacity: 15 * reading.Kilogram}
	fine := Scale{ID: "fine", Division: reading.Gram / 100, Capacity: 500 * reading.Gram}
	for _, tt := range []struct {
		name   string
		b      material.Number // to 100 of A
		total  float64
		scales []Scale
		on     map[string]string
	}{
		{"of two that do equally well, the first", "50", 2000, []Scale{*bench(), {ID: "twin", Division: decigram, Capacity: 6 * reading.Kilogram}}, map[string]string{"A": "small", "B": "small", "dye": "small"}},
		{"one scale takes all", "50", 300, []Scale{*bench()}, map[string]string{"A": "small", "B": "small", "dye": "small"}},
		{"5 kg of A and 75 g of B", "1.5", 5075, []Scale{big, fine}, map[string]string{"A": "big", "B": "fine", "dye": "fine"}},
		{"the first proves it: nothing is moved but the dye", "50", 3000, []Scale{big, fine}, map[string]string{"A": "big", "B": "big", "dye": "fine"}},
		{"the first is too coarse for a small batch", "50", 60, []Scale{big, fine}, map[string]string{"A": "fine", "B": "fine", "dye": "fine"}},
		{"the first is too small for a large one", "50", 3000, []Scale{fine, big}, map[string]string{"A": "big", "B": "big", "dye": "fine"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			card := byWeight("100", tt.b)
			card.Additions = []material.Addition{paste("dye", "ab", 0.5)}
			p, err := Request{Card: card, Amount: total(tt.total), Scales: tt.scales}.Plan()
			require.NoError(t, err)
			on := map[string]string{}
			for _, part := range p.Parts {
				on[part.Part] = *part.Scale
				require.Equal(t, *part.Scale != p.Scale.ID, part.Vessel == "own")
			}
			require.Equal(t, tt.on, on)
			require.NoError(t, p.Refusal())
			require.Empty(t, p.OpenChecks())
			require.Equal(t, len(p.Others) > 0, p.hasCheck("scale"))
		})
	}
}

// By hand, JCGM 100:2008 5.1.6: A 5000 g on d = 1 g, B 75 g on d = 0.01 g, both repeatabilities one division, both
// gains known to 0.1 %: u² = (1/5000)² + (0.01/75)² + 2·0.001², U = 0.2869 %.
func TestTwoScalesBringTheirGainsIntoTheUncertainty(t *testing.T) {
	request := Request{Card: byWeight("100", "1.5"), Amount: total(5075), Scales: []Scale{
		{ID: "big", Division: reading.Gram, Capacity: 15 * reading.Kilogram}, {ID: "fine", Division: reading.Gram / 100, Capacity: 500 * reading.Gram}}}
	p, err := request.Plan()
	require.NoError(t, err)
	require.Equal(t, 0.287, *p.UncertaintyPct)
	require.Contains(t, p.Assumed, "gain of scale fine known to 0.1 %: no check with a weight is stated")
	request.Scales[0].GainU, request.Scales[1].GainU = 0.0005, 0.0002
	p, err = request.Plan()
	require.NoError(t, err)
	require.Equal(t, 0.118, *p.UncertaintyPct, "5.2.2 of JCGM 100 with the gains of the reference case")

	stored, err := json.Marshal(p)
	require.NoError(t, err)
	var again Plan
	require.NoError(t, json.Unmarshal(stored, &again))
	e1, u1, v1 := p.Judge(p.sequence())
	e2, u2, v2 := again.Judge(p.sequence())
	require.Equal(t, []any{e1, u1, v1}, []any{e2, u2, v2})
}

func TestTheAirIsTakenInWhereItMatters(t *testing.T) {
	card := byWeight("100", "50")
	fine := []Scale{{ID: "fine", Division: reading.Gram / 1000, Capacity: 6 * reading.Kilogram}}
	p, err := Request{Card: card, Amount: total(300), Scales: fine}.Plan()
	require.NoError(t, err)
	require.Contains(t, p.Assumed, "no lift of the air in the uncertainty: the card states no densities of A and B")

	p, err = Request{Card: clear(), Amount: total(300), Scales: fine}.Plan()
	require.NoError(t, err)
	require.Contains(t, p.Assumed, "the air's lift of -0.0134 % of the ratio stands in the uncertainty, not in the target") // OIML D 28:2004
	require.InDelta(t, math.Hypot(0.00265, 2*0.01337), *p.UncertaintyPct, 0.0006)
	require.Equal(t, "A + B 300 g, uncertainty of the ratio 0.027 %, from the air alone 0.027 %", p.checked(t, "resolution").Figure, "a ratio by weight has nothing from its densities")

	volume := clear()
	volume.Ratio = material.Ratio{Volume: &material.Parts{A: "2", B: "1"}}
	volume.Density = material.Density{A: "1.10000", B: "0.98000"}
	p, err = Request{Card: volume, Amount: total(300), Scales: fine}.Plan()
	require.NoError(t, err)
	require.Contains(t, p.checked(t, "resolution").Figure, ", from the densities alone 0.001 %, from the air alone 0.027 %") // 2·√((0.5e-5/1.1)² + (0.5e-5/0.98)²)/√3
}

func TestTheAirMattersBelowATenthOfAPercent(t *testing.T) {
	for _, tt := range []struct {
		ab    float64
		taken bool
	}{{500, true}, {390, false}} { // d = 0.05 g: U = 0.265 % of 150 g, 0.0795 % of 500 g, 0.102 % of 390 g
		p, err := Request{Card: clear(), Amount: total(tt.ab), Scales: []Scale{{ID: "s", Division: reading.Gram / 20, Capacity: 6 * reading.Kilogram}}}.Plan()
		require.NoError(t, err)
		require.Equal(t, tt.taken, strings.Contains(p.checked(t, "resolution").Figure, "from the air"), p.checked(t, "resolution").Figure)
	}
}

func TestALoadThatIsTooMuchSpeaksMoreAgainstALayoutThanARatioThatIsNotProved(t *testing.T) {
	fine := Scale{ID: "fine", Division: decigram, Capacity: 500 * reading.Gram}
	coarse := Scale{ID: "coarse", Division: 10 * reading.Gram, Capacity: 920 * reading.Gram}
	p, err := Request{Card: byWeight("100", "50"), Amount: total(900), Scales: []Scale{fine, coarse}}.Plan()
	require.NoError(t, err)
	require.NoError(t, p.Refusal())
	require.Equal(t, "coarse", p.Scale.ID)
	require.Equal(t, []string{"resolution"}, p.OpenChecks())

	// 69 g leave too little of 75 g for a cup, and little room for the hand: cautions, and better than a scale that proves nothing
	fine.Capacity = 75 * reading.Gram
	p, err = Request{Card: byWeight("100", "50"), Amount: total(69), Scales: []Scale{fine, coarse}}.Plan()
	require.NoError(t, err)
	require.Equal(t, []any{"fine", Caution, Caution}, []any{p.Scale.ID, p.checked(t, "capacity").Level, p.checked(t, "resolution").Level})
	require.Empty(t, p.OpenChecks())
}

func TestTwoContainersThatRunOutTogetherLeaveNothing(t *testing.T) {
	r, left, err := Request{Card: byWeight("100", "50")}.Largest(200*reading.Gram, 100*reading.Gram)
	require.NoError(t, err)
	require.Equal(t, LeftOver{Part: "B"}, left)
	require.Equal(t, Amount{PartAG: new(200 * reading.Gram)}, r.Amount, "A in hand is the amount, to the picogram")
}

func TestASplitIsSoManyEqualPlans(t *testing.T) {
	one, err := Request{Card: clear(), Amount: total(300), Scales: []Scale{*bench()}}.Plan()
	require.NoError(t, err)
	four, err := Request{Card: clear(), Amount: total(1200), Scales: []Scale{*bench()}, Split: 4}.Plan()
	require.NoError(t, err)
	require.Equal(t, []any{4, "1200 g"}, []any{four.Cups, four.BatchTotalG.String()})
	four.Cups, four.BatchTotalG = one.Cups, one.BatchTotalG
	require.Equal(t, one, four)
}

func TestRequestsThatCannotBePlannedAreRefused(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Request)
		field  string
	}{
		{"less than no cups", func(r *Request) { r.Split = -1 }, "split"},
		{"a thousand and one cups", func(r *Request) { r.Split = 1001 }, "split"},
		{"a temperature that is no number", func(r *Request) { r.TemperatureC = new(math.NaN()) }, "temperature_c"},
		{"a temperature in Fahrenheit", func(r *Request) { r.TemperatureC = new(77.0) }, "temperature_c"},
		{"a cup of nothing", func(r *Request) { r.Cup = &Cup{VolumeML: new(0.0)} }, "cup.volume_ml"},
		{"an infinite cup", func(r *Request) { r.Cup = &Cup{VolumeML: new(math.Inf(1))} }, "cup.volume_ml"},
		{"a cup lighter than nothing", func(r *Request) { r.Cup = &Cup{MassG: new(-reading.Gram)} }, "cup.mass_g"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := Request{Card: clear(), Amount: total(300)}
			tt.change(&r)
			_, err := r.Plan()
			require.Error(t, err)
			require.Equal(t, tt.field, err.(material.Faults)[0].Field)
			_, _, err = r.Largest(reading.Gram, reading.Gram)
			require.Error(t, err)
		})
	}
	_, _, err := Request{Card: clear()}.Largest(0, reading.Gram)
	require.ErrorContains(t, err, "amount.part_a_g: is 0 g, must be more than 0")
}

// A plan as the ledger holds it from before there were additions, cups and several scales.
func TestAnOldPlanFromTheLedgerStillGuides(t *testing.T) {
	old := `{"material":"harbour-clear","revision":3,"ratio_b_per_a":0.5,"total_g":300,"ab_g":300,"volume_ml":277.777778,
	 "parts":[{"part":"A","scale":"small","vessel":"cup","measured_by":"weight","target_g":200,"low_g":196,"high_g":204,"limit_low_g":196,"limit_high_g":204},
	          {"part":"B","scale":"small","vessel":"cup","measured_by":"weight","target_g":100,"low_g":98.3,"high_g":101.7,"limit_low_g":98,"limit_high_g":102}],
	 "uncertainty_pct":0.265,"provable_g":69.7,"pourable_g":69.7,"checks":[],"assumed":[],
	 "tolerance_pct":{"low":-2,"high":2},"amount_tolerance_pct":2,"density_u":0,
	 "scale":{"id":"small","division_pg":100000000000,"capacity_pg":6000000000000000,"repeatability_pg":0,"linearity_pg":0},
	 "exact":{"ratio_b_per_a":0.5,"part_a_pg":200000000000000,"part_b_pg":100000000000000}}`
	var p Plan
	require.NoError(t, json.Unmarshal([]byte(old), &p))
	fresh, err := Make(byWeight("100", "50"), 3, total(300), bench())
	require.NoError(t, err)
	w := poured(decigram, 200*reading.Gram, 103*reading.Gram)
	open := metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}
	require.Equal(t, fresh.PartA(), p.PartA())
	b, provable := p.PartB(w[:1], w[1])
	require.True(t, provable)
	require.Equal(t, fresh.Parts[1], b)
	wantA, _, err := fresh.CorrectA(w, open, 0)
	require.NoError(t, err)
	gotA, _, err := p.CorrectA(w, open, 0)
	require.NoError(t, err)
	require.Equal(t, wantA, gotA)
}

func BenchmarkMake(b *testing.B) {
	card := clear()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Make(card, 1, total(300), bench()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlanOnTwoScalesWithThreeAdditions(b *testing.B) {
	card := byWeight("100", "1.5")
	card.Additions = []material.Addition{paste("dye", "ab", 0.5), paste("silica", "a", 3), paste("thin", "b", 2)}
	r := Request{Card: card, Amount: total(5000), Scales: []Scale{
		{ID: "big", Division: reading.Gram, Capacity: 15 * reading.Kilogram}, {ID: "fine", Division: reading.Gram / 100, Capacity: 500 * reading.Gram}}}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := r.Plan(); err != nil {
			b.Fatal(err)
		}
	}
}
