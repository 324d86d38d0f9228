package material

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// whole is a card with every field there is.
const whole = `{"id":"harbour-clear","name":"Harbour clear casting resin",
 "ratio":{"weight":{"a":100,"b":50},"volume":{"a":100,"b":56}},
 "density":{"a":1.10,"b":0.98,"mixed":1.06,"cast":1.08,"at_c":25},
 "tolerance_pct":{"low":-1,"high":3},"amount_tolerance_pct":2,"measure_b":"weight","combine":"in_cup","hurry":false,"viscosity":"thin",
 "pot_life":{"time":"20m","mass_g":100,"temperature_c":25,"table":[{"temperature_c":30,"mass_g":100,"time":"13m"}]},
 "steps":[{"step":"mix","time":"3m","scrape_every":"45s"},{"step":"second_cup","time":"1m"},
  {"step":"degas","pressure_mbar_abs":30,"time":"4m","headroom":4},{"step":"cast","within":"5m","verb":"cast"},
  {"step":"cure","time":"16h","temperature_c":25}],
 "moisture_sensitive":true,"equivalents":{"a":190,"b":47.5,"index_of":"b"},
 "additions":[{"id":"black","name":"Black pigment paste","role":"pigment","of":"ab","pct":1,"when":"after_a","counts_as":"none",
  "counts_fraction":1,"density":1.2,"tolerance_pct":5,"stir_in":true}],
 "codes":{"a":["012345"],"b":["012346"]},"cautions":["Gloves."],"sds":{"a":"binder 1","b":"binder 2"}}`

// card is a sound card with one thing changed: a field's JSON path and its new JSON, "" to leave it out.
func card(t *testing.T, changes ...string) []byte {
	t.Helper()
	var tree map[string]any
	require.NoError(t, json.Unmarshal([]byte(whole), &tree))
	for i := 0; i < len(changes); i += 2 {
		names := strings.Split(changes[i], ".")
		at := tree
		for _, name := range names[:len(names)-1] {
			at = at[name].(map[string]any)
		}
		if last := names[len(names)-1]; changes[i+1] == "" {
			delete(at, last)
		} else {
			at[last] = json.RawMessage(changes[i+1])
		}
	}
	data, err := json.Marshal(tree)
	require.NoError(t, err)
	return data
}

func fields(err error) (names []string) {
	for _, fault := range err.(Faults) {
		names = append(names, fault.Field)
	}
	return names
}

func TestAWholeCardComesBackWithoutLoss(t *testing.T) {
	c, err := Decode([]byte(whole))
	require.NoError(t, err)
	back, err := json.Marshal(c)
	require.NoError(t, err)
	require.JSONEq(t, whole, string(back))
	require.Contains(t, string(back), `"a":1.10,"b":0.98`, "the digits say how well a density is known")
	require.Contains(t, string(back), `"time":"20m"`)

	stored, err := json.Marshal(Stored{c, 3})
	require.NoError(t, err)
	require.JSONEq(t, strings.TrimSuffix(whole, "}")+`,"revision":3}`, string(stored))
	var again Stored
	require.NoError(t, json.Unmarshal(stored, &again))
	require.Equal(t, Stored{c, 3}, again)
}

func TestACardStoresOnlyWhatItsWriterSaid(t *testing.T) {
	const bare = `{"id":"x","name":"X","ratio":{"weight":{"a":100,"b":50}}}`
	c, err := Decode([]byte(bare))
	require.NoError(t, err)
	back, err := json.Marshal(c)
	require.NoError(t, err)
	require.JSONEq(t, bare, string(back))
}

