package material

import "time"

// Demo is what a demonstration opens with: invented materials, to show more A than B, more B than A, and a ratio by
// volume whose equal parts are not equal masses.
func Demo() []Card {
	return []Card{harbourClear(), cobbleRubber(), tidepoolSoft()}
}

const minute = Duration(time.Minute)

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
			{Kind: "cure", Time: 16 * 60 * minute, TemperatureC: new(25.0)},
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
			{Kind: "demould", Time: 24 * 60 * minute, TemperatureC: new(23.0)},
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
			{Kind: "demould", Time: 4 * 60 * minute, TemperatureC: new(23.0)},
		},
		Cautions: demoCautions,
		SDS:      SDS{A: "Tidepool soft A (invented): no data sheet", B: "Tidepool soft B (invented): no data sheet"},
	}
}
