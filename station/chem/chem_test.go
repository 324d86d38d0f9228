package chem

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
)

var (
	eqs     = rapid.Float64Range(5, 1e5)
	indexes = rapid.Float64Range(10, 1000)
	parts   = rapid.SampledFrom([]byte{'A', 'B'})
	systems = rapid.Custom(func(t *rapid.T) System {
		return System{EqA: eqs.Draw(t, "eq_a"), EqB: eqs.Draw(t, "eq_b"), IndexOf: parts.Draw(t, "index_of")}
	})
)

// mixOf is a valid epoxy or urethane at its index.
func mixOf(t *rapid.T) (m Mix, index float64) {
	index = indexes.Draw(t, "index")
	var err error
	if rapid.Bool().Draw(t, "epoxy") {
		m, err = Epoxy{EEW: eqs.Draw(t, "eew"), AHEW: eqs.Draw(t, "ahew"), Index: index, Resin: parts.Draw(t, "resin")}.Mix()
	} else {
		m, err = Urethane{NCOPct: rapid.Float64Range(0.5, 75).Draw(t, "nco"), OHNumber: rapid.Float64Range(5, 2000).Draw(t, "oh"),
			WaterPct: rapid.Float64Range(0, 30).Draw(t, "water"), Index: index, Isocyanate: parts.Draw(t, "isocyanate")}.Mix()
	}
	require.NoError(t, err)
	return m, index
}

func TestPouredAsPlannedTheIndexIsThatOfThePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, index := mixOf(t)
		// The smaller part is 1 g to 10 g, so that a picogram is below what is compared.
		scale := rapid.Float64Range(1, 10).Draw(t, "scale") / min(m.A, m.B)
		if scale*max(m.A, m.B) > 9e6 {
			t.Skip("more than a mass can hold")
		}
		got, err := m.System.Index(grams(t, scale*m.A), grams(t, scale*m.B))
		require.NoError(t, err)
		require.InEpsilon(t, index, got, 1e-9)
	})
}

func TestWhichPartIsANeverChangesWhatIsMixed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		index := indexes.Draw(t, "index")
		u := Urethane{NCOPct: rapid.Float64Range(0.5, 75).Draw(t, "nco"), OHNumber: rapid.Float64Range(5, 2000).Draw(t, "oh"), Index: index, Isocyanate: 'A'}
		first, err := u.Mix()
		require.NoError(t, err)
		u.Isocyanate = 'B'
		second, err := u.Mix()
		require.NoError(t, err)
		require.Equal(t, []float64{first.A, first.B}, []float64{second.B, second.A})

		e := Epoxy{EEW: eqs.Draw(t, "eew"), AHEW: eqs.Draw(t, "ahew"), Index: index, Resin: 'A'}
		first, err = e.Mix()
		require.NoError(t, err)
		e.Resin = 'B'
		second, err = e.Mix()
		require.NoError(t, err)
		require.Equal(t, []float64{first.A, first.B}, []float64{second.B, second.A})
	})
}

func TestPouredAtTheEdgeOfTheToleranceTheIndexIsAtItsEdge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, index := systems.Draw(t, "system"), rapid.Float64Range(20, 500).Draw(t, "index")
		low := index * rapid.Float64Range(0.5, 1).Draw(t, "low")
		high := index * rapid.Float64Range(1.01, 2).Draw(t, "high")
		lowPct, highPct, err := s.Tolerance(index, low, high)
		require.NoError(t, err)
		require.LessOrEqual(t, lowPct, 0.0)
		require.GreaterOrEqual(t, highPct, 0.0)

		phr, err := s.PHR(index)
		require.NoError(t, err)
		bPerA, atLowB, atHighB := phr/100, low, high
		if s.IndexOf == 'A' { // more B is less index
			bPerA, atLowB, atHighB = 100/phr, high, low
		}
		a := 100 * reading.Gram
		if b := a.Grams() * bPerA; b < 1 || b > 4e6 {
			t.Skip("outside what a mass compares to nine digits")
		}
		for _, edge := range []struct{ pct, index float64 }{{lowPct, atLowB}, {0, index}, {highPct, atHighB}} {
			got, err := s.Index(a, grams(t, a.Grams()*bPerA*(1+edge.pct/100)))
			require.NoError(t, err)
			require.InEpsilon(t, edge.index, got, 1e-9)
		}
	})
}

