package material

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// format is one of the two forms of a file of cards.
type format struct {
	name  string
	read  func([]byte) ([]Card, error)
	write func([]Card) ([]byte, error)
}

var formats = []format{{"YAML", ImportYAML, ExportYAML}, {"CSV", ImportCSV, ExportCSV}}

func TestWhatIsExportedComesBackEqual(t *testing.T) {
	every, err := Decode([]byte(whole))
	require.NoError(t, err)
	for _, f := range formats {
		for _, cards := range [][]Card{Demo(), {every}, {{ID: "x", Name: "X", Ratio: Ratio{Volume: &Parts{"2.0", "1"}}}}} {
			data, err := f.write(cards)
			require.NoError(t, err)
			back, err := f.read(data)
			require.NoError(t, err, "%s:\n%s", f.name, data)
			require.Equal(t, cards, back, f.name)
		}
	}
}

// texts that mean something else to a reader of YAML, a spreadsheet or a table.
var awkward = []string{"yes", "NULL", "~", "1e3", "012", "-1", "=1+1", "+5", "@x", "-", "- x", "'x", "''", `"q"`, "a: b", "a #b", "#b", "{a}", "[a",
	"*x", "&x", "!x", "%x", "`x", "|", ">", "?", ": x", "a,b", ";", " lead", "trail ", "two\nlines", "\n=x", "x\u2028y", "\u00ad", "Härte", "😀", "a\x1db", "<b>&", `\n`, "20m", "true", ".nan",
	"---", "...", "=", "\ufeffx", "x\u3000"}

func drawText(t *rapid.T, label string) string {
	return rapid.OneOf(rapid.SampledFrom(awkward), rapid.StringMatching(`[ -~äß€]{0,11}[!-~]`)).Draw(t, label)
}

func drawNumber(t *rapid.T, label string) Number {
	return Number(rapid.StringMatching(`[1-9](\.[0-9]{1,4})?(e0)?`).Draw(t, label))
}

func maybe[T any](t *rapid.T, label string, draw func(*rapid.T, string) T) (value T) {
	if rapid.Bool().Draw(t, label+" is stated") {
		value = draw(t, label)
	}
	return value
}

func drawFloat(low, high float64) func(*rapid.T, string) *float64 {
	return func(t *rapid.T, label string) *float64 { return new(rapid.Float64Range(low, high).Draw(t, label)) }
}

func drawBool(t *rapid.T, label string) *bool { return new(rapid.Bool().Draw(t, label)) }

func drawWord(words ...string) func(*rapid.T, string) string {
	return func(t *rapid.T, label string) string { return rapid.SampledFrom(words).Draw(t, label) }
}

func drawTime(t *rapid.T, label string) Duration {
	return Duration(rapid.Int64Range(1, int64(maxTime)).Draw(t, label))
}

func drawTexts(t *rapid.T, label string) []string {
	return rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) string { return drawText(t, label) }), 1, 3, rapid.ID).Draw(t, label)
}

func drawAddition(t *rapid.T) Addition {
	a := Addition{
		ID: rapid.StringMatching(`[a-z0-9-]{2,8}`).Draw(t, "addition"), Name: maybe(t, "its name", drawText),
		Role: maybe(t, "role", drawWord("pigment", "filler", "other")), Of: drawWord("a", "b", "ab")(t, "of"),
		Pct: drawFloat(1e-9, 1000)(t, "pct"), StatedWhen: maybe(t, "when", drawWord("before_a", "after_a", "after_b")),
		StatedCountsAs: maybe(t, "counts_as", drawWord("none", "a", "b")), Density: maybe(t, "its density", drawNumber),
		StatedTolerancePct: maybe(t, "its tolerance", drawFloat(1e-9, 100)), StirIn: maybe(t, "stir_in", drawBool),
	}
	if a.CountsAs() != "none" {
		a.StatedCountsFraction = maybe(t, "fraction", drawFloat(0, 1))
	}
	return a
}

