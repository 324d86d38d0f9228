package plan

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/metrology"
)

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

func (r row) float(t *testing.T, name string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(r[name], 64)
	require.NoError(t, err, name)
	return f
}

func (r row) mass(t *testing.T, name string) reading.Mass { return grams(r.float(t, name)) }

// card is the row's, not validated: some rows are wrong on purpose.
func (r row) card() material.Card {
	number := func(name string) material.Number { return material.Number(r[name]) }
	c := material.Card{ID: "x", Name: "X",
		Density: material.Density{A: number("density_a"), B: number("density_b"), Mixed: number("density_mixed"), Cast: number("density_cast")}}
	parts := &material.Parts{A: number("a"), B: number("b")}
	if r["basis"] == "volume" {
		c.Ratio.Volume = parts
	} else {
		c.Ratio.Weight = parts
	}
	extra := r.pairs("extra")
	if extra["viscosity"] == "foam" {
		c.StatedViscosity = "foam"
	}
	if extra["hurry"] == "true" {
		c.StatedHurry = new(true)
	}
	if low, err := strconv.ParseFloat(extra["b_low"], 64); err == nil {
		high, _ := strconv.ParseFloat(extra["b_high"], 64)
		c.Ratio.BRange = []float64{low, high}
	}
	for _, text := range strings.Fields(r["additions"]) { // id:of:pct:counts_as:counts_fraction:density
		f := strings.Split(text, ":")
		pct, _ := strconv.ParseFloat(f[2], 64)
		fraction, _ := strconv.ParseFloat(f[4], 64)
		a := material.Addition{ID: f[0], Of: f[1], Pct: &pct, StatedCountsAs: f[3], StatedCountsFraction: &fraction}
		if f[5] != "-" {
			a.Density = material.Number(f[5])
		}
		c.Additions = append(c.Additions, a)
	}
	return c
}

// pairs takes "cups=4 cup_a_g=3333" apart.
func (r row) pairs(column string) row {
	pairs := row{}
	for _, pair := range strings.Fields(r[column]) {
		name, value, _ := strings.Cut(pair, "=")
		pairs[name] = value
	}
	return pairs
}

// amount is the row's; false where one of its masses is no mass at all.
func (r row) amount(t *testing.T) (a Amount, ok bool) {
	kinds, values := strings.Fields(r["amount_kind"]), strings.Fields(r["amount_value"])
	for i, kind := range kinds {
		v, err := strconv.ParseFloat(values[i], 64)
		require.NoError(t, err)
		if kind == "volume_ml" {
			a.VolumeML = &v
			continue
		}
		m, ok := reading.FromGrams(v)
		if !ok {
			return a, false
		}
		*map[string]**reading.Mass{"total_g": &a.TotalG, "part_a_g": &a.PartAG, "part_b_g": &a.PartBG}[kind] = &m
	}
	if r["allowance_pct"] != "" {
		a.AllowancePct = r.float(t, "allowance_pct")
	}
	return a, true
}

// testdata/plan-cases.csv is derived: exact arithmetic on the rules of this project. Rows of a part A that is premixed
// with something that does not count are left out: a card has no field for it.
func TestPlansAreThoseOfTheReference(t *testing.T) {
	covered := map[string]int{}
	for _, r := range readCSV(t, "testdata/plan-cases.csv") {
		covered[r["kind"]]++
		t.Run(r["id"]+" "+r["ratio_text"], func(t *testing.T) {
			switch r["kind"] {
			case "plan", "split":
				requirePlan(t, r)
			case "largest_from_both":
				requireLargest(t, r)
			case "b_from_a":
				requireBFromA(t, r)
			case "parked":
				requireParked(t, r)
			case "correction":
				requireCorrection(t, r)
			case "bad_density", "bad_amount", "bad_addition", "bad_b_range":
				requireFault(t, r)
			default:
				require.Fail(t, "unknown kind", r["kind"])
			}
		})
	}
	require.Equal(t, map[string]int{"plan": 48, "split": 4, "largest_from_both": 5, "b_from_a": 8, "parked": 6, "correction": 20,
		"bad_density": 11, "bad_amount": 9, "bad_addition": 3, "bad_b_range": 2}, covered)
}

