package metrology

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
)

// testdata/uncertainty.csv: each row names its source (JCGM 100, 101, 106) and how its value was derived from it.

type row map[string]string

func readCSV(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(name)
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
		rows = append(rows, r)
	}
	return rows
}

// inputs takes "d_g=0.1 a_g=200" apart.
func (r row) inputs() row {
	in := row{}
	for _, pair := range strings.Fields(r["inputs"]) {
		name, value, _ := strings.Cut(pair, "=")
		in[name] = value
	}
	return in
}

func (r row) float(t *testing.T, name string) float64 {
	t.Helper()
	if r[name] == "none" {
		return math.Inf(map[string]int{"low_pct": -1, "high_pct": 1}[name])
	}
	f, err := strconv.ParseFloat(r[name], 64)
	require.NoError(t, err, name)
	return f
}

func (r row) mass(t *testing.T, name string) reading.Mass {
	t.Helper()
	return grams(t, r.float(t, name))
}

func grams(t require.TestingT, g float64) reading.Mass {
	m, ok := reading.FromGrams(g)
	require.True(t, ok)
	return m
}

// model is that of the row. A stated repeatability of 0 is the least one that counts as stated.
func (r row) model(t *testing.T) Model {
	m := Model{}
	if _, stated := r["s_g"]; stated {
		m.Repeatability = max(1, r.mass(t, "s_g"))
	}
	if noise, stated := r["noise_g"]; stated { // two readings, each with noise and rounding
		n, err := strconv.ParseFloat(noise, 64)
		require.NoError(t, err)
		d := r.float(t, "d_g")
		m.Repeatability = grams(t, math.Sqrt(2*n*n+d*d/6))
	}
	if _, stated := r["linearity_g"]; stated {
		m.Linearity = r.mass(t, "linearity_g")
	}
	if _, stated := r["density_a"]; stated {
		m.DensityU = math.Hypot(densityU(t, r["density_a"]), densityU(t, r["density_b"]))
	}
	return m
}

// densityU is half of the last printed digit over √3, relative (JCGM 100:2008, 4.3.7).
func densityU(t *testing.T, text string) float64 {
	value, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	_, fraction, _ := strings.Cut(text, ".")
	return 0.5 * math.Pow10(-len(fraction)) / math.Sqrt(3) / value
}

// weighings are the readings of the row's kind, in order.
func (r row) weighings(t *testing.T, kind string) []Weighing {
	d := func(name string) reading.Mass {
		if _, own := r[name]; own {
			return r.mass(t, name)
		}
		return r.mass(t, "d_g")
	}
	b := func() reading.Mass {
		if _, given := r["b_g"]; given {
			return r.mass(t, "b_g")
		}
		ratio := r.float(t, "vb") * r.float(t, "density_b") / (r.float(t, "va") * r.float(t, "density_a"))
		return grams(t, ratio*r.float(t, "a_g"))
	}
	w := []Weighing{
		{Part: 'A', Mass: r.mass(t, "a_g"), FromD: d("d0_g"), ToD: d("d1_g")},
		{Part: 'B', Mass: b(), FromD: d("d1_g"), ToD: d("d2_g"), Shared: true},
	}
	switch kind {
	case "ratio_retared":
		w[1].Shared = false
	case "ratio_corrected":
		w = append(w, Weighing{Part: 'A', Mass: r.mass(t, "correction_a_g"), FromD: d("d_g"), ToD: d("d_g"), Shared: true})
	case "ratio_addition_between":
		w = []Weighing{w[0], {Part: '+', Mass: r.mass(t, "addition_g"), FromD: d("d_g"), ToD: d("d_g"), Shared: true}, w[1]}
	}
	return w
}