func TestEveryFaultHasItsPlace(t *testing.T) {
	for _, tt := range []struct{ name, path, value, field, detail string }{
		{"an id with capitals", "id", `"Harbour"`, "id", "a-z"},
		{"an id of 65", "id", `"` + strings.Repeat("a", 65) + `"`, "id", "1 to 64"},
		{"a name of spaces", "name", `"  "`, "name", "required"},
		{"a name that is a number", "name", `7`, "name", "must be text"},
		{"no ratio", "ratio", ``, "ratio", "without its basis"},
		{"a ratio as text", "ratio", `"100:50"`, "ratio", "must be an object"},
		{"A missing", "ratio.weight", `{"b":50}`, "ratio.weight.a", "is missing"},
		{"a ratio beyond belief", "ratio.weight", `{"a":100000,"b":1}`, "ratio.weight", "beyond"},
		{"a figure as text", "ratio.weight", `{"a":"100","b":50}`, "ratio.weight.a", "must be a number"},
		{"a misspelt field", "ratio.wieght", `{"a":1,"b":1}`, "ratio.wieght", "not a field"},
		{"a field of another case", "ID", `"x"`, "ID", "not a field"},
		{"figures of one digit hide a contradiction, 5 % at most does not", "ratio", `{"weight":{"a":1,"b":1},"volume":{"a":1,"b":1}}`, "ratio", "contradict"},
		{"a b_range upside down", "ratio.b_range", `[2.5,1]`, "ratio.b_range", "lower first"},
		{"a b_range of one", "ratio.b_range", `[2.5]`, "ratio.b_range", "two positive"},
		{"a target outside its b_range", "ratio.b_range", `[1,2.5]`, "ratio.weight", "50 parts"},
		{"a density of nothing", "density.cast", `0`, "density.cast", "more than 0"},
		{"a temperature below absolute zero", "density.at_c", `-300`, "density.at_c", "-273.15"},
		{"a tolerance of nothing", "tolerance_pct", `0`, "tolerance_pct", "more than 0"},
		{"a negative tolerance", "tolerance_pct", `-2`, "tolerance_pct", "more than 0"},
		{"a tolerance on one side of the ratio", "tolerance_pct", `{"low":1,"high":3}`, "tolerance_pct", "low ≤ 0"},
		{"half a tolerance", "tolerance_pct", `{"high":3}`, "tolerance_pct", "both sides"},
		{"a tolerance as text", "tolerance_pct", `"2%"`, "tolerance_pct", "must be a number"},
		{"no room for A", "amount_tolerance_pct", `0`, "amount_tolerance_pct", "more than 0"},
		{"an unknown measure", "measure_b", `"spoon"`, "measure_b", "weight, volume, drops"},
		{"an unknown way to combine", "combine", `"together"`, "combine", "in_cup, apart"},
		{"hurry as text", "hurry", `"yes"`, "hurry", "true or false"},
		{"an unknown viscosity", "viscosity", `"runny"`, "viscosity", "paste"},
		{"a pot life without its time", "pot_life.time", ``, "pot_life.time", "missing"},
		{"a pot life in bare minutes", "pot_life.time", `20`, "pot_life.time", "such as 20m"},
		{"a pot life of nothing", "pot_life.time", `"0s"`, "pot_life.time", "not a time"},
		{"a pot life at no mass", "pot_life.mass_g", `0`, "pot_life.mass_g", "more than 0"},
		{"a table and an activation energy", "pot_life.activation_kj_mol", `53`, "pot_life", "one of them"},
		{"a row without a temperature", "pot_life.table", `[{"time":"13m"}]`, "pot_life.table[0]", "temperature_c"},
		{"an unknown step", "steps", `[{"step":"mix"},{"step":"shake"}]`, "steps[1].step", "second_cup"},
		{"a step without its kind", "steps", `[{"time":"3m"}]`, "steps[0].step", "required"},
		{"a step's time without unit", "steps", `[{"step":"mix"},{"step":"mix"},{"step":"cure","time":"16"}]`, "steps[2].time", "not a time"},
		{"an unknown verb", "steps", `[{"step":"cast","verb":"throw"}]`, "steps[0].verb", "laminate"},
		{"too little headroom", "steps", `[{"step":"degas","headroom":0.5}]`, "steps[0].headroom", "from 1"},
		{"steps that are no list", "steps", `{"step":"mix"}`, "steps", "must be a list"},
		{"an addition called a", "additions", `[{"id":"a","of":"ab","pct":1}]`, "additions[0].id", "not a or b"},
		{"an addition of nothing", "additions", `[{"id":"x","pct":1}]`, "additions[0].of", "required"},
		{"an addition without its dose", "additions", `[{"id":"x","of":"a"}]`, "additions[0].pct", "missing"},
		{"an addition twice", "additions", `[{"id":"x","of":"a","pct":1},{"id":"x","of":"b","pct":1}]`, "additions[1].id", "earlier"},
		{"an addition at an unknown time", "additions", `[{"id":"x","of":"a","pct":1,"when":"never"}]`, "additions[0].when", "after_b"},
		{"an equivalent weight missing", "equivalents", `{"a":190}`, "equivalents.b", "is missing"},
		{"an equivalent weight of nothing", "equivalents.a", `0`, "equivalents.a", "from 5 to 100000"},
		{"an equivalent weight beyond any resin", "equivalents.b", `1e300`, "equivalents.b", "from 5 to 100000"},
		{"an index of something else", "equivalents.index_of", `"c"`, "equivalents.index_of", "one of a, b"},
		{"a code on both containers", "codes.b", `["012345"]`, "codes.a[0]", "code of B too"},
		{"an empty caution", "cautions", `["Gloves.",""]`, "cautions[1]", "required"},
		{"a code in one list twice", "codes.a", `["x","x"]`, "codes.a[1]", "twice"},
		{"a code that is an action", "codes.a", `["twocup:accept"]`, "codes.a[0]", "action of the station"},
		{"a bell in a name", "name", `"Har\u0007bour"`, "name", "U+0007"},
		{"a name that is a number in quotes' place", "name", `12`, "name", "in quotes"},
		{"a line feed's companion in a caution", "cautions", `["Gloves.\r\nGoggles."]`, "cautions[0]", "U+000D"},
		{"a decimal comma as text", "density.a", `"1,10"`, "density.a", "can be read two ways"},
		{"a thousand's comma as text", "pot_life.mass_g", `"1,000"`, "pot_life.mass_g", "can be read two ways"},
		{"a mass with its unit", "pot_life.mass_g", `"100 g"`, "pot_life.mass_g", "no unit"},
		{"a number in quotes", "pot_life.mass_g", `"100"`, "pot_life.mass_g", "write 100 without quotes"},
		{"not a number", "density.cast", `"NaN"`, "density.cast", "must be a number, is \"NaN\""},
		{"infinity", "pot_life.mass_g", `"Inf"`, "pot_life.mass_g", "must be a number"},
		{"a mass beyond any", "pot_life.mass_g", `1e300`, "pot_life.mass_g", "at most 10000000"},
		{"a density beyond any", "density.a", `1e300`, "density.a", "kg/m³"},
		{"a temperature beyond any", "pot_life.temperature_c", `1e300`, "pot_life.temperature_c", "from -273.15 to 1000"},
		{"a tolerance beyond any", "tolerance_pct", `1e300`, "tolerance_pct", "less than 100"},
		{"a field with two letters swapped", "ratio.wieght", `{"a":1,"b":1}`, "ratio.wieght", "did you mean weight?"},
		{"a field with a letter too many", "viscossity", `"thin"`, "viscossity", "did you mean viscosity?"},
		{"a field like no other", "colour", `"red"`, "colour", "is not a field of a card"},
		{"the rest of a decimal comma", "ratio.weight", `{"a":100,"b":27,"5":null}`, "ratio.weight.5", "not a comma"},
		{"a misspelt word", "viscosity", `"thikc"`, "viscosity", "did you mean thick?"},
		{"a mix lighter than both its parts", "density.mixed", `0.85`, "density.mixed", "densities of its parts"},
		{"a mix heavier than both its parts", "density.mixed", `1.35`, "density.mixed", "densities of its parts"},
		{"a casting far lighter than its liquid", "density.cast", `0.2`, "density.cast", "state viscosity: foam"},
		{"a foam no lighter than its liquid", "viscosity", `"foam"`, "density.cast", "risen foam"},
		{"drops into a cup apart", "combine", `"apart"`, "combine", "counted into A's cup"},
		{"drops in a hurry", "hurry", `true`, "hurry", "take their time"},
		{"an activation energy beyond any", "pot_life", `{"time":"1m","temperature_c":20,"activation_kj_mol":53000}`, "pot_life.activation_kj_mol", "at most 500"},
		{"a table that starts nowhere", "pot_life.temperature_c", ``, "pot_life.temperature_c", "starts from"},
		{"rows that fall", "pot_life.table", `[{"temperature_c":35,"time":"9m"},{"temperature_c":30,"time":"13m"}]`, "pot_life.table[1]", "does not rise"},
		{"a row twice", "pot_life.table", `[{"temperature_c":30,"time":"13m"},{"temperature_c":30,"mass_g":100,"time":"12m"}]`, "pot_life.table[1]", "does not rise"},
		{"a row for the card's own conditions", "pot_life.table", `[{"temperature_c":25,"mass_g":100,"time":"19m"}]`, "pot_life.table[0]", "is there already"},
		{"warmer and longer", "pot_life.table", `[{"temperature_c":30,"time":"21m"}]`, "pot_life.table[0]", "never longer"},
		{"colder and shorter", "pot_life.table", `[{"temperature_c":20,"time":"19m"}]`, "pot_life.table[0]", "never longer"},
		{"heavier and longer", "pot_life.table", `[{"temperature_c":25,"mass_g":200,"time":"30m"}]`, "pot_life.table[0]", "never longer"},
		{"one row longer than a cooler one", "pot_life.table", `[{"temperature_c":30,"time":"13m"},{"temperature_c":35,"time":"14m"}]`, "pot_life.table[1]", "never longer"},
		{"a cure of two years", "steps", `[{"step":"cure","time":"17600h"}]`, "steps[0].time", "at most a year"},
		{"a cast before the mix", "steps", `[{"step":"cast"},{"step":"mix"}]`, "steps[1].step", "can't come after cast"},
		{"a stir of A when B is in", "steps", `[{"step":"mix"},{"step":"stir"}]`, "steps[1].step", "can't come after mix"},
		{"a post-cure, then the cure", "steps", `[{"step":"post_cure"},{"step":"cure"}]`, "steps[1].step", "can't come after post_cure"},
		{"a verb for a mix", "steps", `[{"step":"mix","verb":"cast"}]`, "steps[0].verb", "means nothing"},
		{"a vacuum for a cure", "steps", `[{"step":"cure","pressure_mbar_abs":30}]`, "steps[0].pressure_mbar_abs", "means nothing"},
		{"scraping rarer than the mix is long", "steps", `[{"step":"mix","time":"1m","scrape_every":"2m"}]`, "steps[0].scrape_every", "longer than"},
		{"a vacuum above the atmosphere", "steps", `[{"step":"degas","pressure_mbar_abs":1100}]`, "steps[0].pressure_mbar_abs", "gauge"},
		{"a pressure pot by its gauge", "steps", `[{"step":"press","pressure_mbar_abs":900}]`, "steps[0].pressure_mbar_abs", "gauge"},
		{"a pressure in pascals", "steps", `[{"step":"press","pressure_mbar_abs":400000}]`, "steps[0].pressure_mbar_abs", "at most 20000"},
		{"a step's time in words", "steps", `[{"step":"mix","time":"20 minuts"}]`, "steps[0].time", "did you mean 20m?"},
		{"an addition of everything", "additions", `[{"id":"x","of":"a","pct":1e300}]`, "additions[0].pct", "at most 1000"},
		{"an addition of the whole cup", "additions", `[{"id":"x","of":"total","pct":1}]`, "additions[0].of", "a, b, ab"},
		{"an addition that counts as neither", "additions", `[{"id":"x","of":"a","pct":1,"counts_as":"ab"}]`, "additions[0].counts_as", "none, a, b"},
		{"a share of what doesn't count", "additions", `[{"id":"x","of":"a","pct":1,"counts_fraction":0.5}]`, "additions[0].counts_fraction", "counts_as is none"},
		{"an addition with a density in kg/m³", "additions", `[{"id":"x","of":"a","pct":1,"density":1200}]`, "additions[0].density", "kg/m³"},
		{"an addition of any amount", "additions", `[{"id":"x","of":"a","pct":1,"tolerance_pct":500}]`, "additions[0].tolerance_pct", "at most 100"},
		{"a role of no addition", "additions", `[{"id":"x","of":"a","pct":1,"role":"hardener"}]`, "additions[0].role", "catalyst"},
		{"a range of a system that is not catalysed", "ratio", `{"weight":{"a":100,"b":120},"b_range":[100,150]}`, "ratio.b_range", "at most 100"},
		{"a range without a ratio by weight", "ratio", `{"volume":{"a":100,"b":2},"b_range":[1,2.5]}`, "ratio.b_range", "state ratio.weight"},
		{"a range with no number", "ratio.b_range", `[1,"NaN"]`, "ratio.b_range[1]", "must be a number"},
		{"a number beyond any", "amount_tolerance_pct", `1e999`, "amount_tolerance_pct", "in range"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			changes := []string{tt.path, tt.value}
			if strings.HasPrefix(tt.name, "drops") {
				changes = append(changes, "measure_b", `"drops"`)
			}
			_, err := Decode(card(t, changes...))
			require.Error(t, err)
			require.Equal(t, []string{tt.field}, fields(err))
			require.Contains(t, err.Error(), tt.detail)
		})
	}
}