func requirePlan(t *testing.T, r row) {
	amount, ok := r.amount(t)
	require.True(t, ok)
	extra := r.pairs("extra")
	cups, _ := strconv.Atoi(extra["cups"])
	p, err := Request{Card: r.card(), Revision: 1, Amount: amount, Split: cups}.Plan()
	require.NoError(t, err)
	requireMasses(t, r, p)
	if cups > 0 {
		require.Equal(t, cups, p.Cups)
		for name, m := range map[string]reading.Mass{"cup_a_g": p.target("A"), "cup_b_g": p.target("B")} {
			require.InDelta(t, extra.float(t, name), m.Grams(), 1e-9, name)
		}
		require.InDelta(t, extra.float(t, "cup_total_g"), p.TotalG.Grams(), 0.51e-6)
		require.InDelta(t, r.float(t, "total_g"), p.BatchTotalG.Grams(), 0.51e-6)
	}
	if _, ranged := extra["b_low_g"]; ranged {
		require.InDelta(t, extra.float(t, "b_low_g"), p.Parts[1].LimitLow.Grams(), 1e-9)
		require.InDelta(t, extra.float(t, "b_high_g"), p.Parts[1].LimitHigh.Grams(), 1e-9)
	}
}

func (p Plan) target(part string) reading.Mass { return p.Parts[p.index(part)].Target }

// requireMasses holds the plan, times its cups, against the row.
func requireMasses(t *testing.T, r row, p Plan) {
	require.InEpsilon(t, r.float(t, "r_b_per_a"), p.Exact.Ratio, 1e-14)
	require.InDelta(t, r.float(t, "r_b_per_a"), p.RatioBPerA, 0.5e-9)
	want := r.pairs("addition_g")
	want["A"], want["B"] = r["part_a_g"], r["part_b_g"]
	require.Len(t, p.Parts, len(want))
	for name := range want {
		require.InDelta(t, want.float(t, name), float64(p.Cups)*p.target(name).Grams(), 1e-9, name)
	}
	require.InDelta(t, r.float(t, "ab_g"), float64(p.Cups)*p.ABG.Grams(), float64(p.Cups)*0.51e-6)
	require.InDelta(t, r.float(t, "total_g"), p.BatchTotalG.Grams(), 0.51e-6)
	if r["volume_ml"] == "" {
		require.Nil(t, p.VolumeML)
		return
	}
	require.InDelta(t, r.float(t, "volume_ml"), float64(p.Cups)**p.VolumeML, 0.51e-6*float64(p.Cups))
}

// The largest batch of what is in hand is that of the part that runs out.
func requireLargest(t *testing.T, r row) {
	inHand := strings.Fields(r["amount_value"])
	a, b := row{"g": inHand[0]}.mass(t, "g"), row{"g": inHand[1]}.mass(t, "g")
	request, left, err := Request{Card: r.card(), Amount: Amount{AllowancePct: 10}}.Largest(a, b)
	require.NoError(t, err)
	p, err := request.Plan()
	require.NoError(t, err)
	requireMasses(t, r, p)
	require.Equal(t, strings.HasPrefix(r["note"], "B runs out") || r["id"] == "both-96", left.Part == "A")
	if left.Part == "A" {
		require.InDelta(t, (a - p.target("A")).Grams(), left.Mass.Grams(), 1e-9)
	} else {
		require.InDelta(t, (b - p.target("B")).Grams(), left.Mass.Grams(), 1e-9)
	}
}

