package plan

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

func paste(id, of string, pct float64) material.Addition {
	return material.Addition{ID: id, Of: of, Pct: &pct, Role: "pigment"}
}

func clear() material.Card {
	card := byWeight("100", "50")
	card.ID = "harbour-clear"
	card.Density = material.Density{A: "1.10", B: "0.98", Mixed: "1.06", Cast: "1.08"}
	return card
}

func TestThePlanOfTheContract(t *testing.T) {
	card := clear()
	black := paste("black", "ab", 1)
	black.Density = "1.2"
	card.Additions = []material.Addition{black}
	p, err := Make(card, 3, total(303), bench())
	require.NoError(t, err)
	got, err := json.Marshal(p)
	require.NoError(t, err)
	var shown map[string]any
	require.NoError(t, json.Unmarshal(got, &shown))
	want := map[string]any{}
	require.NoError(t, json.Unmarshal([]byte(`{"total_g":303,"ab_g":300,"volume_ml":280.277778,"uncertainty_pct":0.224,"provable_g":63.6,"pourable_g":63.6,
	 "parts":[{"part":"A","scale":"small","vessel":"cup","measured_by":"weight","target_g":200,"low_g":196,"high_g":204,"limit_low_g":196,"limit_high_g":204},
	          {"part":"black","scale":"small","vessel":"cup","measured_by":"weight","target_g":3,"low_g":2.9,"high_g":3.1,"limit_low_g":2.85,"limit_high_g":3.15},
	          {"part":"B","scale":"small","vessel":"cup","measured_by":"weight","target_g":100,"low_g":98.3,"high_g":101.7,"limit_low_g":98,"limit_high_g":102}]}`), &want))
	for field, value := range want {
		require.Equal(t, value, shown[field], field)
	}
}

func TestAnAdditionThatIsNotToBeSeenOnTheDisplayHasAWindowOfADivisionEitherWay(t *testing.T) {
	card := byWeight("100", "50")
	card.Additions = []material.Addition{paste("dye", "ab", 0.1)}
	for _, tt := range []struct {
		name      string
		total     float64
		low, high string
	}{
		{"its tolerance is narrower than a division", 300.3, "0.2 g", "0.4 g"},
		{"never so wide that nothing is enough", 100.1, "0.1 g", "0.2 g"},
		{"its tolerance is wider", 3003, "2.9 g", "3.1 g"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := Make(card, 1, total(tt.total), bench())
			require.NoError(t, err)
			dye := p.Parts[p.index("dye")]
			require.Equal(t, []string{tt.low, tt.high}, []string{dye.Low.String(), dye.High.String()})
		})
	}
}

func TestPartsComeInTheOrderInWhichTheyAreDosed(t *testing.T) {
	card := byWeight("100", "50")
	for _, when := range []string{"after_b", "after_a", "before_a"} {
		a := paste(when, "ab", 5)
		a.StatedWhen = when
		card.Additions = append(card.Additions, a)
	}
	p, err := Make(card, 1, total(300), bench())
	require.NoError(t, err)
	var order []string
	for _, part := range p.Parts {
		order = append(order, part.Part)
	}
	require.Equal(t, []string{"before_a", "A", "after_a", "B", "after_b"}, order)
}

// The masses of a plan solve its linear equations: what counts as B is the ratio times what counts as A, every addition
// has its dose, and all of it is the total. gonum is the independent reference.
func TestMassesSolveTheirEquations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(0.05, 3).Draw(t, "r")
		card := byWeight("1", material.Number(short(r)))
		n := rapid.IntRange(1, 4).Draw(t, "additions")
		eq := mat.NewDense(n+2, n+2, nil)
		eq.Set(0, 0, -r)
		eq.Set(0, 1, 1)
		for i := range n {
			a := paste(string(rune('p'+i)), rapid.SampledFrom([]string{"a", "b", "ab"}).Draw(t, "of"), rapid.Float64Range(0.1, 30).Draw(t, "pct"))
			f := rapid.Float64Range(0, 0.3).Draw(t, "fraction")
			a.StatedCountsFraction = &f
			a.StatedCountsAs = rapid.SampledFrom([]string{"none", "a", "b"}).Draw(t, "counts as")
			if a.StatedCountsAs == "b" && r < 0.5 {
				a.StatedCountsAs = "none" // four of them could bring more B than there is room for
			}
			card.Additions = append(card.Additions, a)
			dose := *a.Pct / 100
			eq.Set(i+1, i+2, 1)
			if a.Of != "b" {
				eq.Set(i+1, 0, -dose)
			}
			if a.Of != "a" {
				eq.Set(i+1, 1, -dose)
			}
			switch a.StatedCountsAs {
			case "a":
				eq.Set(0, i+2, -r*f)
			case "b":
				eq.Set(0, i+2, f)
			}
			eq.Set(n+1, i+2, 1)
		}
		eq.Set(n+1, 0, 1)
		eq.Set(n+1, 1, 1)
		right := mat.NewVecDense(n+2, nil)
		right.SetVec(n+1, 500)
		var want mat.VecDense
		require.NoError(t, want.SolveVec(eq, right))

		p, err := Make(card, 1, total(500), nil)
		require.NoError(t, err)
		require.InDelta(t, want.AtVec(0), p.target("A").Grams(), 1e-9)
		require.InDelta(t, want.AtVec(1), p.target("B").Grams(), 1e-9)
		for i, a := range card.Additions {
			require.InDelta(t, want.AtVec(i+2), p.target(a.ID).Grams(), 1e-9)
		}
	})
}

func TestVolumeAndWeightLeadThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		card := clear()
		black := paste("black", "ab", rapid.Float64Range(0.1, 20).Draw(t, "pct"))
		black.Density = "1.2"
		card.Additions = []material.Addition{black}
		if rapid.Bool().Draw(t, "ideal mixing") {
			card.Density.Cast, card.Density.Mixed = "", ""
		}
		ml := rapid.Float64Range(1, 20000).Draw(t, "volume_ml")
		there, err := Make(card, 1, Amount{VolumeML: &ml}, nil)
		require.NoError(t, err)
		require.InDelta(t, ml, *there.VolumeML, 0.51e-6)
		back, err := Make(card, 1, Amount{TotalG: &there.TotalG}, nil)
		require.NoError(t, err)
		require.InDelta(t, ml, *back.VolumeML, 2e-6)
	})
}

func TestAdditionsThatLeaveNoRoomForBAreRefused(t *testing.T) {
	card := byWeight("100", "10")
	much := paste("carrier", "a", 20)
	much.StatedCountsAs = "b"
	card.Additions = []material.Addition{much}
	_, err := Make(card, 1, total(300), nil)
	require.ErrorContains(t, err, "count for so much of A or B that no B makes the ratio right")
}

// By hand: r 0.5, A 200 g, paste 1 % of A counted half. Poured 6 g of it, three times its dose: that stays, and
// A_eq = x + 3 = 208 makes up for 104 g of B.
func TestWhatIsTooMuchOfAnAdditionStaysInThroughACorrection(t *testing.T) {
	card := byWeight("100", "50")
	half := paste("paste", "a", 1)
	half.StatedCountsAs, half.StatedCountsFraction = "a", new(0.5)
	card.Additions = []material.Addition{half}
	p, err := Make(card, 1, total(302.5), bench())
	require.NoError(t, err)
	w := p.sequence()
	w[0].Mass, w[1].Mass, w[2].Mass = 200*reading.Gram, 6*reading.Gram, 104*reading.Gram
	a, _, err := p.CorrectA(w, metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}, 0)
	require.NoError(t, err)
	require.Equal(t, "205 g", a.Target.String())
}

func TestACorrectionNeedsRoomForTheAdditionsToo(t *testing.T) {
	card := byWeight("100", "50")
	card.Additions = []material.Addition{paste("filler", "a", 60)}
	p, err := Make(card, 1, total(420), bench())
	require.NoError(t, err)
	w := p.sequence()
	w[2].Mass = 104 * reading.Gram // 8 g of A and 4.8 g of filler make up for it
	open := metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}
	_, _, err = p.CorrectA(w, open, grams(6000-12.8))
	require.NoError(t, err)
	_, _, err = p.CorrectA(w, open, grams(6000-12.7))
	require.ErrorContains(t, err, "no room for 12.8 g more")
}

// At the smallest provable A + B the tolerance of what counts as B is two divisions and its own uncertainty: the
// equation of metrology.SmallestBatch, in the masses of a plan with an addition that counts.
func TestTheSmallestBatchOfAPlanIsItsOwnAPlusB(t *testing.T) {
	card := byWeight("100", "50")
	diluent := paste("diluent", "a", 40)
	diluent.StatedCountsAs = "a"
	card.Additions = []material.Addition{diluent}
	p, err := Make(card, 1, total(300), bench())
	require.NoError(t, err)
	smallest, err := Make(card, 1, Amount{PartAG: new(grams(p.a().Grams() * p.ProvableG.Grams() / p.ABG.Grams()))}, bench())
	require.NoError(t, err)
	_, u, _ := smallest.Judge(smallest.sequence())
	_, b := smallest.model().Equivalents(smallest.sequence())
	require.InDelta(t, b*0.02, 2*0.1+b*u/100, 0.001, "to the 0.1 g that the figure is rounded up to")
}

func TestWhatFollowsBSharesItsReadingOnlyInTheSameCup(t *testing.T) {
	for combine, shared := range map[string]bool{"in_cup": true, "apart": false} {
		card := byWeight("100", "50")
		card.StatedCombine = combine
		late := paste("late", "a", 10)
		late.StatedWhen = "after_b"
		card.Additions = []material.Addition{late}
		p, err := Make(card, 1, total(300), bench())
		require.NoError(t, err)
		w := p.sequence()
		require.Equal(t, shared, w[2].Shared)
		require.Equal(t, w[2].Shared, p.toCome(p.Doses[0], w[1], 0, 0).Shared)
	}
}
