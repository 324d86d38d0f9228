package main

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// The stations: what each is doing, and loud when nothing is heard of it.
func TestBrowserShowsTheStationsAndWhenTheyAreOld(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 35, Hand: quickHand})
	tile := func(says string) {
		b.until(fmt.Sprintf(`document.querySelector(".station")?.innerText.includes(%q)`, says))
	}
	b.page(d, "/", `document.querySelectorAll(".station").length === 1`)
	tile("Free")
	tile("scale alive")
	links := read[[]string](b, `[...document.querySelectorAll("a")].map(a => a.getAttribute("href"))`)
	require.ElementsMatch(t, []string{"/materials", "/records", "/bench/bench-1", "/start/bench-1", "/scale/bench-1", "/materials/+"}, links)
	b.fits()
	b.readable(t)

	d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 600}})
	tile("Place the cup")
	require.NoError(t, d.bench.Do("auto", 0))
	tile("A Pour")
	tile("Harbour clear casting resin · ")
	tile("of 400.0 g")
	b.shoot("stations")
	d.bench.Power(false)
	tile("scale silent")
	b.shoot("stations-silent")
	b.do(chromedp.Evaluate[chromedp.Void](`window.fetch = () => Promise.reject(new TypeError("gone"))`))
	b.until(`document.querySelector(".station.old .struck") !== null && document.getElementById("alarm").textContent.includes("What stands below is old")`)
	tile("no answer for")
	b.shoot("stations-old")
	b.ordersAndWords(t)
	b.quiet(d.address)
}

// ordersAndWords: where a clock runs out first stands first, and what is said of a station.
func (b *tab) ordersAndWords(t *testing.T) {
	order := awaited(b, `import("/static/index.js").then(({firstEnd}) => [
		{name: "none", clocks: []}, {name: "late", clocks: [{ends: "2026-01-01T10:20:00Z"}]},
		{name: "soon", clocks: [{ends: "2026-01-01T12:00:00Z"}, {ends: "2026-01-01T10:05:00Z"}]}, {name: "unknown", clocks: [{ends: null}]},
	].sort((a, b) => firstEnd(a) - firstEnd(b) || 0).map(s => s.name))`)
	require.Equal(t, []string{"unknown", "soon", "late", "none"}, order)

	said := awaited(b, `import("/static/index.js").then(({words}) => {
		const scale = {link: "up", state: "normal", shown: "12.0 g", value_g: 12, age_ms: 40, stable: true, advice: null, division_g: 0.1};
		const parts = [{part: "A", poured_g: 0, target_g: 10, accepted: false}];
		const batch = {phase: "pour", cue: "pour", part: "A", band: "below", provable: true, question: null, parts, target_g: 10, poured_g: 2.5, low_g: 9.8, high_g: 10.2, ratio_error_pct: null,
			pot_life: {started: "2026-01-01T10:00:00Z", ends: "2026-01-01T10:20:00Z", basis: "card"}};
		const at = {at: "2026-01-01T10:05:00Z", scale, scales: [], clocks: [], ledger: null};
		const texts = (snap, age) => (w => [w.doing, w.progress, w.clock, w.scale, w.shown, w.advice])(words(snap, age, "Quay grey"));
		return [...texts({...at, batch: null}, 0), ...texts({...at, batch}, 1000), ...texts({...at, batch: null, scale: {...scale, link: "down", advice: "plug it in"}}, 7000)];
	})`)
	require.Equal(t, []string{
		"Free", "", "", "scale alive,", "12.0 g", "",
		"A Pour", "Quay grey · 2.5 of 10.0 g", "pot life 14:59", "scale alive,", "12.0 g", "",
		"No reading for 7 s", "", "", "no answer for 7 s; then scale lost,", "12.0 g", "plug it in",
	}, said)
}
