package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/plan"
)

// page opens one of the pages of the start and waits until it has what it shows.
func (b *tab) page(d runningDemo, path, ready string) {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+path))
	b.until(ready)
}

const startReady = `document.body.dataset.ready !== undefined`

// says waits until the one button of the start says what comes next.
func (b *tab) says(word string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`document.getElementById("go").textContent === %q`, word))
}

// targets waits for the line of the targets.
func (b *tab) targets(text string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`document.querySelector("#outcome b").textContent.replaceAll("\u00a0", " ") === %q`, text))
}

// startedBatch is a record, without its events.
type startedBatch struct {
	batch.View
	Plan plan.Plan
	Lots map[string][]string
}

// begun is the batch that the page has gone to the bench for; it is given up at once, so that the next can start.
func (b *tab) begun(d runningDemo, step chromedp.Action[chromedp.Void]) startedBatch {
	b.t.Helper()
	b.goes(step, `location.pathname === "/bench/bench-1"`)
	snap := get[station.Snapshot](b.t, d, "/stations/bench-1")
	require.NotNil(b.t, snap.Batch)
	status, answer := d.post(b.t, "/batches/"+snap.Batch.ID+"/actions", `{"action":"abandon","reason":"test"}`)
	require.Equal(b.t, http.StatusOK, status, string(answer))
	var record startedBatch
	require.NoError(b.t, json.Unmarshal(answer, &record))
	return record
}

// later does a step once no button is dead any more: a second tap of the same hand does nothing.
func later(step chromedp.Action[chromedp.Void]) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		if _, err := chromedp.Poll[bool](`document.querySelector("[data-dead]") === null`, chromedp.WithPollingTimeout(time.Minute))(ctx, t); err != nil {
			return chromedp.Void{}, err
		}
		return step(ctx, t)
	}
}

func (b *tab) middle(selector string) (x, y float64) {
	b.t.Helper()
	at := read[[]float64](b, fmt.Sprintf(`(r => [r.x + r.width / 2, r.y + r.height / 2, r.width, innerWidth, innerHeight])(document.querySelector(%q).getBoundingClientRect())`, selector))
	require.Positive(b.t, at[2], selector)
	require.True(b.t, at[0] > 0 && at[0] < at[3] && at[1] > 0 && at[1] < at[4], "%s is on the screen without scrolling: %v", selector, at)
	return at[0], at[1]
}

// touch is a finger on the middle of something.
func (b *tab) touch(selector string) chromedp.Action[chromedp.Void] {
	b.t.Helper()
	x, y := b.middle(selector)
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: x, Y: y}}})
		if err == nil {
			_, err = cdp.Call(ctx, t, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}})
		}
		return chromedp.Void{}, err
	}
}

func (b *tab) click(selector string) chromedp.Action[chromedp.Void] {
	b.t.Helper()
	return chromedp.MouseClickXY(b.middle(selector))
}

const (
	harbour  = `#materials label:has([value="harbour-clear"])`
	key1     = `.keypad [data-key="1"]`
	key5     = `.keypad [data-key="5"]`
	key0     = `.keypad [data-key="0"]`
	keyPoint = `.keypad [data-key="."]`
	keyBack  = `.keypad [data-key="Delete"]`
)

// A batch is started by each hand alone: a mouse, a finger, a keyboard, a scanner.
func TestBrowserStartsABatchByEveryHand(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 31})

	b.page(d, "/start/bench-1", startReady)
	b.shoot("start-empty")
	b.byMouse(t, d)
	b.page(d, "/start/bench-1", startReady)
	b.byTouch(t, d)
	b.page(d, "/start/bench-1", startReady)
	b.byKeyboard(t, d)
	b.page(d, "/start/bench-1", startReady)
	b.byScans(t, d)
	b.quiet(d.address)
}

