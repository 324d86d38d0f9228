package plan

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

func TestTheCupHoldsTheMixAndItsFoam(t *testing.T) {
	degassed := clear()
	degassed.Steps = []material.Step{{Kind: "degas", Headroom: new(4.0)}}
	vague := clear()
	vague.Steps = []material.Step{{Kind: "degas"}}
	unknown := byWeight("100", "50")
	for _, tt := range []struct {
		name  string
		card  material.Card
		ml    *float64
		level Level // empty: no check
		limit string
		do    string
	}{
		{"neither cup nor headroom is stated", clear(), nil, "", "", ""},
		{"the mix fits", clear(), new(284.0), OK, "mix 283 mL", ""},
		{"the mix runs over", clear(), new(283.0), Stop, "mix 283 mL", "it runs over: use a cup of at least 284 mL, or split it over several"},
		{"its foam fits", degassed, new(1133.0), OK, "mix 283 mL, 4 times that to degas: 1132 mL", ""},
		{"its foam runs over", degassed, new(1000.0), Stop, "mix 283 mL, 4 times that to degas: 1132 mL", "it runs over: use a cup of at least 1133 mL, or split it over several"},
		{"a cup must be found", degassed, nil, Caution, "mix 283 mL, 4 times that to degas: 1132 mL", "use a cup of at least 1133 mL"},
		{"degassing without headroom", vague, new(300.0), Caution, "mix 283 mL", "the card degasses and states no headroom: 3 to 5 times the mix is common practice"},
		{"the volume is not known", unknown, new(300.0), Caution, "volume of the mix not known", "enter density.mixed, or both of A and B, and that of every addition; until then look for yourself that it fits"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := Request{Card: tt.card, Amount: total(300), Cup: &Cup{VolumeML: tt.ml}}.Plan() // 300 g at 1.06 g/mL are 283.02 mL
			require.NoError(t, err)
			require.Equal(t, tt.level != "", p.hasCheck("cup_volume"))
			if tt.level == "" {
				return
			}
			c := p.checked(t, "cup_volume")
			require.Equal(t, []any{tt.level, tt.limit, tt.do}, []any{c.Level, c.Limit, c.Do})
			require.NoError(t, p.Refusal())
		})
	}
}

func TestCupAndMixAreHeldAgainstTheCapacity(t *testing.T) {
	for _, tt := range []struct {
		name   string
		cup    string
		level  Level
		figure string
	}{
		{"with room", "40 g", OK, "cup 40 g + mix 300 g = 340 g"},
		{"to the gram", "700 g", OK, "cup 700 g + mix 300 g = 1000 g"},
		{"too heavy a cup", "700.1 g", Stop, "cup 700.1 g + mix 300 g = 1000.1 g"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cup, err := ParseMass(tt.cup)
			require.NoError(t, err)
			p, err := Request{Card: clear(), Amount: total(300), Cup: &Cup{MassG: &cup}, Scales: []Scale{{ID: "s", Division: decigram, Capacity: reading.Kilogram}}}.Plan()
			require.NoError(t, err)
			c := p.checked(t, "capacity")
			require.Equal(t, []any{tt.level, tt.figure, "capacity 1000 g"}, []any{c.Level, c.Figure, c.Limit})
			if tt.level == Stop {
				require.ErrorContains(t, p.Refusal(), "capacity 1000 g; make less, split it over several cups, or use a larger scale")
				require.Empty(t, p.OpenChecks(), "nobody can override it")
			}
		})
	}
}