// pouredWeighings are the row's, each with readings of its own.
func (r row) pouredWeighings(t *testing.T) (w []metrology.Weighing) {
	add := func(part string, m reading.Mass) {
		w = append(w, metrology.Weighing{Part: part, Mass: m, FromD: decigram, ToD: decigram})
	}
	add("A", r.mass(t, "poured_a_g"))
	for _, text := range strings.Fields(r["poured_additions"]) {
		name, _, _ := strings.Cut(text, "=")
		add(name, r.pairs("poured_additions").mass(t, name))
	}
	if r["poured_b_g"] != "" {
		add("B", r.mass(t, "poured_b_g"))
	}
	return w
}

func requireBFromA(t *testing.T, r row) {
	p, err := Make(r.card(), 1, total(300), bench())
	require.NoError(t, err)
	requireNext(t, r, p, r.pouredWeighings(t))
}

// requireNext holds what is still to come after these weighings against the row.
func requireNext(t *testing.T, r row, p Plan, w []metrology.Weighing) {
	b, _ := p.PartB(w, metrology.Weighing{FromD: decigram, ToD: decigram})
	require.InDelta(t, r.float(t, "part_b_g"), b.Target.Grams(), 1e-9)
	for name := range r.pairs("addition_g") {
		if !weighed(w, name) {
			require.InDelta(t, r.pairs("addition_g").float(t, name), p.PartAddition(name, w, decigram).Target.Grams(), 1e-9)
		}
	}
}

func requireParked(t *testing.T, r row) {
	p, err := Make(r.card(), 1, total(300), bench())
	require.NoError(t, err)
	extra := r.pairs("extra")
	left, same := Parked(r.pouredWeighings(t), extra.mass(t, "loss_g"), extra.mass(t, "d_g"))
	require.Equal(t, r["error"] == "", same)
	if !same {
		return
	}
	a, _ := metrology.Totals(left)
	require.InDelta(t, r.float(t, "part_a_g"), a.Grams(), 1e-9)
	for name := range r.pairs("addition_g") {
		require.InDelta(t, r.pairs("addition_g").float(t, name), weighedOf(left, name).Grams(), 1e-9)
	}
	requireNext(t, r, p, left)
}

func requireCorrection(t *testing.T, r row) {
	extra, done := r.pairs("extra"), r.pouredWeighings(t)
	request := Request{Card: r.card(), Amount: total(300), Scales: []Scale{*bench()}}
	pan := reading.Mass(0)
	switch r["error"] {
	case "no_room_capacity":
		request.Scales[0].Capacity = extra.mass(t, "capacity_g")
		pan = extra.mass(t, "cup_mass_g") + done[0].Mass + done[1].Mass
	case "no_room_cup":
		request.Card.Density.Mixed = material.Number(extra["density_mixed"])
		request.Cup = &Cup{VolumeML: new(extra.float(t, "cup_ml"))}
	}
	p, err := request.Plan()
	if r["error"] == "correction_impossible" { // such a card has no plan at all; one that is in a ledger has its way out
		require.Equal(t, "additions", err.(material.Faults)[0].Field)
		mix, _ := request.mixture()
		p = request.outline(mix)
	} else {
		require.NoError(t, err)
	}
	a, _, err := p.CorrectA(done, metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}, pan)
	if r["error"] == "no_time" {
		require.NoError(t, err)
		require.ErrorContains(t, InTime(time.Duration(extra.float(t, "pot_life_left_s"))), "pot life is over")
		require.NoError(t, InTime(time.Second))
		return
	}
	if r["error"] != "" {
		require.ErrorContains(t, err, map[string]string{"no_room_capacity": "on scale", "no_room_cup": "would be about 343 mL, and the cup holds 300 mL",
			"hurry_no_correction": "too fast", "above_b_range": "above the range", "correction_impossible": "never makes up"}[r["error"]])
		return
	}
	e, _, _ := p.Judge(done)
	require.InDelta(t, extra.float(t, "error_before_pct"), e, 1e-9)
	if r["correction_part"] != "A" {
		require.Error(t, err)
		b, _ := p.PartB(done[:1], done[1])
		require.InDelta(t, r.float(t, "correction_g"), (b.Target - done[1].Mass).Grams(), 1e-9)
		return
	}
	require.NoError(t, err)
	require.InDelta(t, r.float(t, "part_a_g"), a.Target.Grams(), 1e-9)
	require.InDelta(t, r.float(t, "correction_g"), (a.Target - done[0].Mass).Grams(), 1e-9)

	after := append(done, metrology.Weighing{Part: "A", Mass: a.Target - done[0].Mass, FromD: decigram, ToD: decigram})
	lacks := r.pairs("correction_additions")
	for name := range lacks {
		more := p.PartAddition(name, after, decigram).Target - weighedOf(done, name)
		require.InDelta(t, lacks.float(t, name), more.Grams(), 1e-9, name)
		after = append(after, metrology.Weighing{Part: name, Mass: more, FromD: decigram, ToD: decigram})
	}
	e, _, v := p.Judge(after)
	require.InDelta(t, 0, e, 1e-9)
	require.Equal(t, metrology.Within, v)
}