func TestAToleranceOfTheIndexChangesSidesWhereAIsOnTop(t *testing.T) {
	for _, tt := range []struct {
		name            string
		indexOf         byte
		low, high       float64
		lowPct, highPct float64
	}{
		{"B on top: the same", 'B', 95, 105, -5, 5},
		{"A on top: by hand 100/105 and 100/95", 'A', 95, 105, -100.0 / 21, 100.0 / 19},
		{"B on top, one-sided", 'B', 100, 105, 0, 5},
		{"A on top, one-sided the other way", 'A', 100, 105, -100.0 / 21, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			low, high, err := System{EqA: 190, EqB: 34, IndexOf: tt.indexOf}.Tolerance(100, tt.low, tt.high)
			require.NoError(t, err)
			require.InDelta(t, tt.lowPct, low, 1e-12)
			require.InDelta(t, tt.highPct, high, 1e-12)
		})
	}
}

func TestABlendIsBetweenItsMembers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Off the ends of the bound, which a sum's last digit may fall over.
		blend := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Component {
			return Component{Weight: rapid.Float64Range(0.01, 1000).Draw(t, "weight"), Eq: rapid.Float64Range(6, 4e4).Draw(t, "eq")}
		}), 1, 5).Draw(t, "members")
		low, high, weight := math.Inf(1), 0.0, 0.0
		for _, c := range blend {
			low, high, weight = min(low, c.Eq), max(high, c.Eq), weight+c.Weight
		}
		eq, err := Blend(blend...)
		require.NoError(t, err)
		require.GreaterOrEqual(t, eq, low*(1-1e-12))
		require.LessOrEqual(t, eq, high*(1+1e-12))

		// As much filler as there is of the rest doubles it.
		filled, err := Blend(append(blend, Component{Weight: weight, Inert: true})...)
		require.NoError(t, err)
		require.InEpsilon(t, 2*eq, filled, 1e-12)
	})
}

func TestThePolyolSideIsTheBlendOfPolyolAndWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := Urethane{NCOPct: 31, OHNumber: rapid.Float64Range(5, 2000).Draw(t, "oh"), WaterPct: rapid.Float64Range(0.001, 30).Draw(t, "water"), Index: 100, Isocyanate: 'A'}
		m, err := u.Mix()
		require.NoError(t, err)
		dry, err := FromOH(u.OHNumber)
		require.NoError(t, err)
		wet, err := Blend(Component{Weight: 100 - u.WaterPct, Eq: dry}, Component{Weight: u.WaterPct, Eq: Water})
		require.NoError(t, err)
		require.InEpsilon(t, wet, m.System.EqB, 1e-12)
	})
}

func TestTheSentenceSaysHowTheRatioWasFound(t *testing.T) {
	for _, tt := range []struct {
		name string
		mix  func() (Mix, error)
		want string
	}{
		{"an epoxy", Epoxy{EEW: 190, AHEW: 34, Index: 100, Resin: 'A'}.Mix,
			"index 100 × hardener 34 g/eq ÷ resin 190 g/eq: about 17.89 g of hardener (B) for every 100 g of resin (A)"},
		{"a figure that is exact is not said to be about right", Epoxy{EEW: 200, AHEW: 20.6, Index: 100, Resin: 'B'}.Mix,
			"index 100 × hardener 20.6 g/eq ÷ resin 200 g/eq: 10.3 g of hardener (A) for every 100 g of resin (B)"},
		{"a urethane", Urethane{NCOPct: 31, OHNumber: 56, Index: 105, Isocyanate: 'A'}.Mix,
			"isocyanate 4202 ÷ 31 % NCO = about 135.5 g/eq; polyol 56100 ÷ OH number 56 = about 1002 g/eq, no water counted; " +
				"index 105 × isocyanate about 135.5 g/eq ÷ polyol about 1002 g/eq: about 14.21 g of isocyanate (A) for every 100 g of polyol (B)"},
		{"a urethane with water", Urethane{NCOPct: 31, OHNumber: 168, WaterPct: 0.05, Index: 105, Isocyanate: 'B'}.Mix,
			"isocyanate 4202 ÷ 31 % NCO = about 135.5 g/eq; polyol 56100 ÷ OH number 168 = about 333.9 g/eq, with 0.05 % of water in it about 328 g/eq; " +
				"index 105 × isocyanate about 135.5 g/eq ÷ polyol about 328 g/eq: about 43.39 g of isocyanate (B) for every 100 g of polyol (A)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m, err := tt.mix()
			require.NoError(t, err)
			require.Equal(t, tt.want, m.How)
		})
	}
}

var figure = regexp.MustCompile(`[\d.]+`)