func TestAVesselOfItsOwnIsWeighedAlone(t *testing.T) {
	for _, tt := range []struct {
		name    string
		combine string
		scale   reading.Mass
		cup     *Cup
		late    bool // an addition of 30 g that is weighed onto A and B
		level   Level
		figure  string
		do      string
	}{
		{"B onto A", "in_cup", 299 * reading.Gram, nil, false, Stop, "mix 300 g, without the cup", "make less, split it over several cups, or use a larger scale"},
		{"B apart is not on the scale with A", "apart", 299 * reading.Gram, nil, false, OK, "what is in the cup 200 g, without the cup; B 100 g, without its vessel", ""},
		{"A and its cup reach the capacity", "apart", 240 * reading.Gram, &Cup{MassG: new(40 * reading.Gram)}, false, OK, "cup 40 g + what is in the cup 200 g = 240 g; B 100 g, without its vessel", ""},
		{"A leaves little for its cup", "apart", 210 * reading.Gram, nil, false, Caution, "what is in the cup 200 g, without the cup; B 100 g, without its vessel",
			"the cup's mass is not stated and 10 g are left for it: weigh it empty first; if it is heavier, make less"},
		{"A alone is too much", "apart", 199 * reading.Gram, nil, false, Stop, "what is in the cup 200 g, without the cup; B 100 g, without its vessel", "make less, split it over several cups, or use a larger scale"},
		{"what follows B is weighed onto both", "apart", 400 * reading.Gram, nil, true, OK, "mix 330 g, without the cup; B 100 g, without its vessel", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			card := byWeight("100", "50")
			card.StatedCombine = tt.combine
			if tt.late {
				late := paste("late", "ab", 10)
				late.StatedWhen = "after_b"
				card.Additions = []material.Addition{late}
			}
			p, err := Request{Card: card, Amount: Amount{PartAG: new(200 * reading.Gram)}, Cup: tt.cup, Scales: []Scale{{ID: "s", Division: decigram, Capacity: tt.scale}}}.Plan()
			require.NoError(t, err)
			c := p.checked(t, "capacity")
			require.Equal(t, []any{tt.level, tt.figure, tt.do}, []any{c.Level, c.Figure, c.Do})
		})
	}
}

func TestAnAdditionTooSmallToWeighGetsAMasterBatch(t *testing.T) {
	for _, tt := range []struct {
		name  string
		pct   float64
		role  string
		level Level
		limit string
		do    string
	}{
		// USP <41> (2019), its rule at 5 %: 2 × 0.1 g/0.05 = 4 g
		{"enough", 1.4, "pigment", OK, "at least 4 g for ±5 % of dye", ""},
		{"below what the scale gives to its tolerance", 1, "pigment", Caution, "at least 4 g for ±5 % of dye",
			"dye is too little for this scale: use a finer one, or make a larger batch, or measure this one's repeatability, or a master batch 1 in 5: stir 4 g of dye well into 16 g of A; 14.8 g of that brings about 2.96 g of dye and 11.84 g of A, which is then poured less"},
		{"within a division", 0.03, "pigment", Stop, "at least 4 g for ±5 % of dye",
			"dye is too little for this scale: use a finer one, or make a larger batch, or measure this one's repeatability, or a master batch 1 in 50: stir 4 g of dye well into 196 g of A; 4.4 g of that brings about 0.088 g of dye and 4.312 g of A, which is then poured less"},
		{"a catalyst is not spread about", 0.03, "catalyst", Stop, "at least 4 g for ±5 % of dye", "dye is too little for this scale: use a finer one, or make a larger batch, or measure this one's repeatability"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			card := byWeight("100", "50")
			card.Additions = []material.Addition{paste("dye", "ab", tt.pct)}
			card.Additions[0].Role = tt.role
			p, err := Make(card, 1, total(300), bench())
			require.NoError(t, err)
			c := p.checked(t, "addition")
			require.Equal(t, []any{tt.level, tt.limit, tt.do}, []any{c.Level, c.Limit, c.Do})
		})
	}
}

func TestAnAdditionOfOneDivisionIsStopped(t *testing.T) {
	for pct, level := range map[float64]Level{0.05: Stop, 0.0501: Caution} { // of 200 g: one division of 0.1 g, and a little more
		card := byWeight("100", "50")
		card.Additions = []material.Addition{paste("dye", "a", pct)}
		p, err := Make(card, 1, Amount{PartAG: new(200 * reading.Gram)}, bench())
		require.NoError(t, err)
		require.Equal(t, level, p.checked(t, "addition").Level, pct)
	}
}

// 0.09 g of dye in 6 g of A: one in 50 is 4.5 g with 4.41 g of A in it, less than all of the A but more than half.
func TestAMasterBatchLeavesHalfOfAToBePoured(t *testing.T) {
	for a, suggested := range map[reading.Mass]bool{6 * reading.Gram: false, 9 * reading.Gram: true} {
		card := byWeight("100", "50")
		card.Additions = []material.Addition{paste("dye", "a", 9/a.Grams())}
		p, err := Make(card, 1, Amount{PartAG: &a}, bench())
		require.NoError(t, err)
		require.Equal(t, "dye 0.09 g", p.checked(t, "addition").Figure)
		require.Equal(t, suggested, strings.Contains(p.checked(t, "addition").Do, "master batch"), a)
	}
}

