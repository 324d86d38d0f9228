package plan

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/scaledrv/reading"
	"twocup/station/material"
)

// testdata/kinetics.csv: Arrhenius with the gas constant of the SI Brochure, 9th edition; half for each 10 °C is common
// practice; the rules of pot life are this project's.
func TestPotLivesAreThoseOfTheReference(t *testing.T) {
	covered := map[string]int{}
	for _, r := range readCSV(t, "testdata/kinetics.csv") {
		covered[r["kind"]]++
		t.Run(r["id"], func(t *testing.T) {
			in := r.pairs("inputs")
			switch r["kind"] {
			case "arrhenius": // shortened only where it is warmer: the formula is looked at alone
				got := warmer(new(in.float(t, "ea_j_mol")/1000), point{in.float(t, "at_c"), in.float(t, "time_s")}, in.float(t, "to_c"))
				require.InEpsilon(t, r.float(t, "value"), got, 1e-12)
			case "halving":
				got := warmer(nil, point{in.float(t, "at_c"), in.float(t, "time_s")}, in.float(t, "to_c"))
				require.InEpsilon(t, r.float(t, "value"), got, 1e-12)
			case "ea_from_factor": // the energy that makes the factor
				require.InEpsilon(t, 1/in.float(t, "factor"), warmer(new(r.float(t, "value")/1000), point{in.float(t, "at_c"), 1}, in.float(t, "to_c")), 1e-12)
			case "table_interpolation":
				got := between(point{in.float(t, "t1_c"), in.float(t, "time1_s")}, point{in.float(t, "t2_c"), in.float(t, "time2_s")}, in.float(t, "to_c"))
				require.InEpsilon(t, r.float(t, "value"), got, 1e-12)
			case "pot_life":
				requirePotLife(t, r, in)
			default:
				require.Fail(t, "unknown kind", r["kind"])
			}
		})
	}
	require.Len(t, covered, 5)
}

func requirePotLife(t *testing.T, r, in row) {
	card := &material.PotLife{Time: seconds(in.float(t, "time_s")), MassG: new(in.float(t, "mass_g")), TemperatureC: new(in.float(t, "at_c"))}
	for _, text := range strings.Split(in["table"], ",") {
		if celsius, time, given := strings.Cut(text, ":"); given {
			card.Table = append(card.Table, material.PotLifeRow{TemperatureC: new(row{"c": celsius}.float(t, "c")), Time: seconds(row{"s": time}.float(t, "s"))})
		}
	}
	if in["activation_kj_mol"] != "" {
		card.ActivationKJPerMol = new(in.float(t, "activation_kj_mol"))
	}
	life := PotLifeAt(card, in.mass(t, "batch_g"), new(in.float(t, "to_c")))
	switch {
	case r["output"] == "basis":
		require.Equal(t, Basis(r["value"]), life.Basis)
	case r["value"] == "":
		require.Zero(t, life.Time)
	case r["output"] == "time_s":
		require.Equal(t, math.Floor(r.float(t, "value")), life.Time.Seconds(), "rounded down, never up")
	default:
		require.Equal(t, "last_cast_s_at_most", r["output"])
		require.LessOrEqual(t, life.LastCast.Seconds(), r.float(t, "value"))
		require.Greater(t, life.LastCast.Seconds(), r.float(t, "value")-1)
	}
}

func seconds(s float64) material.Duration {
	return material.Duration(time.Duration(s) * time.Second)
}