func (b *tab) byMouse(t *testing.T, d runningDemo) {
	b.says("Choose a material")
	b.do(b.click(harbour))
	b.says("Type the amount")
	b.keysOfAGlove(t)
	b.do(b.click(key1), b.click(key5), b.click(key0), b.click(keyPoint), b.click(key5), b.click(keyBack), b.click(key5))
	require.Equal(t, "150.5", read[string](b, `document.querySelector('[name="quantity"]').value`))
	b.targets("A 100.3 g, then B 50.2 g") // 150.5 g at 2 to 1: 100.3333 and 50.1667
	b.shoot("start-amount")
	b.do(b.click("#go"), b.click("#go")) // the second tap of the same hand
	b.says("Start")
	require.Equal(t, "/start/bench-1", read[string](b, "location.pathname"))
	require.Contains(t, read[string](b, `document.getElementById("plan").innerText`), "Gloves and eye protection")
	b.shoot("start-checks")
	record := b.begun(d, later(b.click("#go")))
	require.Equal(t, "harbour-clear", record.Material)
	require.Equal(t, "150.5 g", record.Plan.TotalG.String())
}

// keysOfAGlove measures the keys of the pad on a panel of 7 inches with 1024x600 dots: 20 mm each, and all of them on it.
func (b *tab) keysOfAGlove(t *testing.T) {
	const dotsPerMM = 1186.8 / 177.8 // the diagonal in dots and in mm
	require.InDelta(t, math.Hypot(1024, 600)/(7*25.4), dotsPerMM, 0.01)
	keys := read[[][]float64](b, `[...document.querySelectorAll(".keypad button")].map(k => (r => [r.width, r.height, r.left, r.top, r.right, r.bottom])(k.getBoundingClientRect()))`)
	require.Len(t, keys, 12)
	for _, k := range keys {
		require.GreaterOrEqual(t, min(k[0], k[1])/dotsPerMM, 20.0)
		require.True(t, k[2] >= 0 && k[3] >= 0 && k[4] <= 1024 && k[5] <= 600, "%v", k)
	}
	t.Logf("a key is %.1f by %.1f mm on the 7-inch panel", keys[0][0]/dotsPerMM, keys[0][1]/dotsPerMM)
}

func (b *tab) byTouch(t *testing.T, d runningDemo) {
	b.do(chromedp.EmulateViewport(1024, 600, chromedp.EmulateTouch))
	b.until(`document.querySelector("#again-targets").textContent.replaceAll("\u00a0", " ") === "A 100.3 g, then B 50.2 g"`)
	b.shoot("start-again")
	b.do(chromedp.EmulateViewport(1024, 600, chromedp.EmulateTouch))
	record := b.begun(d, later(b.touch("#again-start"))) // one tap
	require.Equal(t, "150.5 g", record.Plan.TotalG.String())

	b.page(d, "/start/bench-1", startReady)
	require.Zero(t, read[int](b, `(() => { // a tap that was meant for what stood there before
		let sent = 0;
		const real = window.fetch, again = document.getElementById("again-start");
		window.fetch = () => { sent++; return Promise.reject(new TypeError("counted")); };
		again.dataset.dead = "";
		again.click();
		delete again.dataset.dead;
		window.fetch = real;
		return sent;
	})()`))
	b.do(chromedp.EmulateViewport(1024, 600, chromedp.EmulateTouch), b.touch(`[data-opens="material"]`))
	b.do(b.touch(harbour))
	b.do(b.touch(`.ways label:has([value="volume_ml"])`))
	b.do(b.touch(`[name="quantity"]`))
	b.do(b.touch(key1), b.touch(key0), b.touch(key0))
	b.do(b.touch(`[name="allowance"]`))
	b.do(b.touch(key1), b.touch(key0))
	b.until(`document.getElementById("unit").textContent === "mL"`)
	b.targets("A 79.2 g, then B 39.6 g") // 100 mL of 1.08 g/mL and a tenth more: 118.8 g, at 2 to 1
	b.do(b.touch(`[data-opens="cup"]`))
	b.do(b.touch(`[name="cup_volume"]`))
	b.do(b.touch(key1), b.touch(key5), b.touch(key0))
	b.until(`document.querySelector("#verdicts .level")?.dataset.level === "stop"`)
	b.do(b.touch("#outcome"))
	require.Contains(t, read[string](b, `document.getElementById("plan").innerText`), "use a cup of at least")
	b.shoot("start-stop")
	b.do(chromedp.EmulateViewport(1024, 600, chromedp.EmulateTouch))
	b.says("Start")
	record = b.begun(d, later(b.touch("#go")))
	require.Equal(t, []string{"cup_volume"}, record.Plan.OpenChecks())
	require.Equal(t, "118.8 g", record.Plan.TotalG.String())
}