func TestAStepWithoutATimeIsLeftToThePerson(t *testing.T) {
	minute := material.Duration(time.Minute)
	for _, tt := range []struct {
		name   string
		steps  []material.Step
		figure string
		do     string // empty: ok
	}{
		{"no steps at all", nil, "the card states no time for mixing, casting", "the card states no time for mixing, casting: judge by yourself, and cast within 20 min"},
		{"steps without times", []material.Step{{Kind: "mix"}, {Kind: "degas", Within: minute}, {Kind: "cast"}}, "the card states no time for mixing, degassing, casting",
			"the card states no time for mixing, degassing, casting: judge by yourself, and cast within 20 min"},
		{"one without", []material.Step{{Kind: "mix", Time: 3 * minute}, {Kind: "cast"}}, "mixing 3 min; the card states no time for casting",
			"the card states no time for casting: judge by yourself, and cast within 20 min"},
		{"before the first contact it does not matter", []material.Step{{Kind: "stir"}, {Kind: "mix", Time: 3 * minute}, {Kind: "cast", Within: minute}, {Kind: "cure"}}, "mixing + casting 4 min", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			card := clear()
			card.PotLife = &material.PotLife{Time: 20 * minute, MassG: new(300.0), TemperatureC: new(25.0)}
			card.Steps = tt.steps
			p, err := Make(card, 1, total(300), nil)
			require.NoError(t, err)
			c := p.checked(t, "pot_life")
			require.Equal(t, []any{tt.do == "", tt.figure, tt.do}, []any{c.Level == OK, c.Figure, c.Do})
			require.NotEqual(t, Stop, c.Level)
		})
	}
}

func TestMixingAndCastingAreHeldAgainstThePotLife(t *testing.T) {
	minute := material.Duration(time.Minute)
	card := clear()
	card.PotLife = &material.PotLife{Time: 20 * minute, MassG: new(300.0), TemperatureC: new(25.0)}
	card.Steps = []material.Step{{Kind: "stir", Time: minute}, {Kind: "mix", Time: 3 * minute}, {Kind: "second_cup", Time: minute}, {Kind: "degas", Time: 4 * minute}, {Kind: "cast", Within: 5 * minute}, {Kind: "cure"}}
	for _, tt := range []struct {
		name    string
		total   float64
		celsius *float64
		level   Level
		limit   string
		do      string
	}{
		{"as the card states", 300, nil, OK, "pot life at 25 °C 20 min, as the card states", ""},
		{"a little warmer", 300, new(30.0), OK, "pot life at 30 °C about 14 min 8 s, an estimate, half for each 10 °C", ""},
		{"too warm to be cast in time", 300, new(31.5), Stop, "pot life at 31.5 °C about 12 min 44 s, an estimate, half for each 10 °C", "it hardens before it is cast: make less at a time, work cooler, or take a slower system"},
		{"too warm to say", 300, new(35.1), Caution, "pot life at 35.1 °C not known: more than 10 °C warmer than the card's", "ask the maker for a pot life at this temperature, or cool A and B down"},
		{"colder", 300, new(18.0), Caution, "pot life 20 min, the card's at 25 °C", "colder than the card's figure: it may cure slowly or not fully; warm the room and the parts"},
		{"a larger mass", 301, nil, Caution, "pot life at 25 °C at most 20 min: the card's figures are for a smaller mass", "cast within 10 min: make less at a time, or split it over several cups"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := Request{Card: card, Amount: total(tt.total), TemperatureC: tt.celsius}.Plan()
			require.NoError(t, err)
			c := p.checked(t, "pot_life")
			require.Equal(t, "mixing + second cup + degassing + casting 13 min", c.Figure)
			require.Equal(t, []any{tt.level, tt.limit, tt.do}, []any{c.Level, c.Limit, c.Do})
			require.Equal(t, tt.level == Stop, len(p.OpenChecks()) == 1, "a stop that can be overridden")
		})
	}
	card.PotLife.MassG, card.PotLife.Time = nil, 60*minute
	p, err := Make(card, 1, total(300), nil)
	require.NoError(t, err)
	require.Equal(t, Check{"pot_life", Caution, "mixing + second cup + degassing + casting 13 min",
		"pot life at 25 °C at most 1 h: the card does not say at which mass", "cast within 30 min"}, p.checked(t, "pot_life"), "an upper bound is never green")
	require.Contains(t, p.Assumed, "no clock for the step cure: the card states no time")
}