// drawCard is a sound card with any of its fields.
func drawCard(t *rapid.T) Card {
	c := Card{
		ID: rapid.StringMatching(`[a-z0-9-]{1,12}`).Draw(t, "id"), Name: drawText(t, "name"),
		Ratio:                    Ratio{Volume: &Parts{drawNumber(t, "A"), drawNumber(t, "B")}},
		Density:                  Density{B: maybe(t, "density of B", drawNumber), AtC: maybe(t, "at_c", drawFloat(-273, 1000))},
		StatedTolerance:          maybe(t, "tolerance", drawTolerance),
		StatedAmountTolerancePct: maybe(t, "amount tolerance", drawFloat(1e-300, 99)),
		StatedMeasureB:           maybe(t, "measure_b", drawWord("weight", "volume")),
		StatedCombine:            maybe(t, "combine", drawWord("in_cup", "apart")),
		StatedHurry:              maybe(t, "hurry", drawBool),
		StatedViscosity:          maybe(t, "viscosity", drawWord("thin", "medium", "paste", "foam")),
		MoistureSensitive:        maybe(t, "moisture", drawBool),
		Equivalents:              maybe(t, "equivalents", drawEquivalents),
		Codes:                    Codes{A: maybe(t, "codes", drawTexts)},
		Cautions:                 maybe(t, "cautions", drawTexts),
		SDS:                      SDS{A: maybe(t, "sds a", drawText), B: maybe(t, "sds b", drawText)},
	}
	if rapid.Bool().Draw(t, "by weight") {
		c.Ratio = Ratio{Weight: &Parts{"100", "2.0"}, BRange: []float64{rapid.Float64Range(0.1, 2).Draw(t, "from"), rapid.Float64Range(2.1, 90).Draw(t, "to")}}
	}
	if rapid.Bool().Draw(t, "pot life") {
		c.PotLife = &PotLife{Time: 20 * minute, TemperatureC: new(25.0), Table: []PotLifeRow{{TemperatureC: drawFloat(26, 40)(t, "warm"), Time: minute}}}
	}
	for _, kind := range []string{"mix", "cast", "cure"} {
		c.Steps = append(c.Steps, Step{Kind: kind, Time: maybe(t, kind, drawTime)})
	}
	c.Additions = rapid.SliceOfNDistinct(rapid.Custom(drawAddition), 0, 3, func(a Addition) string { return a.ID }).Draw(t, "additions")
	return c
}

func drawEquivalents(t *rapid.T, label string) *Equivalents {
	draw := func(label string) Number {
		return Number(rapid.StringMatching(`[1-9][0-9]{1,2}(\.[0-9])?`).Draw(t, label))
	}
	return &Equivalents{A: draw("eq of A"), B: draw("eq of B"), StatedIndexOf: maybe(t, "index_of", drawWord("a", "b"))}
}

func drawTolerance(t *rapid.T, label string) *TolerancePct {
	high := rapid.Float64Range(0.1, 99).Draw(t, label)
	if rapid.Bool().Draw(t, "two sides") {
		return &TolerancePct{Low: -rapid.Float64Range(0, 99).Draw(t, "low"), High: high, paired: true}
	}
	return &TolerancePct{Low: -high, High: high}
}

// once is a card as it comes out of JSON: what is empty is not stated.
func once(t *rapid.T, c Card) Card {
	data, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Decode(data)
	if err != nil {
		t.Fatalf("the drawn card is at fault: %v", err)
	}
	return again
}

func TestAnyCardsComeBackEqualFromEitherForm(t *testing.T) {
	for _, f := range formats {
		t.Run(f.name, rapid.MakeCheck(func(t *rapid.T) {
			cards := rapid.SliceOfNDistinct(rapid.Custom(drawCard), 1, 3, func(c Card) string { return c.ID }).Draw(t, "cards")
			for i := range cards {
				cards[i] = once(t, cards[i])
			}
			data, err := f.write(cards)
			if err != nil {
				t.Fatal(err)
			}
			back, err := f.read(data)
			if err != nil {
				t.Fatalf("%v\n%s", err, data)
			}
			require.Equal(t, cards, back, "%s", data)
		}))
	}
}

