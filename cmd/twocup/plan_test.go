package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/station/material"
	"twocup/station/plan"
)

// twocup runs a command line as a person would; its parts are split at blanks, but for what stands between quotes.
func twocup(t *testing.T, line string) (code int, out, log string) {
	t.Helper()
	var args []string
	for i, quoted := range strings.Split(line, "'") {
		if i%2 == 1 {
			args = append(args, quoted)
		} else {
			args = append(args, strings.Fields(quoted)...)
		}
	}
	var o, l bytes.Buffer
	code = run(t.Context(), args, streams{nil, &o, &l})
	return code, o.String(), l.String()
}

// The figures are those of the contract's example; there with an addition between A and B, which leaves no shared reading.
func TestAPlanOnTheCommandLineIsTheContractsExample(t *testing.T) {
	code, out, log := twocup(t, "plan --ratio '100:50 by weight' --total 300g --division 0.1g --json")
	require.Equal(t, exitDone, code, log)
	var p plan.Plan
	require.NoError(t, json.Unmarshal([]byte(out), &p))
	require.Equal(t, 0.5, p.RatioBPerA)
	require.Equal(t, "200 g", p.Parts[0].Target.String())
	require.Equal(t, "98.3 g", p.Parts[1].Low.String())
	require.Equal(t, "101.7 g", p.Parts[1].High.String())
	require.Equal(t, 0.265, *p.UncertaintyPct)
	require.Equal(t, 697*reading.Gram/10, *p.ProvableG)

	code, out, _ = twocup(t, "plan --ratio '100:50 by weight' --total 300g --division 0.1g")
	require.Equal(t, exitDone, code)
	require.Contains(t, out, "A 100 : B 50 by weight: for every 100 g of A, 50 g of B: B is half of A")
	require.Regexp(t, `(?m)^B +100 g +98\.3 g +101\.7 g +98 g to 102 g`, out)
	require.Contains(t, out, "safety data sheets")
}

func TestWhatCannotBePlannedNamesItsFlag(t *testing.T) {
	for _, tt := range []struct{ name, line, want string }{
		{"no ratio", "--total 300g", "--ratio: is one of three ways"},
		{"two ratios", "--ratio '1:1 by weight' --eew 190 --ahew 34 --total 3g", "--ratio: is one of three ways"},
		{"a ratio without its basis", "--ratio 100:50 --total 300g", "--ratio: "},
		{"a ratio of nothing", "--ratio '100:0 by weight' --total 300g", "--ratio: "},
		{"no amount", "--ratio '1:1 by weight'", "--total: is one of the amounts"},
		{"two amounts", "--ratio '1:1 by weight' --total 3g --box 1x1x1mm", "exactly one, not 2"},
		{"an amount of nothing", "--ratio '1:1 by weight' --total 0g", "--total: "},
		{"a volume without density", "--ratio '1:1 by weight' --volume '3 mL'", "--density-mixed: "},
		{"a ratio by volume without densities", "--ratio '1:1 by volume' --total 3g", "--density-a: the density of A is missing"},
		{"a gallon of nowhere", "--ratio '1:1 by weight' --density-mixed 1.1 --volume '1 gal'", "--volume: "},
		{"an ambiguous comma", "--ratio '1:1 by weight' --total 1,234g", "--total: "},
		{"not a number", "--ratio '1:1 by weight' --total NaNg", "--total: "},
		{"a density that is none", "--ratio '1:1 by weight' --density-a heavy --total 3g", "--density-a: \"heavy\" is not a plain number of g/mL, such as 1.10"},
		{"a tolerance of nothing", "--ratio '1:1 by weight' --tolerance 0% --total 3g", "--tolerance: "},
		{"water without its temperature", "--ratio '1:1 by weight' --density-mixed 1.1 --water-fill 482g", "--water-fill: needs the water's temperature"},
		{"a repeatability without a division", "--ratio '1:1 by weight' --total 3g --repeatability 0.1g", "--division: is missing"},
		{"the largest of one container", "--ratio '1:1 by weight' --part-a 3g --largest", "--largest: needs --part-a and --part-b"},
		{"a choice that the ratio does not leave", "--ratio '1:1 by weight' --total 3g --b-per-100-a 2", "--b-per-100-a: "},
		{"a material without its folder", "--material x --total 3g", "--material: needs --data"},
		{"half an epoxy", "--eew 190", "--eew: "},
		{"two systems", "--eew 190 --ahew 34 --nco 31 --oh 56", "--nco: an epoxy"},
		{"cups that are none", "--ratio '1:1 by weight' --total 3g --split -1", "--split: "},
	} {
		t.Run(tt.name, func(t *testing.T) {
			code, out, log := twocup(t, "plan "+tt.line)
			require.Equal(t, exitUsage, code, log)
			require.Empty(t, out)
			require.Contains(t, log, tt.want)
		})
	}
}

