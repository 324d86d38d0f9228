package main

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// awaited gives the texts that a promise in the page comes to.
func awaited(b *tab, promise string) []string {
	b.t.Helper()
	b.do(chromedp.Evaluate[chromedp.Void]("window.answer = undefined; void (" + strings.TrimSuffix(strings.TrimSpace(promise), ";") + ").then(v => { window.answer = v; })"))
	b.until("window.answer !== undefined")
	return read[[]string](b, "window.answer")
}

// What is still to pour stands in the scale's own unit and digits. The factors are NIST SP 811's, appendix B.
func TestBrowserPrintsMassesInTheScalesUnit(t *testing.T) {
	t.Parallel()
	d := startDemo(t, simulator.Options{Seed: 1})
	b := openTab(t)
	b.do(chromedp.Navigate("http://" + d.address + "/"))
	texts := awaited(b, `import("/static/mass.js").then(({massText, micrograms, stepOf}) => [
		[1006.408071, "2:03.5 lb:oz"], [-1006.408071, "2:03.5 lb:oz"], [453.59237, "0:00.0 lb:oz"], [453.59237, "1.000 lb"],
		[31.1034768, "0.00 ozt"], [152.3, "152.3 g"], [0.2, "1 ct"], [1e6, "1.000 t"], [1, "1.0 stone"]
	].map(([g, shown]) => massText(micrograms(g), stepOf({shown}))))`)
	require.Equal(t, []string{"2:03.5", "−2:03.5", "1:00.0", "1.000", "1.00", "152.3", "1", "1.000", "–"}, texts)
}

// What is wrong with a scale that is still read, and a ledger that takes nothing, stand over the cue and hide nothing of it.
func TestBrowserSaysWhatIsWrongBesideTheWeight(t *testing.T) {
	t.Parallel()
	d := startDemo(t, simulator.Options{Seed: 1})
	b := openTab(t)
	b.do(chromedp.Navigate("http://" + d.address + "/"))
	warnings := awaited(b, `import("/static/view.js").then(({view}) => {
		const scale = {link: "up", state: "normal", shown: "12.0 g", value_g: 12, age_ms: 40, stable: true, advice: null, division_g: 0.1};
		const warn = (s, more) => String(view({scale: {...scale, ...s}, scales: [], batch: null, clocks: [], ledger: null, ...more}, 0).warning);
		return [warn({}, {}), warn({advice: "damaged"}, {}), warn({link: "silent", advice: "silent"}, {}), warn({advice: "damaged"}, {ledger: "full"})];
	})`)
	require.Equal(t, []string{"null", "damaged", "null", "full"}, warnings, "where no weight is shown the cue itself says why")
}
