package material

import "time"

// Demo is what a demonstration opens with: invented materials, each for one thing that is done differently. More A than
// B; more B than A; a ratio by volume whose equal parts are not equal masses; thick A with a little thin B; a fast foam;
// additions that count; a catalysed resin whose accelerator must never meet its peroxide.
func Demo() []Card {
	return []Card{harbourClear(), cobbleRubber(), tidepoolSoft(), limpetSkin(), spindriftFoam(), breakwaterTooling(), gannetLaminate()}
}

const (
	minute = Duration(time.Minute)
	hour   = 60 * minute
)

var demoCautions = []string{
	"Invented material for demonstration: the safety data sheets of what you really pour decide.",
	"Gloves, eye protection and ventilation as the safety data sheets say.",
	"Nothing that was mixed or left over goes back into a container.",
}

func harbourClear() Card {
	return Card{
		ID: "harbour-clear", Name: "Harbour clear casting resin",
		Ratio:                    Ratio{Weight: &Parts{"100", "50"}},
		Density:                  Density{A: "1.10", B: "0.98", Mixed: "1.06", Cast: "1.08", AtC: new(25.0)},
		StatedTolerance:          &TolerancePct{Low: -2, High: 2},
		StatedAmountTolerancePct: new(2.0),
		StatedMeasureB:           "weight", StatedCombine: "in_cup", StatedHurry: new(false), StatedViscosity: "thin",
		PotLife: &PotLife{Time: 20 * minute, MassG: new(100.0), TemperatureC: new(25.0),
			Table: []PotLifeRow{{TemperatureC: new(30.0), MassG: new(100.0), Time: 13 * minute}}},
		Steps: []Step{
			{Kind: "mix", Time: 3 * minute, ScrapeEvery: 45 * minute / 60},
			{Kind: "second_cup", Time: minute},
			{Kind: "degas", PressureMbarAbs: new(30.0), Time: 4 * minute, Headroom: new(4.0)},
			{Kind: "cast", Within: 5 * minute, Verb: "cast"},
			{Kind: "cure", Time: 16 * hour, TemperatureC: new(25.0)},
		},
		MoistureSensitive: new(true),
		Codes:             Codes{A: []string{"DEMO-HARBOUR-A"}, B: []string{"DEMO-HARBOUR-B"}},
		Cautions:          demoCautions,
		SDS:               SDS{A: "Harbour clear A (invented): no data sheet", B: "Harbour clear B (invented): no data sheet"},
	}
}

// cobbleRubber has more B than A, and leaves to the defaults what it can.
func cobbleRubber() Card {
	return Card{
		ID: "cobble-rubber", Name: "Cobble mould rubber",
		Ratio:           Ratio{Weight: &Parts{"50", "100"}},
		StatedTolerance: &TolerancePct{Low: -3, High: 3},
		StatedViscosity: "thick",
		PotLife:         &PotLife{Time: 35 * minute, MassG: new(200.0), TemperatureC: new(23.0)},
		Steps: []Step{
			{Kind: "mix", Time: 5 * minute, ScrapeEvery: minute},
			{Kind: "cast", Within: 10 * minute, Verb: "brush"},
			{Kind: "demould", Time: 24 * hour, TemperatureC: new(23.0)},
		},
		Cautions: demoCautions,
		SDS:      SDS{A: "Cobble rubber A (invented): no data sheet", B: "Cobble rubber B (invented): no data sheet"},
	}
}

// tidepoolSoft is 1:1 by volume with unlike densities: weighed, B is the larger by a sixth.
func tidepoolSoft() Card {
	return Card{
		ID: "tidepool-soft", Name: "Tidepool soft casting rubber",
		Ratio:           Ratio{Volume: &Parts{"1", "1"}},
		Density:         Density{A: "1.042", B: "1.218", AtC: new(23.0)},
		StatedTolerance: &TolerancePct{Low: -2, High: 2},
		StatedViscosity: "medium",
		PotLife:         &PotLife{Time: 12 * minute, MassG: new(150.0), TemperatureC: new(23.0)},
		Steps: []Step{
			{Kind: "mix", Time: 2 * minute, ScrapeEvery: 30 * minute / 60},
			{Kind: "cast", Within: 3 * minute, Verb: "cast"},
			{Kind: "demould", Time: 4 * hour, TemperatureC: new(23.0)},
		},
		Cautions: demoCautions,
		SDS:      SDS{A: "Tidepool soft A (invented): no data sheet", B: "Tidepool soft B (invented): no data sheet"},
	}
}

// limpetSkin has A like honey, and a tenth of it of B like water.
func limpetSkin() Card {
	return Card{
		ID: "limpet-skin", Name: "Limpet mould skin",
		Ratio:           Ratio{Weight: &Parts{"10", "1"}},
		Density:         Density{A: "1.12", B: "0.97", Mixed: "1.10", AtC: new(23.0)},
		StatedTolerance: &TolerancePct{Low: -5, High: 5},
		StatedViscosity: "thick_thin",
		PotLife: &PotLife{Time: 45 * minute, MassG: new(100.0), TemperatureC: new(23.0),
			Table: []PotLifeRow{{TemperatureC: new(18.0), Time: 70 * minute}, {TemperatureC: new(30.0), Time: 25 * minute}}},
		Steps: []Step{
			{Kind: "mix", Time: 4 * minute, ScrapeEvery: minute},
			{Kind: "degas", PressureMbarAbs: new(30.0), Time: 5 * minute, Headroom: new(4.0)},
			{Kind: "cast", Within: 15 * minute, Verb: "brush"},
			{Kind: "demould", Time: 20 * hour, TemperatureC: new(23.0)},
		},
		Cautions: demoCautions,
		SDS:      SDS{A: "Limpet skin A (invented): no data sheet", B: "Limpet skin B (invented): no data sheet"},
	}
}