func TestAllFaultsAreToldAtOnce(t *testing.T) {
	_, err := Decode(card(t, "id", `"A B"`, "name", ``, "ratio.weight", `{"a":0,"b":"x"}`, "steps", `[{"step":"mix","time":3}]`, "colour", `1`))
	require.ElementsMatch(t, []string{"id", "name", "ratio.weight.a", "ratio.weight.b", "steps[0].time", "colour"}, fields(err))
}

func TestWhatIsNotOneCardIsRefused(t *testing.T) {
	for _, tt := range []struct{ name, data, detail string }{
		{"nothing", ``, "unreadable JSON"},
		{"half a card", whole[:40], "unreadable JSON"},
		{"something after the card", whole + `{}`, "unreadable JSON"},
		{"a list", `[]`, "must be an object"},
		{"a field twice", `{"id":"x","id":"y","name":"X","ratio":{"weight":{"a":1,"b":1}}}`, "id: stands here twice"},
		{"a decimal comma", `{"id":"x","name":"X","ratio":{"weight":{"a":1,5,"b":1}}}`, "unreadable JSON"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Decode([]byte(tt.data))
			require.ErrorContains(t, err, tt.detail)
		})
	}
}

func TestAcceleratorAndCatalystNeverMeetUndiluted(t *testing.T) { // common practice, no source
	const peroxideB = `{"weight":{"a":100,"b":2},"b_range":[1,2.5]}`
	accelerator := func(when string) string {
		return `{"id":"cobalt","role":"accelerator","of":"a","pct":0.5,"stir_in":true,"when":"` + when + `"}`
	}
	catalyst := func(when string) string {
		return `{"id":"peroxide","role":"catalyst","of":"a","pct":2,"when":"` + when + `"}`
	}
	for _, tt := range []struct {
		name, additions, other string // a ratio, or stir: with a step to stir A
		sound                  bool
	}{
		{"accelerator into A, then catalyst", accelerator("after_a") + "," + catalyst("after_a"), "", true},
		{"accelerator into A, catalyst after B", accelerator("after_a") + "," + catalyst("after_b"), "", true},
		{"catalyst first", catalyst("after_a") + "," + accelerator("after_a"), "", false},
		{"catalyst listed first, but later in the cup", catalyst("after_b") + "," + accelerator("after_a"), "", true},
		{"both into the empty cup", accelerator("before_a") + "," + catalyst("before_a"), "", false},
		{"accelerator after B", accelerator("after_b") + "," + catalyst("after_b"), "", false},
		{"not stirred in", strings.Replace(accelerator("after_a"), "true", "false", 1) + "," + catalyst("after_b"), "", false},
		{"an accelerator alone", accelerator("after_b"), "", true},
		{"B is the catalyst, accelerator after it", accelerator("after_b"), peroxideB, false},
		{"B is the catalyst, accelerator before it", accelerator("after_a"), peroxideB, true},
		{"accelerator in the empty cup, stirred between A and B, the catalyst after B", accelerator("before_a") + "," + catalyst("after_b"), "stir", true},
		{"accelerator in the empty cup, and only covered by A", accelerator("before_a") + "," + catalyst("after_b"), "", false},
		{"accelerator in the empty cup, catalyst before the stir", accelerator("before_a") + "," + catalyst("after_a"), "stir", false},
		{"catalyst in the empty cup", catalyst("before_a") + "," + accelerator("after_a"), "", false},
		{"B is the catalyst, accelerator not stirred in", strings.Replace(accelerator("after_a"), "true", "false", 1), peroxideB, false},
		{"B is the catalyst, and a pigment after it", strings.Replace(accelerator("after_b"), "accelerator", "pigment", 1), peroxideB, true},
		{"two accelerators, one of them late", accelerator("after_a") + "," + strings.Replace(accelerator("after_b"), "cobalt", "other", 1), peroxideB, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			changes := []string{"additions", "[" + tt.additions + "]"}
			if tt.other == "stir" {
				changes = append(changes, "steps", `[{"step":"stir"},{"step":"mix"}]`)
			} else if tt.other != "" {
				changes = append(changes, "ratio", tt.other)
			}
			_, err := Decode(card(t, changes...))
			if tt.sound {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, "must never meet undiluted")
		})
	}
}

