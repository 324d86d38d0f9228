package main

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// How slow, and how many drops, is what the station says: the page works out neither.
func TestBrowserSaysHowSlowAndHowManyDrops(t *testing.T) {
	t.Parallel()
	d := startDemo(t, simulator.Options{Seed: 1})
	b := openTab(t)
	b.do(chromedp.Navigate("http://" + d.address + "/"))
	texts := awaited(b, `import("/static/view.js").then(({view}) => {
		const scale = {link: "up", state: "normal", shown: "12.0 g", value_g: 12, age_ms: 40, stable: true, advice: null, division_g: 0.1};
		const part = {part: "A", target_g: 12.5, poured_g: 12, accepted: false};
		const batch = {phase: "pour", part: "A", band: "near", target_g: 12.5, low_g: 12.3, high_g: 12.7, poured_g: 12, parts: [part],
			provable: true, question: null, verdict: null, pot_life: {}, drops: null, flow_wanted_g_s: null};
		const of = more => view({scale, scales: [], batch: {...batch, ...more}, clocks: [], ledger: null}, 0);
		const ease = flow => of({cue: "ease", flow_wanted_g_s: flow}).note, add = drops => of({cue: "top_up", drops}).word.join(" ").trim();
		return [ease(2), ease(0.35), ease(2.449), ease(123.4), ease(null), add(1), add(17), add(null)];
	})`)
	require.Equal(t, []string{"Slow to about 2 g/s", "Slow to about 0.35 g/s", "Slow to about 2.4 g/s", "Slow to about 120 g/s", "Slow to a dribble",
		"Add 0.5 g (about 1 drop)", "Add 0.5 g (about 17 drops)", "Add 0.5 g"}, texts)
}