func TestAPlanWithAStopIsPrintedAndIsAFault(t *testing.T) {
	code, out, _ := twocup(t, "plan --ratio '100:50 by weight' --total 3g --division 0.1g")
	require.Equal(t, exitFault, code)
	require.Regexp(t, `(?m)^stop +resolution `, out)
}

// 190 and 34 g/eq give 17.9 phr: a supplier's page, as quoted among the reference values of the chem room.
func TestTheRatioOfAFormulation(t *testing.T) {
	code, out, _ := twocup(t, "plan --eew 190 --ahew 34")
	require.Equal(t, exitDone, code)
	require.Contains(t, out, "about 17.89 g of hardener (B) for every 100 g of resin (A) (assumed: index 100, A is the resin)")
	code, out, _ = twocup(t, "plan --eew 190 --ahew 34 --resin b --index 100 --total 100g --json")
	require.Equal(t, exitDone, code)
	var p plan.Plan
	require.NoError(t, json.Unmarshal([]byte(out), &p))
	require.InDelta(t, 100*34/(190+34.), p.Parts[0].Target.Grams(), 1e-6)
	// A guide to epoxy calculations, as quoted among the reference values of the chem room: 80 parts of 189, 10 of 183 and 10 of
	// filler have 209 g/eq, and 20.6 phr of a hardener of 43.
	code, out, _ = twocup(t, "plan --eew 189:80,183:10,inert:10 --ahew 43")
	require.Equal(t, exitDone, code)
	require.Contains(t, out, "resin about 209.2 g/eq")
	require.Contains(t, out, "about 20.55 g of hardener")
	code, out, _ = twocup(t, "plan --eew 190 --ahew 34 --index-low 95 --index-high 105 --total 100g --json")
	require.Equal(t, exitDone, code)
	require.NoError(t, json.Unmarshal([]byte(out), &p))
	require.InDelta(t, -5, p.TolerancePct.LowPct, 1e-9)
	require.InDelta(t, 5, p.TolerancePct.HighPct, 1e-9)
	code, _, log := twocup(t, "plan --eew 189:80,183 --ahew 43")
	require.Equal(t, exitUsage, code)
	require.Contains(t, log, `member "183" of the blend`)
	code, out, _ = twocup(t, "plan --nco 31 --oh 56 --index 105")
	require.Equal(t, exitDone, code)
	require.Contains(t, out, "about 14.21 g of isocyanate (A) for every 100 g of polyol (B)")
}

func TestMouldsAndContainersOnTheCommandLine(t *testing.T) {
	total := func(line string) float64 {
		code, out, log := twocup(t, "plan --ratio '100:50 by weight' --density-mixed 1.1 --json "+line)
		require.Equal(t, exitDone, code, log)
		var p plan.Plan
		require.NoError(t, json.Unmarshal([]byte(out), &p))
		return p.TotalG.Grams()
	}
	require.InDelta(t, 110*1.1, total("--box 100x50x20mm --allowance 10%"), 1e-6)   // 100 mL
	require.InDelta(t, 39.269908*1.1, total("--cylinder 50x20mm"), 1e-5)            // π/4·5²·2 mL
	require.InDelta(t, 482/0.998*1.1, total("--water-fill 482g --water-c 21"), 0.6) // 0.998 g/mL at 21 °C: Tanaka 2001, three digits, and air's buoyancy
	require.InDelta(t, 150, total("--part-a 100g --part-b '1 kg' --largest"), 1e-9) // A runs out first
	require.InDelta(t, 300/4., total("--total 300g --split 4"), 1e-9)               // each cup
}