// testdata/card-cases.csv is derived: exact arithmetic on the rules of this project, and kinds of fault.
func TestRatiosAndTheirFaultsAreThoseOfTheReference(t *testing.T) {
	f, err := os.Open("testdata/card-cases.csv")
	require.NoError(t, err)
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, column := range lines[0] {
			row[column] = line[i]
		}
		t.Run(row["id"]+" "+row["ratio_text"], func(t *testing.T) { checkCase(t, row) })
	}
}

func checkCase(t *testing.T, row map[string]string) {
	density := func(parts ...string) string {
		var members []string
		for i, name := range []string{"a", "b", "mixed", "cast"} {
			if parts[i] != "" {
				members = append(members, fmt.Sprintf(`"%s":%s`, name, parts[i]))
			}
		}
		return "{" + strings.Join(members, ",") + "}"
	}(row["density_a"], row["density_b"], row["density_mixed"], row["density_cast"])
	parts := func(a, b string) string { return fmt.Sprintf(`{"a":%s,"b":%s}`, a, b) }
	data := func(ratio string, more ...string) []byte {
		return []byte(`{"id":"x","name":"X","ratio":{` + ratio + `},"density":` + density + strings.Join(more, "") + `}`)
	}
	number := func(name string) float64 {
		f, err := strconv.ParseFloat(row[name], 64)
		require.NoError(t, err, name)
		return f
	}
	switch row["kind"] {
	case "ratio":
		c, err := Decode(data(fmt.Sprintf(`"%s":%s`, row["basis"], parts(row["a"], row["b"]))))
		require.NoError(t, err)
		require.Equal(t, fmt.Sprintf("A %s : B %s by %s", row["a"], row["b"], row["basis"]), c.RatioText())
		r, err := c.BPerA()
		if row["r_b_per_a"] == "" {
			require.Equal(t, []string{"density.a", "density.b"}, fields(err))
			return
		}
		require.NoError(t, err)
		require.InEpsilon(t, number("r_b_per_a"), r, 1e-14)
	case "card_both_ratios":
		weight, volume, _ := strings.Cut(row["ratio_text"], " by weight and ")
		wa, wb, _ := strings.Cut(weight, ":")
		va, vb, _ := strings.Cut(strings.TrimSuffix(volume, " by volume"), ":")
		c, err := Decode(data(`"weight":` + parts(wa, wb) + `,"volume":` + parts(va, vb)))
		if row["error"] != "" {
			require.Equal(t, []string{"ratio"}, fields(err))
			require.ErrorContains(t, err, "contradict")
			return
		}
		require.NoError(t, err)
		r, err := c.BPerA()
		require.NoError(t, err)
		require.InEpsilon(t, number("r_b_per_a"), r, 1e-14)
		require.Zero(t, c.DensityU(), "the ratio by weight is in force")
	case "bad_ratio":
		text, based := strings.CutSuffix(row["ratio_text"], " by weight")
		a, b, _ := strings.Cut(text, ":")
		_, err := Decode(data(`"weight":` + parts(a, b)))
		if !based { // two figures and no basis have no place on a card
			_, err = Decode(data(strings.Trim(parts(a, b), "{}")))
			require.Equal(t, []string{"ratio.a", "ratio.b"}, fields(err))
		}
		require.Error(t, err)
	case "bad_density":
		_, err := Decode(data(`"volume":` + parts(row["a"], row["b"])))
		if row["error"] == "missing_density" {
			require.NoError(t, err, "a card may be without densities; only a weighing needs them")
			return
		}
		require.Error(t, err)
		if row["error"] == "density_unit" {
			require.ErrorContains(t, err, "kg/m³")
		}
	case "bad_b_range":
		extra := map[string]string{}
		for _, pair := range strings.Fields(row["extra"]) {
			name, value, _ := strings.Cut(pair, "=")
			extra[name] = value
		}
		_, err := Decode(data(fmt.Sprintf(`"weight":%s,"b_range":[%s,%s]`, parts(row["a"], row["b"]), extra["b_low"], extra["b_high"])))
		field := map[string]string{"outside_b_range": "ratio.weight", "bad_range": "ratio.b_range"}[row["error"]]
		require.Equal(t, []string{field}, fields(err))
	case "bad_addition":
		a := strings.Split(row["additions"], ":")
		_, err := Decode(data(`"weight":`+parts(row["a"], row["b"]), fmt.Sprintf(
			`,"additions":[{"id":"%s","of":"%s","pct":%s,"counts_as":"%s","counts_fraction":%s,"density":%s}]`, a[0], a[1], a[2], a[3], a[4], a[5])))
		field := map[string]string{"bad_of": "of", "bad_fraction": "counts_fraction", "bad_percent": "pct"}[row["error"]]
		require.Equal(t, []string{"additions[0]." + field}, fields(err))
	default:
		require.Fail(t, "unknown kind", row["kind"])
	}
}