func TestAYAMLFileMayHoldOneCardAListOrDocuments(t *testing.T) {
	card := func(id string) string { return `{id: ` + id + `, name: X, ratio: {weight: {a: 1, b: 1}}}` }
	for _, tt := range []struct {
		name, file string
		ids        []string
	}{
		{"one card", "id: x\nname: X\nratio:\n  weight: {a: 1, b: 1}\n", []string{"x"}},
		{"a list", "- " + card("x") + "\n- " + card("y") + "\n", []string{"x", "y"}},
		{"documents, a list among them", "%YAML 1.2\n---\n" + card("x") + "\n---\n# more\n- " + card("y") + "\n- " + card("z") + "\n...\n---\n", []string{"x", "y", "z"}},
		{"a name over two lines, an empty value", "id: x\nname: >-\n  X and\n  Y\nviscosity:\nratio: {weight: {a: 1, b: 1}}\n", []string{"x"}},
		{"JSON, which is YAML", `[{"id":"x","name":"X","ratio":{"weight":{"a":1.10,"b":1e1}}}]`, []string{"x"}},
		{"a byte order mark, a comment, carriage returns", "\uFEFF# cards\r\n" + card("x") + "\r\n", []string{"x"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cards, err := ImportYAML([]byte(tt.file))
			require.NoError(t, err)
			var ids []string
			for _, c := range cards {
				ids = append(ids, c.ID)
			}
			require.Equal(t, tt.ids, ids)
		})
	}
}

func TestTheContractsFormIsWhatIsWritten(t *testing.T) {
	c, err := Decode([]byte(whole))
	require.NoError(t, err)
	data, err := ExportYAML([]Card{c, {ID: "z1", Name: "Härte <1 & 2>", Ratio: Ratio{Weight: &Parts{"1.0", "1"}}}})
	require.NoError(t, err)
	for _, line := range []string{
		"id: harbour-clear",
		"ratio: {weight: {a: 100, b: 50}, volume: {a: 100, b: 56}}",
		"density: {a: 1.10, b: 0.98, mixed: 1.06, cast: 1.08, at_c: 25}",
		"pot_life: {time: 20m, mass_g: 100, temperature_c: 25, table: [{temperature_c: 30, mass_g: 100, time: 13m}]}",
		"  - {step: degas, time: 4m, pressure_mbar_abs: 30, headroom: 4}",
		`codes: {a: ["012345"], b: ["012346"]}`,
		"---\nid: z1",
		`name: "Härte <1 & 2>"`,
		"ratio: {weight: {a: 1.0, b: 1}}",
	} {
		require.Contains(t, "\n"+string(data), "\n"+line+"\n")
	}
}

func TestATableIsWrittenWithPathsAsColumns(t *testing.T) {
	data, err := ExportCSV([]Card{
		{ID: "x", Name: "=SUM(A1)", Ratio: Ratio{Weight: &Parts{"100", "50.0"}}, StatedTolerance: &TolerancePct{Low: -1, High: 3}},
		{ID: "-y", Name: "Y", Ratio: Ratio{Volume: &Parts{"2", "1"}}, Steps: []Step{{Kind: "mix", Time: 90 * minute}}},
	})
	require.NoError(t, err)
	require.Equal(t, "id,name,ratio.weight.a,ratio.weight.b,ratio.volume.a,ratio.volume.b,tolerance_pct.low,tolerance_pct.high,steps[0].step,steps[0].time\r\n"+
		"x,'=SUM(A1),100,50.0,,,-1,3,,\r\n"+
		"'-y,Y,,,2,1,,,mix,90m\r\n", string(data), "a text is no formula, a number stays one")
}

func TestNoTextOfATableIsAFormula(t *testing.T) {
	for _, first := range []string{"=", "+", "-", "@", "'", "＝", "＋", "－", "＠"} {
		data, err := ExportCSV([]Card{{ID: "x", Name: first + "SUM(A1)", Ratio: Ratio{Weight: &Parts{"1", "1"}}}})
		require.NoError(t, err)
		require.Contains(t, string(data), "'"+first, "%q", first)
	}
}

