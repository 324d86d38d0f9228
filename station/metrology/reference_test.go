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
	"gonum.org/v1/gonum/stat/distuv"

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
	m := Model{Scales: []Scale{r.scale(t, "")}}
	if _, two := r["d_b_g"]; two {
		m.Scales = []Scale{r.scale(t, "a_"), r.scale(t, "b_")}
	}
	if _, stated := r["density_a"]; stated {
		m.DensityU = math.Hypot(densityU(t, r["density_a"]), densityU(t, r["density_b"]))
	}
	if _, stated := r["counts_fraction"]; stated {
		m.Counts = map[string]Share{"+": {A: r.float(t, "counts_fraction")}}
	}
	return m
}

// scale is the row's; of is "", or "a_" or "b_" for one of two.
func (r row) scale(t *testing.T, of string) (s Scale) {
	if _, stated := r["s_"+of+"g"]; stated {
		s.Repeatability = max(1, r.mass(t, "s_"+of+"g"))
	}
	if _, stated := r["noise_g"]; stated { // two readings, each with noise and rounding
		n, d := r.float(t, "noise_g"), r.float(t, "d_g")
		s.Repeatability = grams(t, math.Sqrt(2*n*n+d*d/6))
	}
	if _, stated := r["linearity_g"]; stated {
		s.Linearity = r.mass(t, "linearity_g")
	}
	if _, stated := r["cal_"+of+"rel"]; stated {
		s.GainU = r.float(t, "cal_"+of+"rel")
	}
	return s
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
	if kind == "ratio_two_scales" {
		return []Weighing{
			{Part: "A", Mass: r.mass(t, "a_g"), FromD: d("d_a_g"), ToD: d("d_a_g")},
			{Part: "B", Mass: r.mass(t, "b_g"), FromD: d("d_b_g"), ToD: d("d_b_g"), Scale: 1},
		}
	}
	w := []Weighing{
		{Part: "A", Mass: r.mass(t, "a_g"), FromD: d("d0_g"), ToD: d("d1_g")},
		{Part: "B", Mass: b(), FromD: d("d1_g"), ToD: d("d2_g"), Shared: true},
	}
	switch kind {
	case "ratio_retared":
		w[1].Shared = false
	case "ratio_corrected":
		w = append(w, Weighing{Part: "A", Mass: r.mass(t, "correction_a_g"), FromD: d("d_g"), ToD: d("d_g"), Shared: true})
	case "ratio_addition_between":
		w = []Weighing{w[0], {Part: "+", Mass: r.mass(t, "addition_g"), FromD: d("d_g"), ToD: d("d_g"), Shared: true}, w[1]}
	}
	return w
}

func TestReadingsAndRatiosAreAsUncertainAsTheReferenceSays(t *testing.T) {
	covered := map[string]int{}
	tested := map[string]bool{"guarded_window": true, "b_range_window": true, "verdict": true, "monte_carlo": true,
		"conformance_probability": true, "minimum_weight": true} // below
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		kind, in := r["kind"], r.inputs()
		if tested[kind] {
			continue
		}
		covered[kind]++
		t.Run(r["id"], func(t *testing.T) {
			m, want := in.model(t), r.float(t, "value")
			switch r["output"] {
			case "u_g": // of one reading; rounding alone is the floor of a scale that repeats perfectly
				m.Scales[0].Repeatability = max(m.Scales[0].Repeatability, 1)
				require.InEpsilon(t, want, math.Sqrt(m.Scales[0].readingVariance(in.mass(t, "d_g"))), 1e-12)
			case "cal_rel":
				require.InEpsilon(t, want, m.Scales[0].GainUFromCheck(in.mass(t, "nominal_g"), in.mass(t, "mpe_g"), in.mass(t, "d_g")), 1e-12)
			case "u_rel":
				require.InEpsilon(t, want, m.RatioU(in.weighings(t, kind)), 1e-12)
			case "U_pct":
				_, u, _ := m.Judgement(in.weighings(t, kind), 0.5, twoPct)
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
	require.Len(t, covered, 11, "a kind of row is missing: %v", covered)
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
			tolerance := Tolerance{LowPct: in.float(t, "low_pct"), HighPct: in.float(t, "high_pct")}
			require.Equal(t, Verdict(r["value"]), Judge(in.float(t, "error_pct"), in.float(t, "U_pct"), tolerance))
		})
	}
}