func TestBPerANamesTheDensityThatIsMissing(t *testing.T) {
	c := Card{Ratio: Ratio{Volume: &Parts{"2", "1"}}, Density: Density{A: "1.10", Mixed: "1.06"}}
	_, err := c.BPerA()
	require.Equal(t, []string{"density.b"}, fields(err))
	require.ErrorContains(t, err, "density of B is missing")
}

// JCGM 100:2008, 4.3.7: half of the last digit over √3 each. 2:1 by volume with 1.10 and 0.98 has 0.39 %.
func TestWeightAndVolumeMayBeFivePercentApart(t *testing.T) { // ours
	for density, sound := range map[Number]bool{"1.05": true, "1.055": false} {
		c := Card{Ratio: Ratio{Weight: &Parts{"1", "1"}, Volume: &Parts{"1", "1"}}, Density: Density{A: "1", B: density}}
		require.Equal(t, sound, c.contradiction() == "", density)
	}
}

func TestDensityUComesFromThePrintedDigits(t *testing.T) {
	for _, tt := range []struct {
		name string
		a, b Number
		want float64
	}{
		{"two decimals", "1.10", "0.98", 0.00394512262235516},
		{"one decimal, a zero that was printed", "1.1", "1.0", 0.0390133126957083},
		{"three decimals", "1.104", "0.982", 0.000393431935393998},
		{"an exponent moves the last digit", "110e-2", "9.8e-1", 0.00394512262235516},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := Card{Ratio: Ratio{Volume: &Parts{"2", "1"}}, Density: Density{A: tt.a, B: tt.b}}
			require.InEpsilon(t, tt.want, c.DensityU(), 1e-12)
		})
	}
}