func TestCardsGoOutAndComeBack(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	text, err := material.ExportYAML(material.Demo())
	require.NoError(t, err)
	cards := filepath.Join(dir, "cards.yaml")
	require.NoError(t, os.WriteFile(cards, text, 0o600))

	code, out, log := twocup(t, "materials import "+cards+" --data "+data)
	require.Equal(t, exitDone, code, log)
	require.Equal(t, len(material.Demo()), strings.Count(out, ": added\n"))
	code, out, _ = twocup(t, "materials import "+cards+" --data "+data)
	require.Equal(t, exitDone, code)
	require.Equal(t, len(material.Demo()), strings.Count(out, ": unchanged, revision 1\n"))

	sheet := filepath.Join(dir, "cards.csv")
	code, _, log = twocup(t, "materials export "+sheet+" --data "+data)
	require.Equal(t, exitDone, code, log)
	code, _, log = twocup(t, "materials export "+sheet+" --data "+data)
	require.Equal(t, exitUnreachable, code)
	require.Contains(t, log, "it is there already")
	changed, err := os.ReadFile(sheet)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(sheet, bytes.Replace(changed, []byte("Harbour clear casting resin"), []byte("Harbour clear slow"), 1), 0o600))
	code, out, log = twocup(t, "materials import "+sheet+" --data "+data)
	require.Equal(t, exitDone, code, log)
	require.Contains(t, out, "harbour-clear: revision 2\n")
	require.Equal(t, len(material.Demo())-1, strings.Count(out, ": unchanged"))

	code, out, log = twocup(t, "plan --material harbour-clear --total 300g --division 0.1g --data "+data+" --json")
	require.Equal(t, exitDone, code, log)
	require.Contains(t, out, `"revision": 2`)
	code, _, log = twocup(t, "plan --material nope --total 300g --data "+data)
	require.Equal(t, exitUsage, code)
	require.Contains(t, log, `there is no material "nope"`)
}

func TestAnEmptyListIsNoChangeOfACard(t *testing.T) {
	dir := t.TempDir()
	cards := filepath.Join(dir, "cards.yaml")
	require.NoError(t, os.WriteFile(cards, []byte("- {id: quay-grey, name: Quay grey, ratio: {weight: {a: 100, b: 50}}, cautions: [], steps: [], additions: []}\n"), 0o600))
	for _, want := range []string{"quay-grey: added\n", "quay-grey: unchanged, revision 1\n"} {
		code, out, log := twocup(t, "materials import "+cards+" --data "+filepath.Join(dir, "data"))
		require.Equal(t, exitDone, code, log+out)
		require.Equal(t, want, out)
	}
}

func TestCheckTellsAllFaultsOfCards(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "cards.yaml")
	require.NoError(t, os.WriteFile(file, []byte("- id: Bad Id\n  name: x\n  ratio: {weight: {a: 1, b: 0}}\n"), 0o600))
	code, out, _ := twocup(t, "check --materials "+file)
	require.Equal(t, exitFault, code)
	require.Regexp(t, `(?m)^\Q`+file+`\E:1: id: .+\n\Q`+file+`\E:3: ratio\.weight\.b: .+\n$`, out)
	code, _, log := twocup(t, "check --materials "+filepath.Join(dir, "none.csv"))
	require.Equal(t, exitUnreachable, code)
	require.Contains(t, log, "no such file")
	code, _, _ = twocup(t, "check --materials cards.txt")
	require.Equal(t, exitUsage, code)
}