func TestTheSentenceHasNoFloatNoiseAndEndsInItsRatio(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tenths := func(low, high int, label string) float64 {
			return float64(rapid.IntRange(low, high).Draw(t, label)) / 10
		}
		m, err := Epoxy{EEW: tenths(400, 9000, "eew"), AHEW: tenths(150, 9000, "ahew"), Index: tenths(500, 1500, "index"), Resin: 'A'}.Mix()
		require.NoError(t, err)
		for _, number := range figure.FindAllString(m.How, -1) { // what was typed has four digits at most
			digits := strings.TrimLeft(strings.ReplaceAll(number, ".", ""), "0")
			require.LessOrEqual(t, len(digits), 4, "%s in %s", number, m.How)
		}
		require.Contains(t, m.How, ": "+fourDigits(m.B)+" g of hardener (B) for every 100 g of resin (A)")
	})
}

func TestFiguresBeyondBeliefAreRefusedWithWhatToDo(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	epoxy := func(eew, ahew, index float64, resin byte) func() error {
		return func() error { _, err := Epoxy{eew, ahew, index, resin}.Mix(); return err }
	}
	urethane := func(nco, oh, water, index float64, isocyanate byte) func() error {
		return func() error { _, err := Urethane{nco, oh, water, index, isocyanate}.Mix(); return err }
	}
	one := func(f func(float64) (float64, error), v float64) func() error {
		return func() error { _, err := f(v); return err }
	}
	blend := func(members ...Component) func() error {
		return func() error { _, err := Blend(members...); return err }
	}
	molecule := func(mass float64, groups int) func() error {
		return func() error { _, err := OfMolecule(mass, groups); return err }
	}
	system := System{EqA: 190, EqB: 34, IndexOf: 'B'}
	tolerance := func(s System, index, low, high float64) func() error {
		return func() error { _, _, err := s.Tolerance(index, low, high); return err }
	}
	index := func(s System, a, b reading.Mass) func() error {
		return func() error { _, err := s.Index(a, b); return err }
	}
	phr := func(s System, index float64) func() error {
		return func() error { _, err := s.PHR(index); return err }
	}
	for _, tt := range []struct {
		name string
		call func() error
		want []string
	}{
		{"an EEW of nothing", epoxy(0, 34, 100, 'A'), []string{"mix ratio of an epoxy: EEW is 0, must be from 5 to 100000 g/eq: take it from the data sheet"}},
		{"a negative AHEW", epoxy(190, -34, 100, 'A'), []string{"AHEW is -34"}},
		{"an EEW that is no number", epoxy(nan, 34, 100, 'A'), []string{"EEW is NaN"}},
		{"an infinite AHEW", epoxy(190, inf, 100, 'A'), []string{"AHEW is +Inf"}},
		{"an EEW beyond any", epoxy(1e300, 34, 100, 'A'), []string{"EEW is 1e+300"}},
		{"an index as a fraction", epoxy(190, 34, 1.05, 'A'), []string{"the index is 1.05", "105, not 1.05"}},
		{"an index not given", epoxy(190, 34, 0, 'A'), []string{"the index is 0"}},
		{"the resin not said", epoxy(190, 34, 100, 0), []string{"which part is the resin is not said: must be A or B"}},
		{"all faults at once", epoxy(0, 0, 0, 'C'), []string{"EEW", "AHEW", "index", "resin"}},
		{"NCO as a fraction", urethane(0.31, 56, 0, 105, 'A'), []string{"mix ratio of a urethane: NCO is 0.31", "31, not 0.31"}},
		{"the percentage of OH for its number", urethane(31, 1.7, 0, 105, 'A'), []string{"the OH number is 1.7", "33 times"}},
		{"negative water", urethane(31, 56, -0.1, 105, 'A'), []string{"water is -0.1, must be from 0 to 30 %"}},
		{"an isocyanate in a part C", urethane(31, 56, 0, 105, 'C'), []string{"which part is the isocyanate"}},
		{"all faults of a urethane at once", urethane(nan, inf, nan, -1, 'a'), []string{"NCO is NaN", "OH number is +Inf", "water is NaN", "index is -1", "isocyanate"}},
		{"NCO above any compound's", one(FromNCO, 75.1), []string{"equivalent weight of an isocyanate: NCO is 75.1"}},
		{"no OH number", one(FromOH, 0), []string{"equivalent weight of a polyol: the OH number is 0"}},
		{"no epoxide content", one(FromOxirane, nan), []string{"EEW from the epoxide content: the epoxide content is NaN"}},
		{"equivalents per kg for those per 100 g", one(FromEpoxyValue, 5.3), []string{"the epoxy value is 5.3", "not per kg"}},
		{"a molar mass of nothing", molecule(0, 5), []string{"the molar mass is 0"}},
		{"a molecule without reactive groups", molecule(103, 0), []string{"number of reactive groups is 0"}},
		{"more groups than the mass can carry", molecule(103, 25), []string{"the equivalent weight found is 4.12"}},
		{"an empty blend", blend(), []string{"no member reacts"}},
		{"a blend of fillers", blend(Component{Weight: 10, Inert: true}), []string{"no member reacts"}},
		{"a member of no weight", blend(Component{Weight: 0, Eq: 190}), []string{"the weight of member 1 is 0"}},
		{"a member whose equivalent weight is forgotten", blend(Component{Weight: 80, Eq: 189}, Component{Weight: 10}), []string{"equivalent weight of member 2 is 0"}},
		{"an inert member that reacts", blend(Component{Weight: 80, Eq: 189}, Component{Weight: 10, Eq: 5, Inert: true}), []string{"member 2 is inert and has an equivalent weight of 5"}},
		{"hardly anything in it reacts", blend(Component{Weight: 1, Eq: 190}, Component{Weight: 1e6, Inert: true}), []string{"the equivalent weight found is", "hardly anything reacts"}},
		{"nothing of B poured", index(system, reading.Gram, 0), []string{"index of what was poured: the mass of B is 0 g, must be more than 0"}},
		{"less than nothing of A", index(system, -reading.Gram, reading.Gram), []string{"the mass of A is -1 g"}},
		{"a card that does not say which part is on top", index(System{EqA: 190, EqB: 34}, reading.Gram, reading.Gram), []string{"which part is on top in the index is not said"}},
		{"a card without equivalents", index(System{IndexOf: 'B'}, reading.Gram, reading.Gram), []string{"equivalent weight of A is 0", "equivalent weight of B is 0"}},
		{"a ratio at no index", phr(system, nan), []string{"mix ratio from equivalent weights: the index is NaN"}},
		{"a ratio of nothing", phr(System{}, 100), []string{"of A is 0", "of B is 0", "not said"}},
		{"a tolerance upside down", tolerance(system, 100, 105, 95), []string{"not in this order"}},
		{"a tolerance beside the index", tolerance(system, 100, 101, 105), []string{"not in this order"}},
		{"no tolerance", tolerance(system, 100, 100, 100), []string{"leave no room"}},
		{"a tolerance that is no number", tolerance(system, nan, nan, nan), []string{"the index is NaN", "lowest index is NaN", "highest index is NaN"}},
		{"the tolerance of nothing", tolerance(System{}, 100, 95, 105), []string{"of A is 0", "not said"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.call()
			require.Error(t, err)
			for _, want := range tt.want {
				require.ErrorContains(t, err, want)
			}
		})
	}
}