func TestRatiosAreSaidInWords(t *testing.T) {
	weight := func(a, b Number) Card { return Card{Ratio: Ratio{Weight: &Parts{a, b}}} }
	for _, tt := range []struct {
		card Card
		want string
	}{
		{weight("100", "50"), "for every 100 g of A, 50 g of B: B is half of A"},
		{weight("50", "100"), "for every 50 g of A, 100 g of B: B is twice A"},
		{weight("1", "1"), "for every 1 g of A, 1 g of B: B is as much as A"},
		{weight("100.0", "27.5"), "for every 100 g of A, 27.5 g of B: B is 27.5 % of A"},
		{weight("3", "1"), "for every 3 g of A, 1 g of B: B is about 33.33 % of A"},
		{weight("100", "130"), "for every 100 g of A, 130 g of B: B is 1.3 times A"},
		{Card{Ratio: Ratio{Volume: &Parts{"2", "1"}}}, "for every 2 mL of A, 1 mL of B: B is half of A by volume"},
		{Card{Ratio: Ratio{Volume: &Parts{"1", "1"}}, Density: Density{A: "1.04", B: "1.22"}},
			"for every 1 mL of A, 1 mL of B: B is as much as A by volume; on the scale, for every 100 g of A, about 117.3 g of B"},
	} {
		require.Equal(t, tt.want, tt.card.Sentence())
	}
}