func TestATableMayComeFromASpreadsheet(t *testing.T) {
	cards, err := ImportCSV([]byte("\uFEFFname,id,ratio.weight.b,ratio.weight.a,hurry,codes.a[0],tolerance_pct\r\n\"X, \"\"Y\"\"\",x, 50.0 ,100,TRUE,012,2\r\n,,,,,,\r\n"))
	require.NoError(t, err)
	require.Equal(t, []Card{{ID: "x", Name: `X, "Y"`, Ratio: Ratio{Weight: &Parts{"100", "50.0"}}, StatedHurry: new(true),
		Codes: Codes{A: []string{"012"}}, StatedTolerance: &TolerancePct{Low: -2, High: 2}}}, cards)
}

// faultsOf is what is printed, without the file's name.
func faultsOf(t *testing.T, err error) []string {
	t.Helper()
	require.IsType(t, FileFaults{}, err)
	return strings.Split(err.Error(), "\n")
}

func TestAllFaultsOfAYAMLFileAreToldByLineAndField(t *testing.T) {
	_, err := ImportYAML([]byte(`# two cards
- id: x
  name: 12
  ratio:
    wieght: {a: 100, b: 50}
    weight: {a: 1,5, b: 1_000}
  density: {a: .nan,
            b: 1100}
  steps:
    - {step: mix, time: 3m}
    - {step: cure,
       time: 20}
  hurry: yes
  cautions: [*gloves]
- id: x
  id: x
- nothing
`))
	require.Equal(t, []string{
		"3: name: must be text, in quotes where it looks like a number",
		"5: ratio.wieght: is not a field of a card: did you mean weight?",
		"6: ratio.weight.5: is not a field of a card: a number takes a point for decimals, not a comma",
		`6: ratio.weight.b: must be a number such as 0.5 or 100, is "1_000": digits alone, no unit; the field's name says the unit`,
		`7: density.a: must be a number, is ".nan"`,
		"8: density.b: is 1100, must be at most 25 g/mL: is it in kg/m³?",
		"12: steps[1].time: must be a time as text, such as 20m",
		"13: hurry: must be true or false",
		"14: cautions[0]: is an anchor, an alias or a tag, which cards don't use: write the value itself",
		"15: name: is required",
		"15: ratio: must be by weight, by volume, or both: a ratio without its basis is none",
		"16: id: stands here twice",
		"16: id: \"x\" is the id of the card in line 2 too",
		"17: the card: must be an object",
	}, faultsOf(t, err))
	require.Equal(t, "x", err.(FileFaults)[0].Card)
}

func TestAllFaultsOfATableAreToldByLineAndField(t *testing.T) {
	_, err := ImportCSV([]byte("id,name,ratio.weight.a,ratio.weight.b,density.a,hurry,steps[0].step,steps[1].step,tolerance_pct,tolerance_pct.low,steps[0].tme,steps,ratio,id,steps[01].time,name[0],name.a\n" +
		"x,\"two\nlines\",100,50,\"1,10\",maybe,mix,shake,2,-1,3m,,,q,,,\n" +
		"y,Y,1e300,1,1.1,false,,mix,,,,,,,,,\n" +
		"z,Z,1,10,1\n" +
		"x,X,1,1,1.1,false,,,,,,,,,,,\n"))
	require.Equal(t, []string{
		"1: steps[0].tme: is not a field of a card: did you mean time?",
		"1: steps: is a list: number its columns, from steps[0]",
		"1: ratio: holds several fields: a column for each, such as ratio.weight",
		"1: id: stands here twice",
		"1: steps[01].time: must have a number from 0 to 999 in brackets, as in steps[0]",
		"1: name[0]: is no list: leave the number out",
		`1: name.a: has nothing named "a" in it`,
		`3: tolerance_pct.low: stands beside tolerance_pct: state one number for both sides, or low and high`,
		`3: density.a: "1,10" has a comma, which can be read two ways: write a point for decimals, and nothing between thousands`,
		"3: hurry: must be true or false",
		`3: steps[1].step: is "shake", must be one of stir, degas_a, mix, second_cup, degas, cast, press, cure, demould, post_cure`,
		"4: ratio.weight.a: is 1e300, must be more than 0 and at most 1000000 parts",
		"4: steps[0].step: is required",
		"5: the row: has 5 cells, the header 17: a cell with a comma in it must be in quotes, and a number takes a point for decimals",
		"6: id: \"x\" is the id of the card in line 2 too",
	}, faultsOf(t, err))
}