func (b *tab) byKeyboard(t *testing.T, d runningDemo) {
	type_ := func(text string) {
		for _, r := range text { // as slowly as the page can follow: a burst would be a scanner's
			b.do(chromedp.KeyEvent(string(r)))
		}
	}
	require.Equal(t, "again-start", read[string](b, "document.activeElement.id"), "Enter would make the last one again")
	type_("\t\t") // past the way to change it
	require.Equal(t, "material", read[string](b, "document.activeElement.dataset.opens"))
	b.do(chromedp.KeyEvent("\r"))
	b.until(`document.activeElement.name === "material"`)
	for range 7 {
		if read[string](b, `document.querySelector("#materials :checked")?.value ?? ""`) == "cobble-rubber" {
			break
		}
		b.do(chromedp.KeyEvent(kb.ArrowDown))
	}
	b.do(chromedp.KeyEvent("\r"))
	b.until(`document.activeElement.name === "quantity"`)
	type_("90")
	b.targets("A 30.0 g, then B 60.0 g")
	b.do(chromedp.KeyEvent("\r"))
	b.until(`document.activeElement.id === "go" && document.activeElement.textContent === "Start"`)
	record := b.begun(d, later(chromedp.KeyEvent("\r")))
	require.Equal(t, "cobble-rubber", record.Material)
	require.Equal(t, "90 g", record.Plan.TotalG.String())
}

