package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station"
)

// emptyDaemon is a daemon on a simulated scale whose data folder was empty.
func emptyDaemon(t *testing.T) (address string) {
	t.Helper()
	bench, err := newSimulation(simulator.Options{Seed: 33})
	require.NoError(t, err)
	d, err := openDaemon("127.0.0.1:0", t.TempDir(), streams{nil, io.Discard, io.Discard})
	require.NoError(t, err)
	cfg, err := demoStation(bench)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- d.run(ctx, []station.Config{cfg}, nil, func(ctx context.Context, benches []*station.Station) { bench.start(ctx, benches[0], d.log) })
	}()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
		bench.end()
	})
	live := dialUntilUp(t, d.listener.Addr().String())
	defer live.Close()
	waitFor(t, live, func(s station.Snapshot) bool { return s.Scale.Stable })
	return d.listener.Addr().String()
}

// A newcomer comes from an empty data folder to a batch of a material of their own by the pages alone.
func TestBrowserLeadsANewcomerToABatchOfTheirOwn(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := runningDemo{address: emptyDaemon(t)}
	b.page(d, "/", `!document.getElementById("newcomer").hidden && document.querySelectorAll(".station").length === 1`)
	b.shoot("stations-empty")
	b.goes(b.click("#newcomer a"), `location.pathname === "/materials/+" && !document.getElementById("card").hidden`)
	b.shoot("material-new")
	write := func(texts ...string) {
		for i := 0; i < len(texts); i += 2 {
			b.do(chromedp.SetValue(fmt.Sprintf(`[name=%q]`, texts[i]), texts[i+1]))
		}
	}
	save := chromedp.Click("#save button")
	wrong := func(field, says string) {
		b.until(fmt.Sprintf(`document.getElementById("fault-" + %q).textContent.includes(%q)`, field, says))
	}
	write("name", "Quay grey", "id", "Quay Grey", "pot_life.time", "20 min", "density.a", "1,10")
	b.do(save)
	wrong("density.a", "Write a point")
	write("density.a", "1.10")
	b.do(save)
	wrong("id", "a-z, 0-9 and -")
	wrong("ratio.weight.a", "by weight, by volume, or both")
	wrong("pot_life.time", "did you mean 20m?")
	require.Equal(t, "id", read[string](b, "document.activeElement.name"), "the first that is wrong, in the form's order, after the name")
	b.shoot("material-faults")
	write("id", "quay-grey", "pot_life.time", "20m", "ratio.weight.a", "100", "ratio.weight.b", "50.0", "mix.time", "3m", "mix.scrape_every", "45s",
		"cautions", "B stains.\nKeep it dry.", "tolerance_pct.low", "1", "tolerance_pct.high", "3")
	b.do(save)
	b.until(`document.getElementById("done").innerText.includes("Saved as revision 1") && document.querySelector("#done a") !== null`)
	require.Equal(t, "/materials/quay-grey", read[string](b, "location.pathname"))
	b.shoot("material-saved")
	card := get[map[string]json.RawMessage](t, d, "/materials/quay-grey")
	for field, want := range map[string]string{
		"ratio": `{"weight":{"a":100,"b":50.0}}`, "tolerance_pct": `{"high":3,"low":-1}`, "density": `{"a":1.10}`, "pot_life": `{"time":"20m"}`,
		"steps": `[{"step":"mix","time":"3m","scrape_every":"45s"}]`, "cautions": `["B stains.","Keep it dry."]`,
	} {
		require.Equal(t, want, string(card[field]), field)
	}
	require.NotContains(t, card, "sds", "what was not written is not stated")

	b.goes(chromedp.Click("#done a"), `location.pathname === "/start/bench-1"`)
	b.until(startReady)
	b.do(b.click(key1), b.click(key5), b.click(key0))
	b.targets("A 100.0 g, then B 50.0 g")
	b.do(b.click("#go"))
	b.says("Start")
	require.Contains(t, read[string](b, `document.getElementById("plan").innerText`), "B stains.")
	record := b.begun(d, later(b.click("#go")))
	require.Equal(t, "quay-grey", record.Material)
	b.quiet404(d.address)
}

// quiet404 is quiet, but for what the browser itself says of an answer that refuses.
func (b *tab) quiet404(address string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.console {
		require.Contains(b.t, line, "Failed to load resource")
	}
	for _, url := range b.requests {
		require.Contains(b.t, url, "http://"+address+"/")
	}
}

// A card that is changed on the page keeps what the page has no field for, and the digits of every figure.
func TestBrowserKeepsWhatTheCardsFormHasNoFieldFor(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 34})
	raw := func(id string) (fields map[string]json.RawMessage) {
		return get[map[string]json.RawMessage](t, d, "/materials/"+id)
	}
	for _, id := range []string{"breakwater-tooling", "limpet-skin", "gannet-laminate"} {
		before := raw(id)
		b.page(d, "/materials/"+id, `!document.getElementById("card").hidden`)
		b.do(chromedp.SetValue(`[name="sds.a"]`, "the yellow folder, page 3"), chromedp.Click("#save button"))
		b.until(`document.getElementById("done").innerText.includes("Saved as revision 2")`)
		after := raw(id)
		require.Contains(t, string(after["sds"]), "yellow folder")
		require.Equal(t, "2", string(after["revision"]))
		for _, own := range []string{"sds", "revision"} {
			delete(before, own)
			delete(after, own)
		}
		require.Equal(t, before, after, "byte by byte")
	}
	b.shoot("material-long")
	require.Contains(t, read[string](b, `document.querySelector("#whole pre").textContent`), "accelerator")

	// Two people at one card: the second does not write over the first unseen.
	status, _ := d.send(t, "PUT", "/materials/gannet-laminate", `{"id":"gannet-laminate","name":"Gannet","ratio":{"weight":{"a":100,"b":2}}}`)
	require.Equal(t, http.StatusOK, status)
	b.do(chromedp.Click("#save button"))
	b.until(`document.getElementById("refusal").textContent.includes("is revision 3 now")`)
	b.quiet(d.address)

	b.page(d, "/materials", `document.querySelectorAll("#cards li").length === 7`)
	b.shoot("materials")
	b.fits()
	b.readable(t)
}