// Whatever the figures, there is an error or a number that can be one.
func TestNoFiguresMakeANumberThatIsNone(t *testing.T) {
	figures := rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 1e5), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e300, 5e-324}))
	rapid.Check(t, func(t *rapid.T) {
		v := func() float64 { return figures.Draw(t, "v") }
		believable := func(n float64, err error) {
			if err != nil {
				require.True(t, math.IsNaN(n), "an error beside the number %v", n)
				return
			}
			require.True(t, n > 0 && n <= math.MaxFloat64, "%v", n)
		}
		believable(FromNCO(v()))
		believable(FromOH(v()))
		believable(FromOxirane(v()))
		believable(FromEpoxyValue(v()))
		believable(OfMolecule(v(), rapid.Int().Draw(t, "groups")))
		believable(Blend(Component{Weight: v(), Eq: v()}, Component{Weight: v(), Inert: true}))
		s := System{EqA: v(), EqB: v(), IndexOf: rapid.Byte().Draw(t, "index_of")}
		believable(s.PHR(v()))
		e, err := Epoxy{EEW: v(), AHEW: v(), Index: v(), Resin: 'A'}.Mix()
		require.True(t, err != nil || e.A == 100 && e.B > 0 && e.B <= math.MaxFloat64, "%+v", e)
		u, err := Urethane{NCOPct: v(), OHNumber: v(), WaterPct: v(), Index: v(), Isocyanate: 'B'}.Mix()
		require.True(t, err != nil || u.A == 100 && u.B > 0 && u.B <= math.MaxFloat64, "%+v", u)
		believable(s.Index(reading.Mass(rapid.Int64().Draw(t, "a")), reading.Mass(rapid.Int64().Draw(t, "b"))))
	})
}