func TestAFileThatIsNoneOfCardsIsRefused(t *testing.T) {
	for _, tt := range []struct {
		name         string
		read         func([]byte) ([]Card, error)
		file, detail string
	}{
		{"no YAML", ImportYAML, "id: x\nname: [X\n", "is no YAML"},
		{"a YAML file of nothing", ImportYAML, "# nothing\n", "1: the file: holds no card"},
		{"an empty list", ImportYAML, "[]", "holds no card"},
		{"an empty document, behind which cards would be lost", ImportYAML, "---\n# none\n---\nid: x\n", "3: the file: has a document with nothing in it"},
		{"an empty document, ended", ImportYAML, "---\n...\n---\nid: x\n", "3: the file: has a document with nothing in it"},
		{"brackets without end", ImportYAML, strings.Repeat("[", 100_000), "1: the file: nests deeper than 50"},
		{"dashes without end", ImportYAML, "\n" + strings.Repeat("- ", 100_000), "2: the file: nests deeper than 50"},
		{"Latin 1", ImportYAML, "id: x\nname: H\xe4rte\n", "2: the file: is not UTF-8"},
		{"an empty table", ImportCSV, "", "holds no card"},
		{"a table of a header", ImportCSV, "id,name\n", "holds no card"},
		{"a table in UTF-16", ImportCSV, "\xff\xfei\x00d\x00", "is not UTF-8"},
		{"semicolons", ImportCSV, "id;name;ratio.weight.a\nx;X;1,5\n", "save it with commas between columns, and points in numbers"},
		{"tabs", ImportCSV, "id\tname\n", "something else than commas"},
		{"a quote that is never closed", ImportCSV, "id,name\nx,\"X\ny,Y\n", "the row: is no CSV"},
		{"a quote in mid-cell", ImportCSV, "id,name\nx,3\" cup\n", "2: the row: is no CSV"},
		{"a bad header", ImportCSV, "i\"d\n", "1: the row: is no CSV"},
		{"a column without a name", ImportCSV, "id,,name\n", "1: column 2: has no name"},
		{"two sides of a tolerance, then one for both", ImportCSV, "id,tolerance_pct.low,tolerance_pct\nx,-1,2\n", "2: tolerance_pct: stands beside"},
		{"a place beyond any", ImportCSV, "id,steps[1000000000].time\n", "from 0 to 999"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := tt.read([]byte(tt.file))
			require.IsType(t, FileFaults{}, err)
			require.ErrorContains(t, err, tt.detail)
		})
	}
}

func TestACardWhoseNumbersAreNoneIsNotExported(t *testing.T) {
	for _, f := range formats {
		_, err := f.write([]Card{{ID: "x", Density: Density{A: "NaN"}}})
		require.ErrorContains(t, err, `export material "x"`, f.name)
	}
}

// fuzzFile holds a reader to two things: it always answers with faults or cards, and cards come back equal.
func fuzzFile(t *testing.T, f format, data []byte) {
	cards, err := f.read(data)
	if err != nil {
		for _, fault := range err.(FileFaults) {
			require.True(t, fault.Line > 0 && fault.Field != "" && fault.Detail != "", "%+v", fault)
		}
		return
	}
	out, err := f.write(cards)
	require.NoError(t, err)
	again, err := f.read(out)
	require.NoError(t, err, "%s", out)
	second, err := f.write(again)
	require.NoError(t, err)
	require.Equal(t, string(out), string(second))
}

func FuzzImportYAML(f *testing.F) {
	seed, _ := ExportYAML(Demo())
	f.Add(seed)
	f.Add([]byte(whole))
	f.Add([]byte("- id: x\n  name: |\n    X\n  ratio: {weight: {a: 1, b: 1}}\n- &a {id: *a}\n---\n? [x]\n: 1\n"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzFile(t, formats[0], data) })
}

func FuzzImportCSV(f *testing.F) {
	seed, _ := ExportCSV(Demo())
	f.Add(seed)
	f.Add([]byte("id,name,ratio.weight.a,ratio.weight.b,tolerance_pct\nx,'=X,1,1,2\n"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzFile(t, formats[1], data) })
}