// spindriftFoam rises within a minute to about seven times its volume.
func spindriftFoam() Card {
	return Card{
		ID: "spindrift-foam", Name: "Spindrift casting foam",
		Ratio:           Ratio{Weight: &Parts{"100", "90"}},
		Density:         Density{A: "1.05", B: "1.22", Mixed: "1.13", Cast: "0.16", AtC: new(23.0)},
		StatedTolerance: &TolerancePct{Low: -3, High: 3},
		StatedCombine:   "apart", StatedHurry: new(true), StatedViscosity: "foam",
		PotLife: &PotLife{Time: 45 * minute / 60, MassG: new(100.0), TemperatureC: new(23.0)},
		Steps: []Step{
			{Kind: "mix", Time: 15 * minute / 60},
			{Kind: "cast", Within: 20 * minute / 60, Verb: "cast"},
			{Kind: "demould", Time: 30 * minute},
		},
		MoistureSensitive: new(true),
		Cautions:          append([]string{"B holds an isocyanate: a container that may have taken up moisture is never closed tight."}, demoCautions...),
		SDS:               SDS{A: "Spindrift foam A (invented): no data sheet", B: "Spindrift foam B (invented): no data sheet"},
	}
}

// breakwaterTooling is filled: grit that leaves the ratio alone, a paste whose carrier is A in part, a thinner
// that takes its share of B.
func breakwaterTooling() Card {
	return Card{
		ID: "breakwater-tooling", Name: "Breakwater filled tooling resin",
		Ratio:           Ratio{Weight: &Parts{"100", "20"}},
		Density:         Density{A: "1.16", B: "0.99", AtC: new(25.0)},
		StatedTolerance: &TolerancePct{Low: -2, High: 2},
		StatedViscosity: "thick",
		PotLife:         &PotLife{Time: 60 * minute, MassG: new(500.0), TemperatureC: new(25.0), ActivationKJPerMol: new(55.0)},
		Steps: []Step{
			{Kind: "stir", Time: 3 * minute},
			{Kind: "mix", Time: 5 * minute, ScrapeEvery: minute},
			{Kind: "second_cup", Time: 2 * minute},
			{Kind: "cast", Within: 20 * minute, Verb: "cast"},
			{Kind: "cure", Time: 24 * hour, TemperatureC: new(25.0)},
			{Kind: "demould"},
			{Kind: "post_cure", Time: 4 * hour, TemperatureC: new(60.0)},
		},
		Additions: []Addition{
			{ID: "thinner", Name: "Reactive thinner", Role: "other", Of: "a", Pct: new(5.0), StatedWhen: "after_a",
				StatedCountsAs: "a", Density: "1.08", StatedTolerancePct: new(3.0), StirIn: new(true)},
			{ID: "grey", Name: "Grey pigment paste", Role: "pigment", Of: "ab", Pct: new(1.0), StatedWhen: "after_a",
				StatedCountsAs: "a", StatedCountsFraction: new(0.6), Density: "1.40", StatedTolerancePct: new(10.0), StirIn: new(true)},
			{ID: "grit", Name: "Stone grit", Role: "filler", Of: "ab", Pct: new(80.0), StatedWhen: "after_b",
				StatedCountsAs: "none", Density: "2.65", StatedTolerancePct: new(5.0), StirIn: new(true)},
		},
		Cautions: demoCautions,
		SDS:      SDS{A: "Breakwater tooling A (invented): no data sheet", B: "Breakwater tooling B (invented): no data sheet"},
	}
}

// gannetLaminate is cured by a peroxide, B, of which more is taken when it is cold.
func gannetLaminate() Card {
	return Card{
		ID: "gannet-laminate", Name: "Gannet laminating resin",
		Ratio:           Ratio{Weight: &Parts{"100", "1.5"}, BRange: []float64{1, 2.5}},
		Density:         Density{A: "1.10", B: "1.15", AtC: new(20.0)},
		StatedTolerance: &TolerancePct{Low: -10, High: 10},
		StatedViscosity: "medium",
		PotLife:         &PotLife{Time: 25 * minute, MassG: new(100.0), TemperatureC: new(20.0)},
		Steps: []Step{
			{Kind: "stir", Time: 2 * minute},
			{Kind: "mix", Time: 2 * minute, ScrapeEvery: 30 * minute / 60},
			{Kind: "cast", Within: 8 * minute, Verb: "laminate"},
			{Kind: "cure", Time: 24 * hour, TemperatureC: new(20.0)},
		},
		Additions: []Addition{
			{ID: "accelerator", Name: "Metal accelerator", Role: "accelerator", Of: "a", Pct: new(0.4), StatedWhen: "after_a",
				StatedCountsAs: "none", Density: "0.95", StatedTolerancePct: new(10.0), StirIn: new(true)},
		},
		Cautions: append([]string{
			"B is an organic peroxide: it and the accelerator must never meet undiluted. The accelerator goes into A and is stirred in first; separate sticks and dispensers.",
			"Splash goggles for the peroxide. Vapours burn: no scale, computer, screen or pump where they gather, and no degassing.",
		}, demoCautions...),
		SDS: SDS{A: "Gannet resin A (invented): no data sheet", B: "Gannet peroxide B (invented): no data sheet"},
	}
}