// reads is a scanner: a burst of keys, and Enter.
func reads(code string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{
		const at = document.activeElement ?? document.body;
		for (const key of [...%q, "Enter"]) {
			if (at.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true})) && key !== "Enter" && "value" in at) at.value += key;
			at.dispatchEvent(new KeyboardEvent("keyup", {key, bubbles: true, cancelable: true}));
		}
	}`, code))
}

func (b *tab) byScans(t *testing.T, d runningDemo) {
	notice := func(says string) {
		b.until(fmt.Sprintf(`document.getElementById("notice").textContent.includes(%q)`, says))
	}
	record := b.begun(d, reads("twocup:again"))
	require.Equal(t, "cobble-rubber", record.Material)
	b.page(d, "/start/bench-1", startReady)

	b.do(reads("0123-4"))
	notice("No card knows the code 0123-4")
	b.do(reads("twocup:material:nothing"))
	notice("no material nothing")
	b.do(reads("DEMO-HARBOUR-A"))
	notice("part A of Harbour clear")
	require.Equal(t, "harbour-clear", read[string](b, `document.querySelector("#materials :checked").value`))
	b.do(reads("LOT A 7"))
	b.do(reads("twocup:material:cobble-rubber"))
	b.do(reads("DEMO-HARBOUR-B")) // the wrong jug changes nothing
	notice("another material is chosen")
	require.Equal(t, "cobble-rubber", read[string](b, `document.querySelector("#materials :checked").value`))
	require.Empty(t, read[string](b, `document.querySelector('[name="lot_a"]').value`), "a lot is of the material it was scanned for")
	b.do(reads("twocup:material:harbour-clear"), reads("DEMO-HARBOUR-A"), reads("LOT A 7"), reads("DEMO-HARBOUR-B"), reads("LOT B 9"), reads("LOT B 10"))
	b.do(reads("twocup:start")) // too early
	b.says("Type the amount")
	b.do(reads("twocup:amount:part_a_g:100:10"))
	notice("allowance")
	b.do(reads("twocup:amount:part_a_g:100"))
	b.targets("A 100.0 g, then B 50.0 g")
	b.says("Start")
	record = b.begun(d, later(reads("twocup:start")))
	require.Equal(t, map[string][]string{"A": {"LOT A 7"}, "B": {"LOT B 9", "LOT B 10"}}, record.Lots)
	require.Equal(t, "150 g", record.Plan.TotalG.String())
}

// What the station refuses stands beside its field; a newer question's answer is the one that counts; a scale that is taken
// is said to be.
func TestBrowserSaysAtTheStartWhatDoesNotGo(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 32})
	b.page(d, "/start/bench-1?material=tidepool-soft", startReady)
	fault := func(field, says string) {
		b.until(fmt.Sprintf(`document.querySelector('[data-fault~=%q]').textContent.includes(%q)`, field, says))
	}
	quantity := func(text string) {
		b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const q = document.querySelector('[name="quantity"]'); q.value = %q; q.dispatchEvent(new Event("input", {bubbles: true})); }`, text)))
	}
	quantity("1,5")
	fault("quantity", "Write a point for decimals")
	b.says("Correct it")
	quantity("0")
	fault("quantity", "above zero")
	quantity("9e9")
	fault("quantity", "is no number")
	quantity("5000000")
	fault("quantity", "more than a tonne")
	b.shoot("start-fault")
	quantity("7000") // it can be planned, and not carried
	b.until(`document.querySelector("#verdicts .level")?.dataset.level === "stop"`)
	b.do(b.click("#go"))
	b.says("Start")
	b.do(later(b.click("#go")))
	fault("quantity", "capacity")
	require.Equal(t, "/start/bench-1", read[string](b, "location.pathname"))

	// Typing on while an answer is on its way: only the newest counts.
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = window.fetch; let first = true;
		window.fetch = async (url, o) => {
			const answer = await real(url, o), held = first && String(url).endsWith("/plan");
			if (!held) return answer;
			first = false;
			await new Promise(go => { window.letGo = go; });
			const text = await answer.text();
			return { ok: true, headers: answer.headers, text: async () => { setTimeout(() => { window.delivered = true; }); return text; } };
		}; }`))
	quantity("100")
	b.until("window.letGo !== undefined")
	quantity("200")
	b.targets("A 92.2 g, then B 107.8 g") // 1.042 : 1.218 of 200 g
	b.do(chromedp.Evaluate[chromedp.Void]("window.letGo()"))
	b.until("window.delivered")
	b.targets("A 92.2 g, then B 107.8 g")

	d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 300}})
	b.until(`document.getElementById("busy").innerText.includes("Harbour clear casting resin is on the scale")`)
	require.Equal(t, "/bench/bench-1", read[string](b, `new URL(document.querySelector("#busy a").href).pathname`))
	b.says("The scale is taken")
	b.shoot("start-busy")
}

// What others change while a page stays open: the card, and which batch was the last one. No target of an older card stands
// there, and what starts is of the card that was seen.
func TestBrowserStartFollowsWhatOthersChange(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 38})
	share := func(b string) {
		status, answer := d.send(t, "PUT", "/materials/limpet-skin", `{"id":"limpet-skin","name":"Limpet","ratio":{"weight":{"a":100,"b":`+b+`}},"cautions":["B of `+b+` stains."]}`)
		require.Equal(t, http.StatusOK, status, string(answer))
	}
	share("50")
	b.page(d, "/start/bench-1?material=limpet-skin", startReady)
	b.do(b.click(key1), b.click(key5), b.click(key0))
	b.targets("A 100.0 g, then B 50.0 g")
	b.do(b.click("#go"))
	b.says("Start")
	share("25")
	b.targets("A 120.0 g, then B 30.0 g")
	b.until(`document.getElementById("plan").innerText.includes("B of 25 stains.")`)
	require.Contains(t, read[string](b, `document.getElementById("notice").textContent`), "has been changed meanwhile")

	// Changed again in the moment of the tap: the page knows of revision 3 and the card is at 4.
	b.do(chromedp.Evaluate[chromedp.Void](`{ const real = window.fetch; window.fetch = (url, o) => String(url).endsWith("/plan") ? new Promise(() => {}) : real(url, o); }`))
	share("10")
	b.do(later(b.click("#go")))
	b.until(`document.getElementById("notice").textContent.includes("is revision 4, and 3 was looked at")`)
	require.Nil(t, get[station.Snapshot](t, d, "/stations/bench-1").Batch)

	// Another display makes a batch: that is the last one now.
	id := d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 300}})
	b.page(d, "/start/bench-1", startReady)
	b.until(`document.getElementById("again-targets").textContent.replaceAll("\u00a0", " ") === "A 200.0 g, then B 100.0 g"`)
	status, answer := d.post(t, "/batches/"+id+"/actions", `{"action":"abandon","reason":"test"}`)
	require.Equal(t, http.StatusOK, status, string(answer))
	d.start(t, map[string]any{"material": "cobble-rubber", "amount": map[string]any{"total_g": 90}})
	b.until(`document.getElementById("again-targets").textContent.replaceAll("\u00a0", " ") === "A 30.0 g, then B 60.0 g"`)
}

// What is typed is what is planned, to the last field, and no fault stands at a field that is not there.
func TestBrowserStartMarksNoFieldThatIsNotThere(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 39})
	b.page(d, "/start/bench-1?material=gannet-laminate", startReady)
	fill := func(name, text string) {
		b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{ const q = document.querySelector('[name=%q]'); q.value = %q; q.dispatchEvent(new Event("input", {bubbles: true})); }`, name, text)))
	}
	fill("quantity", "300")
	fill("share", "0")
	b.until(`document.querySelector('[data-fault~="share"]').textContent.includes("must be from 1 to 2.5")`)
	require.Equal(t, "true", read[string](b, `document.querySelector('[name="share"]').getAttribute("aria-invalid")`))
	fill("share", "")
	fill("allowance", "ten")
	b.says("Correct it")
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('[value="part_a_g"]').click()`))
	b.says("Look it over")
	fill("operator", "Ada\u200b") // no eye tells it from another
	b.do(b.click("#go"))
	b.says("Start")
	b.do(later(b.click("#go")))
	b.until(`document.querySelector('[data-fault="operator"]').textContent.includes("can't be told")`)
	b.says("Correct it")
	b.do(b.click("#go"))
	require.Equal(t, "operator", read[string](b, "document.activeElement.name"))
}

// Every page of the start can be read and named: contrast of every text (WCAG 2.2, 1.4.3: 4.5 to 1), the name of every control
// (4.1.2), and no page is wider than a phone (1.4.10, at 390 here).
func TestBrowserPagesOfTheStartCanBeReadAndNamed(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 37})
	status, answer := d.post(t, "/materials", `{"id":"long-name","name":"<i>`+strings.Repeat("Verylong", 40)+`","ratio":{"weight":{"a":100,"b":50}}}`)
	require.Equal(t, http.StatusCreated, status, string(answer))
	for _, page := range []struct{ path, ready string }{
		{"/start/bench-1", startReady},
		{"/start/bench-1?material=long-name", startReady},
		{"/materials/long-name", `!document.getElementById("card").hidden`},
		{"/materials", `document.querySelector("#cards li") !== null`},
		{"/start/bench-1?material=gannet-laminate", startReady},
		{"/materials/+", `!document.getElementById("card").hidden`},
		{"/materials/breakwater-tooling", `!document.getElementById("card").hidden`},
	} {
		b.page(d, page.path, page.ready)
		panels := []string{""}
		if page.path[:6] == "/start" {
			panels = []string{"material", "amount", "cup", "lots", "who", "checks"}
		}
		for _, p := range panels {
			if p != "" {
				b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`document.querySelector('[data-opens=%q]').click()`, p)))
			}
			b.fits()
			b.readable(t)
		}
	}

	// What the keyboard has reached is not hidden under what stays in sight (2.4.11).
	d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 300}}) // the most that the page has to show
	for _, path := range []string{"/start/bench-1", "/start/bench-1?material=harbour-clear"} {
		for _, size := range [][2]int64{{1024, 600}, {390, 844}} {
			b.page(d, path, startReady+` && !document.getElementById("busy").hidden && (document.getElementById("again").hidden || document.querySelector("#verdicts .level") !== null)`)
			b.do(chromedp.EmulateViewport(size[0], size[1]))
			for range 14 {
				b.do(chromedp.KeyEvent("\t"))
				covered := read[string](b, `(e => {
					const r = e.getBoundingClientRect(), at = y => document.elementFromPoint(r.x + r.width / 2, y);
					return e === document.body || [r.top + 8, r.bottom - 8].every(y => e.contains(at(y)) || at(y)?.contains(e)) ? "" : e.outerHTML;
				})(document.activeElement)`)
				require.Empty(t, covered, "at %v", size)
			}
		}
	}

	// On a phone in the hand the pad is whole and the targets stay in sight while one types.
	b.page(d, "/start/bench-1?material=harbour-clear", startReady)
	b.do(chromedp.EmulateViewport(390, 844), chromedp.Evaluate[chromedp.Void](`document.querySelector('[data-opens="amount"]').click()`))
	for _, selector := range []string{keyPoint, key1, `[name="quantity"]`, "#outcome b"} {
		b.until(fmt.Sprintf(`(e => { const r = e.getBoundingClientRect(); return e.contains(document.elementFromPoint(r.x + r.width / 2, r.bottom - 6)); })(document.querySelector(%q))`, selector))
	}
	b.quiet(d.address)
}