func TestReadingsAndRatiosAreAsUncertainAsTheReferenceSays(t *testing.T) {
	covered := map[string]int{}
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		kind, in := r["kind"], r.inputs()
		if kind == "guarded_window" || kind == "verdict" || kind == "monte_carlo" {
			continue
		}
		covered[kind]++
		t.Run(r["id"], func(t *testing.T) {
			m, want := in.model(t), r.float(t, "value")
			switch r["output"] {
			case "u_g": // of one reading; rounding alone is the floor of a scale that repeats perfectly
				m.Repeatability = max(m.Repeatability, 1)
				require.InEpsilon(t, want, math.Sqrt(m.readingVariance(in.mass(t, "d_g"))), 1e-12)
			case "u_rel":
				require.InEpsilon(t, want, m.RatioU(in.weighings(t, kind)), 1e-12)
			case "U_pct":
				_, u, _ := m.Judgement(in.weighings(t, kind), 0.5, Tolerance{-2, 2})
				require.InEpsilon(t, want, u, 1e-12)
			case "u_rho_rel":
				require.InEpsilon(t, want, m.DensityU, 1e-12)
			case "density_share_pct":
				u := m.RatioU(in.weighings(t, kind))
				require.InEpsilon(t, want, 100*m.DensityU*m.DensityU/(u*u), 1e-12)
			default:
				require.Fail(t, "unknown output", r["output"])
			}
		})
	}
	require.Len(t, covered, 9, "a kind of row is missing: %v", covered)
}

func TestPropagatedDistributionsAgreeWithTheFormula(t *testing.T) { // JCGM 101:2008, 10⁶ draws each
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		if r["kind"] != "monte_carlo" {
			continue
		}
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			u := in.model(t).RatioU(in.weighings(t, in["model"]))
			require.InDelta(t, r.float(t, "value"), u, 4*in.float(t, "standard_error"))
			require.InEpsilon(t, in.float(t, "formula_u_rel"), u, 1e-6)
		})
	}
}

func TestVerdictsFollowTheDecisionTable(t *testing.T) { // JCGM 106:2012, 8.3.2 and 8.3.3
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		if r["kind"] != "verdict" {
			continue
		}
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			tolerance := Tolerance{in.float(t, "low_pct"), in.float(t, "high_pct")}
			require.Equal(t, Verdict(r["value"]), Judge(in.float(t, "error_pct"), in.float(t, "U_pct"), tolerance))
		})
	}
}

func TestGuardedWindowsAreThoseOfTheReference(t *testing.T) { // JCGM 106:2012, 8.3.2
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		if r["kind"] != "guarded_window" || r["output"] == "U_B_g" {
			continue
		}
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			d := in.mass(t, "d_g")
			w := []Weighing{
				{Part: 'A', Mass: in.mass(t, "a_g"), FromD: d, ToD: d},
				{Part: 'B', FromD: d, ToD: d, Shared: true},
			}
			tolerance := Tolerance{in.float(t, "low_pct"), in.float(t, "high_pct")}
			win, provable := in.model(t).Window(w, in.float(t, "r"), tolerance, d)
			if r["output"] == "window" {
				require.False(t, provable)
				require.Equal(t, win.LimitLow.CeilTo(d), win.Low)
				require.Equal(t, win.LimitHigh.FloorTo(d), win.High)
				return
			}
			got := map[string]reading.Mass{"low_g": win.Low, "high_g": win.High, "limit_low_g": win.LimitLow, "limit_high_g": win.LimitHigh}
			require.Equal(t, r.mass(t, "value"), got[r["output"]])
			require.Equal(t, !strings.HasPrefix(r["id"], "window-1-1-"), provable)
		})
	}
}

// testdata/smallest-batch.csv is derived: the formula of SmallestBatch, checked by bisection.
func TestSmallestBatchesAreThoseOfTheReference(t *testing.T) {
	for _, r := range readCSV(t, "testdata/smallest-batch.csv") {
		t.Run(fmt.Sprintf("%s ±%s%% d=%s s=%s", r["ratio"], r["tolerance_pct"], r["d_g"], r["s_g"]), func(t *testing.T) {
			d, tolerance := r.mass(t, "d_g"), r.float(t, "tolerance_pct")
			m := Model{Repeatability: r.mass(t, "s_g")}
			if r["repeatability"] == "assumed" {
				m.Repeatability = 0
			}
			w := []Weighing{{Part: 'A', FromD: d, ToD: d}, {Part: 'B', FromD: d, ToD: d, Shared: true}}
			provable, pourable := m.SmallestBatch(w, r.float(t, "r_b_per_a"), Tolerance{-tolerance, tolerance}, d)
			require.InEpsilon(t, r.float(t, "provable_g"), provable, 1e-12)
			require.InEpsilon(t, r.float(t, "pourable_g"), pourable, 1e-12)
		})
	}
}