func TestDefaultsHoldWhereTheCardIsSilentAndAreListed(t *testing.T) {
	c := Card{}
	low, high := c.Tolerance()
	require.Equal(t, []float64{-2, 2, 2}, []float64{low, high, c.AmountTolerancePct()})
	require.Equal(t, []string{"weight", "in_cup", "medium"}, []string{c.MeasureB(), c.Combine(), c.Viscosity()})
	require.False(t, c.Hurry())
	require.Len(t, c.Assumed(), 6)
	require.Contains(t, c.Assumed(), "tolerance ±2 % of B relative to A: the card states none")
	c.Ratio.BRange = []float64{1, 2.5}
	require.NotContains(t, c.Assumed(), "tolerance ±2 % of B relative to A: the card states none", "the range is what B is held to")
	require.Len(t, c.Assumed(), 5)

	stated, err := Decode([]byte(whole))
	require.NoError(t, err)
	low, high = stated.Tolerance()
	require.Equal(t, []float64{-1, 3}, []float64{low, high})
	require.Empty(t, stated.Assumed())
}

func TestWhatIsNotBuiltIsSaid(t *testing.T) {
	require.Empty(t, Card{StatedHurry: new(false)}.NotBuilt())
	c := Card{Additions: []Addition{{}}, StatedCombine: "apart", StatedHurry: new(true), StatedMeasureB: "drops", Ratio: Ratio{BRange: []float64{1, 2}}}
	require.Len(t, c.NotBuilt(), 3)
	for _, reason := range c.NotBuilt() {
		require.True(t, strings.HasSuffix(reason, " is not built yet"), reason)
	}
}

func TestOnlyWhatIsNearIsTakenForASlip(t *testing.T) {
	for typed, meant := range map[string]string{
		"wieght": "weight", "weigth": "weight", "volum": "volume", "vollumme": "volume", "c": "", "xb": "", "wait": "", "weightless": "", "": "",
	} {
		require.Equal(t, meant, nearest(typed, []string{"a", "b", "weight", "volume"}), typed)
	}
}

func TestDurationsArePrintedInOneUnit(t *testing.T) {
	for text, want := range map[string]string{
		"20m": "20m", "90s": "90s", "24h": "24h", "60s": "1m", "1h30m": "90m", "36h": "36h", "1.5s": "1.5s", "1m0.25s": "60.25s",
	} {
		var d Duration
		require.NoError(t, d.UnmarshalText([]byte(text)))
		require.Equal(t, want, d.String())
	}
	for _, text := range []string{"", "20", "-5m", "0s", "five", "NaNs"} {
		require.Error(t, new(Duration).UnmarshalText([]byte(text)), text)
	}
	for text, meant := range map[string]string{"20 min": "20m", "90 Sec.": "90s", "1.5 hours": "1.5h", "2 minuets": "2m", "3 hrs": "3h"} {
		require.ErrorContains(t, new(Duration).UnmarshalText([]byte(text)), "did you mean "+meant+"?")
	}
	for _, text := range []string{"20 parsecs", "2 d", "min"} {
		require.ErrorContains(t, new(Duration).UnmarshalText([]byte(text)), "such as 90s", text)
	}
}

func TestAnAdditionsDefaultsHoldWhereItIsSilentAndAreListed(t *testing.T) {
	silent := Addition{ID: "black"}
	require.Equal(t, []any{"after_a", "none", 1.0, 5.0}, []any{silent.When(), silent.CountsAs(), silent.CountsFraction(), silent.TolerancePct()})
	stated := Addition{StatedWhen: "before_a", StatedCountsAs: "b", StatedCountsFraction: new(0.0), StatedTolerancePct: new(8.0)}
	require.Equal(t, []any{"before_a", "b", 0.0, 8.0}, []any{stated.When(), stated.CountsAs(), stated.CountsFraction(), stated.TolerancePct()})

	inForce := len(Card{}.Assumed())
	require.Len(t, Card{Additions: []Addition{silent}}.Assumed(), inForce+3)
	require.Len(t, Card{Additions: []Addition{stated}}.Assumed(), inForce)
	require.Contains(t, Card{Additions: []Addition{{ID: "black", StatedCountsAs: "a"}}}.Assumed(), "addition black counts as A with all its mass: the card does not say")
}

