package chem

import (
	"encoding/csv"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// testdata/stoichiometry.csv: each row names its source. Its marks: "opened" was seen in a public copy (guides to epoxy
// and urethane calculations, a trade association's technical library), "derived" is computed from the formula named,
// "memory" is from memory.

type row map[string]string

func readCSV(t *testing.T) []row {
	t.Helper()
	f, err := os.Open("testdata/stoichiometry.csv")
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	rows := make([]row, 0, len(lines)-1)
	for _, line := range lines[1:] {
		r := row{}
		for i, column := range lines[0] {
			r[column] = line[i]
		}
		for _, pair := range strings.Fields(r["inputs"]) {
			name, value, _ := strings.Cut(pair, "=")
			r["in "+name] = value
		}
		rows = append(rows, r)
	}
	return rows
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return f
}

// in is one of the row's inputs.
func (r row) in(t *testing.T, name string) float64 {
	t.Helper()
	return number(t, r["in "+name])
}

func (r row) mass(t *testing.T, name string) reading.Mass {
	t.Helper()
	return grams(t, r.in(t, name))
}

func grams(t require.TestingT, g float64) reading.Mass {
	m, ok := reading.FromGrams(g)
	require.True(t, ok)
	return m
}

// atomicMass in g/mol: IUPAC abridged standard atomic weights 2021, as the rows name them.
var atomicMass = map[string]float64{"C": 12.011, "H": 1.008, "N": 14.007, "O": 15.999, "S": 32.06, "K": 39.098}

var element = regexp.MustCompile(`([A-Z])(\d*)`)

func molarMass(t *testing.T, formula string) (sum float64) {
	t.Helper()
	for _, m := range element.FindAllStringSubmatch(formula, -1) {
		count := 1.0
		if m[2] != "" {
			count = number(t, m[2])
		}
		require.Contains(t, atomicMass, m[1])
		sum += count * atomicMass[m[1]]
	}
	return sum
}

func TestWaterTakesTwoIsocyanateGroups(t *testing.T) { // IUPAC atomic masses
	require.InEpsilon(t, molarMass(t, "H2O")/2, Water, 1e-14)
}

// found is what the room makes of a row.
func found(t *testing.T, r row) (float64, error) {
	switch r["kind"] {
	case "amine_hydrogen_eq":
		return OfMolecule(molarMass(t, r["in formula"]), int(r.in(t, "active_h")))
	case "epoxide_eq":
		return OfMolecule(molarMass(t, r["in formula"]), int(r.in(t, "epoxide_groups")))
	case "epoxy_phr":
		return hardenerPHR(t, r, 100)
	case "epoxy_phr_index":
		return hardenerPHR(t, r, r.in(t, "index_pct"))
	case "blend_eew":
		return Blend(members(t, r["in weights"], r["in eews"])...)
	case "blend_ahew":
		return Blend(members(t, r["in weights"], r["in ahews"])...)
	case "isocyanate_eq":
		require.EqualValues(t, ncoTimesPct, r.in(t, "constant"))
		return FromNCO(r.in(t, "nco_pct"))
	case "hydroxyl_eq":
		require.EqualValues(t, kohPerMole, r.in(t, "constant"))
		return FromOH(r.in(t, "oh_number"))
	case "isocyanate_phr":
		require.InEpsilon(t, Water, r.in(t, "water_eq"), 1e-14)
		m, err := Urethane{NCOPct: r.in(t, "nco_pct"), OHNumber: r.in(t, "oh_number"), WaterPct: r.in(t, "water_pct"), Index: r.in(t, "index"), Isocyanate: 'B'}.Mix()
		require.EqualValues(t, 100, m.A)
		return m.B, err
	case "index_from_poured":
		m, err := Urethane{NCOPct: r.in(t, "nco_pct"), OHNumber: r.in(t, "oh_number"), Index: 100, Isocyanate: 'A'}.Mix()
		require.NoError(t, err)
		return m.System.Index(r.mass(t, "isocyanate_g"), r.mass(t, "polyol_g"))
	case "epoxy_index_from_poured":
		return System{EqA: r.in(t, "eew"), EqB: r.in(t, "ahew"), IndexOf: 'B'}.Index(r.mass(t, "resin_g"), r.mass(t, "hardener_g"))
	case "conversion":
		if r["id"] == "epoxy-value" {
			return FromEpoxyValue(r.in(t, "epoxy_value_eq_per_100g"))
		}
		return FromOxirane(r.in(t, "epoxide_pct"))
	}
	require.Fail(t, "unknown kind", r["kind"])
	return 0, nil
}

func hardenerPHR(t *testing.T, r row, index float64) (float64, error) {
	m, err := Epoxy{EEW: r.in(t, "eew"), AHEW: r.in(t, "ahew"), Index: index, Resin: 'A'}.Mix()
	require.EqualValues(t, 100, m.A)
	return m.B, err
}

// members are those of "80+10+10" by weight with "189+183+none" as equivalent weights.
func members(t *testing.T, weights, eqs string) (list []Component) {
	eq := strings.Split(eqs, "+")
	for i, weight := range strings.Split(weights, "+") {
		c := Component{Weight: number(t, weight), Inert: eq[i] == "none"}
		if !c.Inert {
			c.Eq = number(t, eq[i])
		}
		list = append(list, c)
	}
	return list
}

func TestEveryRowOfTheReferenceIsMet(t *testing.T) {
	kinds := map[string]int{}
	for _, r := range readCSV(t) {
		kinds[r["kind"]]++
		t.Run(r["id"], func(t *testing.T) {
			switch r["kind"] {
			case "constant": // the printed constants are those of the atomic masses, as far as they are printed
				printed, atomic := float64(ncoTimesPct), 100*molarMass(t, "NCO")
				if r["in compound"] == "KOH" {
					printed, atomic = kohPerMole, 1000*molarMass(t, "KOH")
				}
				require.InEpsilon(t, number(t, r["value"]), atomic, 1e-12)
				require.InEpsilon(t, atomic, printed, 1e-4)
			case "index_tolerance":
				checkTolerance(t, r)
			default:
				got, err := found(t, r)
				require.NoError(t, err)
				require.InEpsilon(t, number(t, r["value"]), got, 1e-12)
			}
		})
	}
	require.Len(t, kinds, 14, "a kind of row is missing: %v", kinds)
}

// The row's range of the ratio is met whichever part is on top: where A is, its ratio is that of A to B, and the
// range of B/A is that of the reciprocals.
func checkTolerance(t *testing.T, r row) {
	text := strings.Fields(r["value"])
	low, high, r100 := number(t, text[0]), number(t, text[1]), r.in(t, "r_at_100")
	s := System{EqA: 200, EqB: 200 * r100, IndexOf: 'B'}
	lowPct, highPct, err := s.Tolerance(100, r.in(t, "index_low"), r.in(t, "index_high"))
	require.NoError(t, err)
	require.InEpsilon(t, low, r100*(1+lowPct/100), 1e-12)
	require.InEpsilon(t, high, r100*(1+highPct/100), 1e-12)

	s = System{EqA: 200 * r100, EqB: 200, IndexOf: 'A'}
	lowPct, highPct, err = s.Tolerance(100, r.in(t, "index_low"), r.in(t, "index_high"))
	require.NoError(t, err)
	require.InEpsilon(t, 1/high, 1/r100*(1+lowPct/100), 1e-12)
	require.InEpsilon(t, 1/low, 1/r100*(1+highPct/100), 1e-12)
}

// Printed worked examples, to the digits they are printed with.
func TestPrintedWorkedExamplesComeOutAsPrinted(t *testing.T) {
	phr := func(eew, ahew float64) (float64, error) {
		m, err := Epoxy{EEW: eew, AHEW: ahew, Index: 100, Resin: 'A'}.Mix()
		return m.B, err
	}
	for _, tt := range []struct {
		name     string
		got      func() (float64, error)
		decimals int
		want     string
	}{
		{"diethylenetriamine, 103 over 5 (handbook of adhesive technology)", func() (float64, error) { return OfMolecule(103, 5) }, 1, "20.6"},
		{"m-xylylenediamine by its atomic masses (guide to epoxy calculations)", func() (float64, error) { return OfMolecule(molarMass(t, "C8H12N2"), 4) }, 0, "34"},
		{"diethylenetriamine with EEW 200 (handbook of adhesive technology)", func() (float64, error) { return phr(200, 20.6) }, 1, "10.3"},
		{"AHEW 82.1 with EEW 190 (a chemical supplier's page)", func() (float64, error) { return phr(190, 82.1) }, 1, "43.2"},
		{"AHEW 34.0 with EEW 190 (a chemical supplier's page)", func() (float64, error) { return phr(190, 34) }, 1, "17.9"},
		{"a technical triethylenetetramine, 27.5 with EEW 187 (abstract in Polímeros)", func() (float64, error) { return phr(187, 27.5) }, 1, "14.7"},
		{"80 of 189, 10 of 183, 10 of filler (guide to epoxy calculations)", func() (float64, error) {
			return Blend(Component{Weight: 80, Eq: 189}, Component{Weight: 10, Eq: 183}, Component{Weight: 10, Inert: true})
		}, 0, "209"},
		{"that blend with AHEW 43 (guide to epoxy calculations)", func() (float64, error) { return phr(209, 43) }, 1, "20.6"},
		{"31.0 % NCO (guide to urethane calculations, by 4200)", func() (float64, error) { return FromNCO(31) }, 0, "136"},
		{"33.60 % NCO, pure 4,4′-MDI (trade association's technical library)", func() (float64, error) { return FromNCO(33.6) }, 0, "125"},
		{"4,4′-MDI by its molar mass (trade association's technical library)", func() (float64, error) { return OfMolecule(250, 2) }, 0, "125"},
		{"ethylene glycol, OH number 1810 (guide to urethane calculations)", func() (float64, error) { return FromOH(1810) }, 1, "31.0"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tt.got()
			require.NoError(t, err)
			require.Equal(t, tt.want, strconv.FormatFloat(got, 'f', tt.decimals, 64))
		})
	}
}