func TestGuardedWindowsAreThoseOfTheReference(t *testing.T) { // JCGM 106:2012, 8.3.2
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		if r["kind"] != "guarded_window" && r["kind"] != "b_range_window" || r["output"] == "U_B_g" {
			continue
		}
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			if r["kind"] == "b_range_window" { // the range is a tolerance around whatever was chosen inside it: here 1.5 per 100
				in["r"], in["low_pct"], in["high_pct"] = "0.015", relative(in.float(t, "b_low")/1.5), relative(in.float(t, "b_high")/1.5)
			}
			d := in.mass(t, "d_g")
			w := []Weighing{
				{Part: "A", Mass: in.mass(t, "a_g"), FromD: d, ToD: d},
				{Part: "B", FromD: d, ToD: d, Shared: true},
			}
			tolerance := Tolerance{LowPct: in.float(t, "low_pct"), HighPct: in.float(t, "high_pct"), Range: r["kind"] == "b_range_window"}
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
			m := Model{Scales: []Scale{{Repeatability: r.mass(t, "s_g")}}}
			if r["repeatability"] == "assumed" {
				m = Model{}
			}
			w := []Weighing{{Part: "A", FromD: d, ToD: d}, {Part: "B", FromD: d, ToD: d, Shared: true}}
			provable, pourable := m.SmallestBatch(w, r.float(t, "r_b_per_a"), Tolerance{LowPct: -tolerance, HighPct: tolerance}, d)
			require.InEpsilon(t, r.float(t, "provable_g"), provable, 1e-12)
			require.InEpsilon(t, r.float(t, "pourable_g"), pourable, 1e-12)
		})
	}
}

// relative prints a ratio of ratios as an error in percent.
func relative(ratio float64) string { return strconv.FormatFloat(100*(ratio-1), 'g', -1, 64) }

// The probability is gonum's, not ours: what the verdict promises by JCGM 106:2012, 7.3 and 8.3.2.
func TestAVerdictMeansTheProbabilityThatTheStandardSays(t *testing.T) {
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		if r["kind"] != "conformance_probability" {
			continue
		}
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			e, u, tol := in.float(t, "error_pct"), in.float(t, "u_pct"), in.float(t, "tolerance_pct")
			truth := distuv.Normal{Mu: e, Sigma: u}
			p := truth.CDF(tol) - truth.CDF(-tol)
			require.InEpsilon(t, r.float(t, "value"), p, 1e-9)
			verdict := Judge(e, 2*u, Tolerance{LowPct: -tol, HighPct: tol})
			require.Equal(t, p > 0.954, verdict == Within)
			require.Equal(t, p < 0.02275, verdict == Outside)
		})
	}
}

func TestTheSmallestWeighingIsThatOfUSP41(t *testing.T) { // USP <41> (2019); at other limits its rule, not the standard
	for _, r := range readCSV(t, "testdata/uncertainty.csv") {
		if r["kind"] != "minimum_weight" {
			continue
		}
		t.Run(r["id"], func(t *testing.T) {
			in := r.inputs()
			var d reading.Mass
			if _, given := in["d_g"]; given {
				d = in.mass(t, "d_g")
			}
			got := Scale{Repeatability: max(1, in.mass(t, "s_g"))}.SmallestWeighing(d, in.float(t, "limit_pct"))
			require.InEpsilon(t, r.float(t, "value"), got, 0.0043, "the standard prints 0.41 d for 0.408 d")
		})
	}
}