func TestALargeMassIsSaidToRunHot(t *testing.T) {
	card := clear()
	card.PotLife = &material.PotLife{Time: material.Duration(time.Hour), MassG: new(100.0), TemperatureC: new(25.0)}
	for _, tt := range []struct {
		total float64
		level Level
		do    string
	}{
		{100, OK, ""},
		{100.1, Caution, "a larger mass runs hotter and sooner: cast it at once, never leave it standing in the cup; 2 cups would each stay within the card's mass"},
		{1000, Caution, "a larger mass runs hotter and sooner: cast it at once, never leave it standing in the cup; 10 cups would each stay within the card's mass"},
	} {
		p, err := Make(card, 1, total(tt.total), nil)
		require.NoError(t, err)
		c := p.checked(t, "exotherm")
		require.Equal(t, []any{tt.level, tt.do}, []any{c.Level, c.Do})
	}
	p, err := Make(clear(), 1, total(1000), nil)
	require.NoError(t, err)
	require.False(t, p.hasCheck("exotherm"), "no mass is stated to hold it against")
}

func TestAcceleratorAndPeroxideAreKeptApart(t *testing.T) {
	accelerator := material.Addition{ID: "cobalt", Of: "a", Pct: new(0.5), Role: "accelerator", StirIn: new(true)}
	with := func(change func(*material.Card)) material.Card {
		card := catalysed()
		card.Additions = []material.Addition{accelerator}
		change(&card)
		return card
	}
	for _, tt := range []struct {
		name  string
		card  material.Card
		level Level // empty: no check
	}{
		{"stirred into A, then B", with(func(*material.Card) {}), OK},
		{"into the empty cup, then stirred into A, as the card's own check asks", with(func(c *material.Card) {
			c.Additions[0].StatedWhen, c.Steps = "before_a", []material.Step{{Kind: "stir"}}
		}), OK},
		{"into the empty cup, and only covered by A", with(func(c *material.Card) { c.Additions[0].StatedWhen = "before_a" }), Stop},
		{"not stirred in", with(func(c *material.Card) { c.Additions[0].StirIn = nil }), Stop},
		{"after B", with(func(c *material.Card) { c.Additions[0].StatedWhen = "after_b" }), Stop},
		{"after a catalyst that is an addition", with(func(c *material.Card) {
			c.Ratio.BRange = nil
			c.Additions = append([]material.Addition{{ID: "peroxide", Of: "a", Pct: new(1.0), Role: "catalyst"}}, c.Additions...)
		}), Stop},
		{"before a catalyst that is an addition", with(func(c *material.Card) {
			c.Ratio.BRange = nil
			c.Additions = append(c.Additions, material.Addition{ID: "peroxide", Of: "a", Pct: new(1.0), Role: "catalyst"})
		}), OK},
		{"an accelerator without a catalyst", with(func(c *material.Card) { c.Ratio.BRange = nil }), ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := Make(tt.card, 1, total(300), nil)
			require.NoError(t, err)
			require.Equal(t, tt.level != "", p.hasCheck("order"))
			if tt.level != "" {
				require.Equal(t, tt.level, p.checked(t, "order").Level)
			}
			require.Equal(t, tt.level == Stop, p.Refusal() != nil)
			require.Equal(t, tt.level == Stop, tt.card.Validate() != nil, "as the card's own check says")
			require.Empty(t, p.OpenChecks(), "nobody can override it")
		})
	}
}

func TestTheDensitiesShareOfTheUncertaintyIsSaid(t *testing.T) {
	card := byWeight("2", "1")
	card.Ratio = material.Ratio{Volume: card.Ratio.Weight}
	card.Density = material.Density{A: "1.10", B: "0.98"}
	p, err := Make(card, 1, Amount{PartAG: new(200 * reading.Gram)}, bench())
	require.NoError(t, err)
	require.Equal(t, "A + B 289.090909 g, uncertainty of the ratio 0.84 %, from the densities alone 0.789 %", p.checked(t, "resolution").Figure)
}
