package plan

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

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
	if strings.Contains(r["extra"], "viscosity=foam") {
		c.StatedViscosity = "foam"
	}
	return c
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

// testdata/plan-cases.csv is derived: exact arithmetic on the rules of this project.
func TestPlansAreThoseOfTheReference(t *testing.T) {
	for _, r := range readCSV(t, "testdata/plan-cases.csv") {
		t.Run(r["id"]+" "+r["ratio_text"], func(t *testing.T) {
			switch r["kind"] {
			case "plan":
				amount, ok := r.amount(t)
				require.True(t, ok)
				requirePlan(t, r, amount)
			case "largest_from_both":
				requireLargest(t, r)
			case "b_from_a":
				requireBFromA(t, r)
			case "correction":
				requireCorrection(t, r)
			case "bad_density", "bad_amount":
				requireFault(t, r)
			default:
				require.Fail(t, "unknown kind", r["kind"])
			}
		})
	}
}

func requirePlan(t *testing.T, r row, amount Amount) Plan {
	p, err := Make(r.card(), 1, amount, nil)
	require.NoError(t, err)
	require.InEpsilon(t, r.float(t, "r_b_per_a"), p.Exact.Ratio, 1e-14)
	require.InDelta(t, r.float(t, "r_b_per_a"), p.RatioBPerA, 0.5e-9)
	for name, m := range map[string]reading.Mass{"part_a_g": p.Parts[0].Target, "part_b_g": p.Parts[1].Target} {
		require.InDelta(t, r.float(t, name), m.Grams(), 1e-9, name)
	}
	require.InDelta(t, r.float(t, "ab_g"), p.ABG.Grams(), 0.51e-6)
	require.InDelta(t, r.float(t, "total_g"), p.TotalG.Grams(), 0.51e-6)
	if r["volume_ml"] == "" {
		require.Nil(t, p.VolumeML)
		return p
	}
	require.InDelta(t, r.float(t, "volume_ml"), *p.VolumeML, 0.51e-6)
	return p
}

// The largest batch of what is in hand is that of the part that runs out.
func requireLargest(t *testing.T, r row) {
	inHand := strings.Fields(r["amount_value"])
	a, b := row{"g": inHand[0]}.mass(t, "g"), row{"g": inHand[1]}.mass(t, "g")
	p, err := Make(r.card(), 1, Amount{PartAG: &a}, nil)
	require.NoError(t, err)
	amount := Amount{PartAG: &a}
	if p.Parts[1].Target > b {
		amount = Amount{PartBG: &b}
	}
	requirePlan(t, r, amount)
}

func requireBFromA(t *testing.T, r row) {
	p, err := Make(r.card(), 1, total(300), bench())
	require.NoError(t, err)
	w := poured(decigram, r.mass(t, "poured_a_g"), 0)
	b, _ := p.PartB(w[:1], w[1])
	require.InDelta(t, r.float(t, "part_b_g"), b.Target.Grams(), 1e-9)
}

func requireCorrection(t *testing.T, r row) {
	scale, pan := bench(), reading.Mass(0)
	extra := row{}
	for _, pair := range strings.Fields(r["extra"]) {
		name, value, _ := strings.Cut(pair, "=")
		extra[name] = value
	}
	done := poured(decigram, r.mass(t, "poured_a_g"), r.mass(t, "poured_b_g"))
	if r["error"] == "no_room_capacity" {
		scale.Capacity = extra.mass(t, "capacity_g")
		pan = extra.mass(t, "cup_mass_g") + done[0].Mass + done[1].Mass
	}
	p, err := Make(r.card(), 1, total(300), scale)
	require.NoError(t, err)
	open := metrology.Weighing{FromD: decigram, ToD: decigram, Shared: true}
	a, _, err := p.CorrectA(done, open, pan)
	if r["error"] != "" {
		require.ErrorContains(t, err, "no room")
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
		"bad-151": {"amount.allowance_pct"}, "bad-152": {"amount.allowance_pct"},
	}[r["id"]]
	require.Equal(t, want, fields)
}

// testdata/amount-window.csv: not guarded, rounded inwards; the source stands in its column.
func TestAmountWindowsAreThoseOfTheReference(t *testing.T) {
	for _, r := range readCSV(t, "testdata/amount-window.csv") {
		t.Run(r["id"], func(t *testing.T) {
			in := row{}
			for _, pair := range strings.Fields(r["inputs"]) {
				name, value, _ := strings.Cut(pair, "=")
				in[name] = value
			}
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
	require.Nil(t, smallest(math.Inf(1)))
}