func TestStepsThatMayChangePlacesDo(t *testing.T) {
	for _, steps := range []string{
		"degas_a stir mix second_cup degas cast press cure post_cure demould",
		"stir degas_a mix degas second_cup cast degas demould cure post_cure",
		"mix mix cast cure cure",
		"press cure",
	} {
		var c Card
		for kind := range strings.FieldsSeq(steps) {
			c.Steps = append(c.Steps, Step{Kind: kind})
		}
		var f Faults
		c.validateSteps(&f)
		require.Empty(t, f, steps)
	}
}

func TestAPotLifeTableIsFreeWhereNothingContradictsIt(t *testing.T) {
	for _, table := range []string{
		`[{"temperature_c":20,"time":"30m"},{"temperature_c":30,"mass_g":50,"time":"25m"},{"temperature_c":30,"mass_g":100,"time":"13m"}]`,
		`[{"temperature_c":25,"mass_g":50,"time":"22m"},{"temperature_c":25,"mass_g":200,"time":"15m"}]`,
		`[{"temperature_c":30,"time":"20m"}]`,
	} {
		_, err := Decode(card(t, "pot_life.table", table))
		require.NoError(t, err, table)
	}
}

func TestDemoMaterialsAreSoundAndEachShowsItsThing(t *testing.T) {
	demo := map[string]Card{}
	for _, c := range Demo() {
		demo[c.ID] = c
		data, err := json.Marshal(c)
		require.NoError(t, err)
		again, err := Decode(data)
		require.NoError(t, err, c.ID)
		require.Equal(t, c, again, "a card in Go is the card in JSON")
		require.NotEmpty(t, c.Cautions, c.ID)
		require.True(t, c.SDS.A != "" && c.SDS.B != "" && c.PotLife != nil, c.ID)
	}
	require.Len(t, demo, 7)
	bPerA := func(id string) float64 {
		r, err := demo[id].BPerA()
		require.NoError(t, err)
		return r
	}
	require.Less(t, bPerA("harbour-clear"), 1.0)
	require.Equal(t, 2.0, bPerA("cobble-rubber"))
	require.Greater(t, math.Abs(bPerA("tidepool-soft")-1), 0.1, "equal by volume is not equal by weight")
	require.Equal(t, 0.1, bPerA("limpet-skin"))
	require.Equal(t, "thick_thin", demo["limpet-skin"].Viscosity())
	foam := demo["spindrift-foam"]
	require.True(t, foam.Hurry() && foam.Combine() == "apart" && foam.Viscosity() == "foam" && foam.Density.Cast != "")
	require.True(t, slices.ContainsFunc(demo["breakwater-tooling"].Additions, func(a Addition) bool { return a.CountsAs() != "none" && a.CountsFraction() < 1 }))
	catalysed := demo["gannet-laminate"]
	require.Len(t, catalysed.Ratio.BRange, 2)
	catalysed.Additions = slices.Clone(catalysed.Additions)
	catalysed.Additions[0].StatedWhen = "after_b"
	require.ErrorContains(t, catalysed.Validate(), "must never meet undiluted", "the order matters on this card")

	for id, features := range map[string]int{"harbour-clear": 0, "cobble-rubber": 0, "tidepool-soft": 0, "limpet-skin": 0,
		"spindrift-foam": 2, "breakwater-tooling": 0, "gannet-laminate": 0} {
		require.Len(t, demo[id].NotBuilt(), features, id)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(whole))
	f.Add([]byte(`{"id":"x","name":"X","ratio":{"volume":{"a":1.0e1,"b":2}},"density":{"a":1.1,"b":1}}`))
	f.Add([]byte(`{"ratio":{"weight":null,"b_range":[1,null]},"steps":[null,{"time":"1h"}]}`))
	f.Add([]byte(`{"id":"x","name":"X","ratio":{"weight":{"a":1,"b":1}},"codes":{"a":[]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Decode(data)
		if err != nil {
			require.NotEmpty(t, err.(Faults))
			return
		}
		back, err := json.Marshal(c)
		require.NoError(t, err)
		again, err := Decode(back)
		require.NoError(t, err, "what was accepted must be accepted again: %s", back)
		second, err := json.Marshal(again)
		require.NoError(t, err)
		require.Equal(t, string(back), string(second))
		if r, err := c.BPerA(); err == nil {
			require.True(t, r > 0 && r < 1e9, "%v", r)
		}
		require.NotContains(t, c.RatioText()+c.Sentence(), "NaN")
	})
}