func TestPotLivesOfCardsThatSayLess(t *testing.T) {
	twentyMinutes := func() *material.PotLife { return &material.PotLife{Time: seconds(1200)} }
	withMass := twentyMinutes()
	withMass.MassG = new(100.0)
	full := twentyMinutes()
	full.MassG, full.TemperatureC = new(100.0), new(25.0)
	masses := twentyMinutes()
	masses.MassG, masses.TemperatureC = new(100.0), new(25.0)
	masses.Table = []material.PotLifeRow{{MassG: new(500.0), TemperatureC: new(25.0), Time: seconds(600)}, {MassG: new(500.0), TemperatureC: new(35.0), Time: seconds(240)},
		{MassG: new(1000.0), TemperatureC: new(25.0), Time: seconds(300)}}
	warm := twentyMinutes()
	warm.MassG, warm.TemperatureC = new(100.0), new(25.0)
	warm.Table = []material.PotLifeRow{{TemperatureC: new(30.0), Time: seconds(800)}, {TemperatureC: new(40.0), Time: seconds(300)}}
	hundredGrams := func(rows ...material.PotLifeRow) *material.PotLife {
		return &material.PotLife{Time: seconds(1200), MassG: new(100.0), TemperatureC: new(25.0), Table: rows}
	}
	warmHeavy := hundredGrams(material.PotLifeRow{TemperatureC: new(30.0), MassG: new(500.0), Time: seconds(360)})
	coldHeavy := hundredGrams(material.PotLifeRow{TemperatureC: new(15.0), MassG: new(500.0), Time: seconds(720)})
	slowHeavy := hundredGrams(material.PotLifeRow{TemperatureC: new(10.0), MassG: new(500.0), Time: seconds(2400)},
		material.PotLifeRow{TemperatureC: new(40.0), MassG: new(500.0), Time: seconds(900)})
	twentyMinutesAt25 := hundredGrams()
	twentyMinutesAt25.MassG = nil
	massless := hundredGrams(material.PotLifeRow{TemperatureC: new(30.0), MassG: new(500.0), Time: seconds(360)})
	massless.MassG = nil
	for _, tt := range []struct {
		name    string
		card    *material.PotLife
		mass    float64
		celsius *float64
		time    float64
		basis   Basis
	}{
		{"no pot life at all", nil, 100, nil, 0, Unknown},
		{"neither mass nor temperature: at most that", twentyMinutes(), 100, new(20.0), 1200, UpperBound},
		{"no temperature: at most that", withMass, 100, new(20.0), 1200, UpperBound},
		{"no temperature given: the card's", full, 100, nil, 1200, ByCard},
		{"a table row for a larger mass", masses, 300, nil, 600, ByTable},
		{"that row's mass is enough, between its temperatures", masses, 500, new(35.0), 240, ByTable},
		{"above every mass of the table", masses, 1001, new(25.0), 300, UpperBound},
		{"the table reaches further than 10 °C", warm, 100, new(40.0), 300, ByTable},
		{"warmer than the card, without a table", full, 100, new(34.0), 643, ByEstimate},
		{"beyond the end of the table", warm, 100, new(41.0), 0, Unknown},
		{"a larger mass has only a warmer figure: that", warmHeavy, 400, new(25.0), 360, ByTable},
		{"the same at the card's temperature, none given", warmHeavy, 400, nil, 360, ByTable},
		{"the same at that figure", warmHeavy, 400, new(30.0), 360, ByTable},
		{"the same where it is colder than the card", warmHeavy, 400, new(18.0), 360, ByTable},
		{"the same, warmer than both", warmHeavy, 400, new(35.0), 254, ByEstimate}, // 360/2^0.5
		{"a larger mass than any, with only a warmer figure", warmHeavy, 501, new(25.0), 360, UpperBound},
		{"a batch within the card's own mass", warmHeavy, 100, new(25.0), 1200, ByCard},
		{"a larger mass has only a colder figure: that", coldHeavy, 400, new(15.0), 720, ByTable},
		{"the same, colder still", coldHeavy, 400, new(5.0), 720, ByTable},
		{"the same, shortened from it", coldHeavy, 400, new(20.0), 509, ByEstimate}, // 720/2^0.5
		{"the same at the card's temperature", coldHeavy, 400, nil, 360, ByEstimate},
		{"more than 10 °C above the only figure for that mass", coldHeavy, 400, new(25.1), 0, Unknown},
		{"a line for a larger mass is never above the card's time where it is as warm", slowHeavy, 400, new(25.0), 1200, ByTable},
		{"colder than a longer figure for a larger mass: the card's", slowHeavy, 400, new(5.0), 1200, ByCard},
		{"nothing in the cup yet, and a card without a mass", twentyMinutesAt25, 0, nil, 1200, UpperBound},
		{"a figure without a mass is none for a larger one", massless, 400, new(25.0), 360, ByTable},
	} {
		t.Run(tt.name, func(t *testing.T) {
			life := PotLifeAt(tt.card, grams(tt.mass), tt.celsius)
			require.Equal(t, tt.basis, life.Basis)
			require.Equal(t, tt.time, life.Time.Seconds())
		})
	}
}

func TestAPotLifeOnlyEverShortens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		card := &material.PotLife{Time: seconds(1200), MassG: new(100.0), TemperatureC: new(23.0)}
		if rapid.Bool().Draw(t, "activation") {
			card.ActivationKJPerMol = new(rapid.Float64Range(20, 90).Draw(t, "kJ/mol"))
		}
		celsius := rapid.Float64Range(-20, 60).Draw(t, "celsius")
		mass := reading.Gram * reading.Mass(rapid.IntRange(1, 5000).Draw(t, "g"))
		life := PotLifeAt(card, mass, &celsius)
		require.LessOrEqual(t, life.Time, 20*time.Minute)
		require.LessOrEqual(t, life.LastCast, life.Time)
		warmer := celsius + rapid.Float64Range(0, 20).Draw(t, "warmer")
		require.LessOrEqual(t, PotLifeAt(card, mass, &warmer).Time, life.Time)
		require.LessOrEqual(t, PotLifeAt(card, 2*mass, &celsius).LastCast, life.LastCast)
	})
}

func TestALargerMassNeverHasMoreThanItsOwnFigure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := material.PotLifeRow{TemperatureC: new(rapid.Float64Range(0, 45).Draw(t, "row °C")), MassG: new(500.0), Time: seconds(float64(rapid.IntRange(60, 1200).Draw(t, "row s")))}
		card := &material.PotLife{Time: seconds(1200), MassG: new(100.0), TemperatureC: new(25.0), Table: []material.PotLifeRow{row}}
		celsius := rapid.Float64Range(-20, 60).Draw(t, "celsius")
		mass := reading.Gram * reading.Mass(rapid.IntRange(101, 2000).Draw(t, "g"))
		life := PotLifeAt(card, mass, &celsius)
		require.LessOrEqual(t, life.Time, time.Duration(row.Time))
		require.NotEqual(t, ByCard, life.Basis)
	})
}

func TestMinutesAreSaidAsAPersonSaysThem(t *testing.T) {
	for text, d := range map[string]time.Duration{"90 s": 90 * time.Second, "12 min": 12 * time.Minute, "12 min 30 s": 750 * time.Second,
		"1 h 5 min": 65 * time.Minute, "24 h": 24 * time.Hour, "0 s": 0} {
		require.Equal(t, text, minutes(d), strconv.Quote(text))
	}
}