// A fault is found by the card, by the amount as a mass, or by the plan; whichever it is names the field.
func requireFault(t *testing.T, r row) {
	card := r.card()
	amount, ok := r.amount(t)
	if !ok {
		require.Contains(t, []string{"not_a_number", "out_of_range"}, r["error"])
		return
	}
	err := card.Validate()
	if err == nil {
		_, err = Make(card, 1, amount, nil)
	}
	require.Error(t, err)
	var fields []string
	for _, fault := range err.(material.Faults) {
		fields = append(fields, fault.Field)
	}
	want := map[string][]string{
		"bad-133": {"density.a"}, "bad-134": {"density.b"}, "bad-135": {"density.a", "density.b"}, "bad-136": {"density.a"}, "bad-137": {"density.a"},
		"bad-138": {"density.a", "density.b"}, "bad-139": {"density.b"}, "bad-140": {"density"}, "bad-142": {"density.cast"}, "bad-143": {"density.cast"},
		"bad-144": {"amount.total_g"}, "bad-145": {"amount.total_g"}, "bad-149": {"amount"}, "bad-150": {"amount"},
		"bad-151": {"amount.allowance_pct"}, "bad-152": {"amount.allowance_pct"}, "bad-141": {"additions[0].density"},
		"bad-153": {"additions[0].of"}, "bad-154": {"additions[0].counts_fraction"}, "bad-155": {"additions[0].pct"},
		"bad-156": {"ratio.weight"}, "bad-157": {"ratio.b_range"},
	}[r["id"]]
	require.Equal(t, want, fields)
}

// testdata/amount-window.csv: not guarded, rounded inwards; the source stands in its column.
func TestAmountWindowsAreThoseOfTheReference(t *testing.T) {
	for _, r := range readCSV(t, "testdata/amount-window.csv") {
		t.Run(r["id"], func(t *testing.T) {
			in := r.pairs("inputs")
			card := byWeight("100", "50")
			card.StatedAmountTolerancePct = new(in.float(t, "amount_tolerance_pct"))
			p, err := Make(card, 1, Amount{PartAG: new(in.mass(t, "a_g"))}, &Scale{ID: "s", Division: in.mass(t, "d_g")})
			require.NoError(t, err)
			got := map[string]reading.Mass{"low_g": p.PartA().Low, "high_g": p.PartA().High}
			require.Equal(t, r.mass(t, "value"), got[r["output"]])
		})
	}
}

// Every ratio, division and tolerance of the room's smallest batches, rounded up: the printed examples.
func TestSmallestBatchesAreRoundedUp(t *testing.T) {
	for _, tt := range []struct {
		d, s reading.Mass
		want string
	}{{decigram, 0, "69.7 g"}, {decigram, 41 * reading.Gram / 1000, "46.3 g"}} { // 100:50 by weight, ±2 %
		p, err := Make(byWeight("100", "50"), 1, total(300), &Scale{ID: "s", Division: tt.d, Repeatability: tt.s})
		require.NoError(t, err)
		require.Equal(t, tt.want, p.ProvableG.String())
	}
}
