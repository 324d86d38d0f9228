package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/scaledrv/reading"
	"twocup/simulator"
	"twocup/station"
	"twocup/station/batch"
	"twocup/station/ledger"
)

// hostile is a text that breaks a page which takes texts for markup, or lets one run out of its place.
var hostile = `<script>window.broken=1</script><img src=x onerror="window.broken=1">"'&amp; ` + strings.Repeat("M", 300)

// brief is a record, without its events.
type brief struct {
	batch.View
	Created  time.Time
	Operator string
}

func get[T any](t *testing.T, d runningDemo, path string) (v T) {
	t.Helper()
	response, err := http.Get("http://" + d.address + "/api/v1" + path)
	require.NoError(t, err)
	defer response.Body.Close()
	require.Equal(t, http.StatusOK, response.StatusCode)
	require.NoError(t, json.NewDecoder(response.Body).Decode(&v))
	return v
}

func (d runningDemo) start(t *testing.T, order map[string]any) (id string) {
	t.Helper()
	body, err := json.Marshal(order)
	require.NoError(t, err)
	status, answer := d.post(t, "/stations/bench-1/batches", string(body))
	require.Equal(t, http.StatusCreated, status, string(answer))
	var record brief
	require.NoError(t, json.Unmarshal(answer, &record))
	return record.ID
}

// weighOut makes one batch with the demo's hand, which waits until while has been done.
func (d runningDemo) weighOut(t *testing.T, while func(id string)) brief {
	t.Helper()
	live := dialUntilUp(t, d.address)
	defer live.Close()
	id := d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 150}, "operator": hostile,
		"lots": map[string]any{"A": []string{hostile}, "B": []string{"lot 7"}}})
	while(id)
	require.NoError(t, d.bench.Do("auto", 0))
	waitFor(t, live, func(s station.Snapshot) bool { return s.Batch != nil && s.Batch.Verdict != nil })
	waitFor(t, live, func(s station.Snapshot) bool { return s.Batch == nil })
	return get[brief](t, d, "/batches/"+id)
}

// twinID is a batch with the facts of a weighed one, and with a trace that the test knows.
const twinID = "00000000-0000-7000-8000-000000000001"

// addTwin gives the twin's last value, which its last weighing ended with.
func addTwin(t *testing.T, l *ledger.Ledger, id string) (last reading.Mass) {
	t.Helper()
	entries, err := l.Entries(t.Context(), id)
	require.NoError(t, err)
	var facts []batch.Fact
	var trace []ledger.TracePoint
	add := func(at time.Time, m reading.Mass) {
		for n := range 11 { // a ramp of one second, and then nothing new until the next
			trace = append(trace, ledger.TracePoint{At: at.Add(time.Duration(n-10) * 100 * time.Millisecond), Mass: last + (m-last)*reading.Mass(n)/10, Step: reading.Gram / 10})
		}
		last = m
	}
	for _, e := range entries {
		switch f := e.Fact.(type) {
		case batch.Started:
			f.ID = twinID
			e.Fact = f
		case batch.CupTaken:
			add(f.At, reading.Mass(f.Reference))
		case batch.Accepted:
			add(f.At, reading.Mass(f.Weighings[len(f.Weighings)-1].To))
		}
		facts = append(facts, e.Fact)
	}
	require.NoError(t, l.Append(t.Context(), twinID, facts...))
	require.NoError(t, l.AppendTrace(t.Context(), twinID, trace))
	return last
}

func TestTheRecordsInABrowser(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 21, Hand: quickHand})
	l := d.ledger
	var given string
	for range 50 {
		id := d.start(t, map[string]any{"material": "cobble-rubber", "amount": map[string]any{"total_g": 300}})
		status, answer := d.post(t, "/batches/"+id+"/actions", `{"action":"abandon","reason":"not today"}`)
		require.Equal(t, http.StatusOK, status, string(answer))
		given = id
	}
	records := "http://" + d.address + "/records"
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/"))
	b.goes(chromedp.Click(`[href="/records"]`), `location.pathname === "/records"`)
	b.until(`document.querySelectorAll("#batches tbody tr").length === 50 && document.getElementById("next").hidden`)
	made := d.weighOut(t, func(id string) {
		b.do(chromedp.Navigate(records))
		b.until(fmt.Sprintf(`document.querySelector("#batches tbody tr:first-child td:last-child a")?.getAttribute("href") === "/bench/bench-1" &&
			document.querySelector("#batches tbody tr a").getAttribute("href") === "/records/%s"`, id))
		b.do(chromedp.Navigate(records + "/" + id))
		b.until(`document.querySelector("#now a")?.getAttribute("href") === "/bench/bench-1" && document.querySelector("#verdict").innerText === "no verdict yet"`)
		b.do(chromedp.Navigate(records + "/" + given)) // one of which there is little to say
		b.until(`document.getElementById("plot-text").textContent !== "" && document.querySelector("#verdict").innerText === "given up"`)
		require.False(t, read[bool](b, `document.getElementById("note-form").checkVisibility() || document.getElementById("now").checkVisibility()`))
		require.Contains(t, read[string](b, `document.getElementById("events").textContent`), "Given up: not today")
	})
	last := addTwin(t, l, made.ID)

	b.showsTheList(t, d, made, records)
	b.filters(t, d, records)
	b.showsTheRecord(t, d, made, records, last)
	b.saysHowItStands(t)
	b.saysWhatHappened(t)
	b.takesANote(t, d)
	b.quiet(d.address)

	b.do(chromedp.Navigate(records + "?from=yesterday")) // which the browser complains of by itself
	b.until(`document.getElementById("alarm").textContent.includes("yesterday") && document.getElementById("batches").hidden`)
}

// goes does what leads to another page, and waits until that is the one wanted. Between two pages there is nothing to ask.
func (b *tab) goes(step chromedp.Action[chromedp.Void], wanted string) {
	b.t.Helper()
	b.do(step)
	b.arrives(wanted)
}

// arrives waits for something to hold in a page that may be on its way to another one.
func (b *tab) arrives(wanted string) {
	b.t.Helper()
	require.Eventually(b.t, func() bool {
		there, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](wanted))
		return err == nil && there
	}, time.Minute, 20*time.Millisecond, wanted)
}

// fits says that a page is no wider than each of the three displays.
func (b *tab) fits() {
	b.t.Helper()
	for _, size := range [][2]int64{{1920, 1080}, {390, 844}, {1024, 600}} {
		b.do(chromedp.EmulateViewport(size[0], size[1]))
		require.LessOrEqual(b.t, read[int](b, "document.documentElement.scrollWidth"), int(size[0]))
	}
}

// rows that the list shows, each as its cells' texts.
func (b *tab) rows(condition string) [][]string {
	b.t.Helper()
	b.until(`document.getElementById("count").textContent !== "" && ` + condition)
	return read[[][]string](b, `[...document.querySelectorAll("#batches tbody tr")].map(tr => [...tr.cells].map(td => td.innerText))`)
}

// shown is a figure of the API as the page writes it, with the scale's one decimal.
func shown(x float64) string {
	return strings.ReplaceAll(strconv.FormatFloat(x, 'f', 1, 64), "-", "\u2212")
}

func (b *tab) showsTheList(t *testing.T, d runningDemo, made brief, records string) {
	b.do(chromedp.Navigate(records))
	rows := b.rows(`document.querySelectorAll("#batches tbody tr").length === 50`)
	row := rows[0] // the twin has the same time, and the smaller id
	require.Equal(t, made.Created.Local().Format("2006-01-02 15:04"), row[0])
	require.Equal(t, "Harbour clear casting resin", row[1])
	require.Equal(t, "bench-1", row[2])
	require.Equal(t, hostile, row[3])
	for i, name := range []string{"A", "B"} {
		p := made.Parts[i]
		require.Equal(t, name, p.Part.Part)
		require.Contains(t, row[4+i], shown(p.Poured.Grams())+"\nof ")
	}
	require.Regexp(t, `^[+−]?\d\.\d\d %`, row[6])
	text, _, _ := strings.Cut(row[6], " %")
	shownError, err := strconv.ParseFloat(strings.ReplaceAll(text, "\u2212", "-"), 64)
	require.NoError(t, err)
	require.InDelta(t, *made.Error, shownError, 0.005+1e-9)
	require.Contains(t, row[6], fmt.Sprintf("±%.2f\u00a0%%", *made.U))
	require.Equal(t, "within", row[7])
	require.Equal(t, "green", read[string](b, `document.querySelector("#batches tbody .sign").dataset.ground`))
	require.Equal(t, []string{"given up"}, rows[5][7:])
	require.NotEqual(t, "green", read[string](b, `document.querySelector("#batches tbody tr:nth-child(6) .sign").dataset.ground`))
	b.fits()
	b.shoot("records")

	b.goes(chromedp.Click("#next"), `location.search.includes("cursor=")`)
	require.Len(t, b.rows(`document.getElementById("next").hidden`), 2)
}

func (b *tab) filters(t *testing.T, d runningDemo, records string) {
	b.do(chromedp.Navigate(records))
	b.rows(`document.querySelectorAll("#batches tbody tr").length === 50`)
	b.do(chromedp.Evaluate[chromedp.Void](`addEventListener("unload", () => {})`)) // such a page is loaded anew by the back button, not thawed
	b.do(chromedp.SetValue(`#filter [name="verdict"]`, "within"), chromedp.SetValue(`#filter [name="material"]`, "harbour-clear"))
	b.goes(chromedp.Click("#filter button"), `location.search === "?material=harbour-clear&verdict=within"`)
	require.Len(t, b.rows("true"), 2)
	require.Equal(t, "within", read[string](b, `document.querySelector('#filter [name="verdict"]').value`))
	csv := read[string](b, `document.getElementById("csv").href`)
	response, err := http.Get(csv)
	require.NoError(t, err)
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	require.NoError(t, err)
	require.Equal(t, 3, strings.Count(string(text), "\n"), "a head and two batches")

	b.goes(chromedp.Evaluate[chromedp.Void]("history.back()"), `location.search === ""`)
	require.Len(t, b.rows(`document.querySelectorAll("#batches tbody tr").length === 50`), 50)
	const untouched = `document.querySelector('#filter [name="verdict"]').value === "" && document.querySelector('#filter [name="material"]').value === ""`
	require.True(t, read[bool](b, untouched))
	b.do(chromedp.SetValue(`#filter [name="verdict"]`, "within"), chromedp.Evaluate[chromedp.Void](`dispatchEvent(new PageTransitionEvent("pageshow", {persisted: true}))`)) // thawed
	b.until(untouched)

	// An instant in an address is the same instant in the form, whatever this display's time is, and stays as it came.
	const from = "2001-02-03T04:05:06.789+09:30"
	b.do(chromedp.Navigate(records + "?from=" + url.QueryEscape(from)))
	require.Len(t, b.rows(`document.querySelectorAll("#batches tbody tr").length === 50`), 50)
	require.EqualValues(t, time.Date(2001, 2, 2, 18, 35, 6, 0, time.UTC).UnixMilli(), read[int64](b, `Date.parse(document.querySelector('#filter [name="from"]').value)`))
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector('#filter [name="to"]').value = "2001-02-04T00:00"`))
	b.goes(chromedp.Click("#filter button"), `location.search.includes("to=")`)
	require.Empty(t, b.rows("true"))
	require.Contains(t, read[string](b, `document.getElementById("count").textContent`), "No batch")
	require.Equal(t, from, read[string](b, `new URLSearchParams(location.search).get("from")`))
	b.shoot("records-none")
}

// plotEnd reads the end of the curve off the axis as a person would, in grams, and how far from it the last ring stands,
// in pixels.
const plotEnd = `(() => {
  const numbers = (q, a) => document.querySelector(q).getAttribute(a).match(/-?[\d.]+/g).map(Number);
  const levels = [...document.querySelectorAll(".plot-level")].map(p => Number(p.getAttribute("d").match(/ ([\d.]+)H/)[1]));
  const grams = [...document.querySelectorAll(".plot-gram")].map(t => Number(t.textContent));
  const [x, y] = numbers(".plot-curve", "d").slice(-2), ring = [...document.querySelectorAll(".plot-mark")].at(-1);
  return [grams[0] + (y - levels[0]) * (grams.at(-1) - grams[0]) / (levels.at(-1) - levels[0]),
    Math.hypot(x - ring.getAttribute("cx"), y - ring.getAttribute("cy"))];
})()`

func (b *tab) showsTheRecord(t *testing.T, d runningDemo, made brief, records string, last reading.Mass) {
	b.do(chromedp.Navigate(records + "/" + made.ID)) // as the station left it
	b.until(`!document.getElementById("record").hidden && document.getElementById("plot-text").textContent !== ""`)
	trace := get[struct{ Points [][2]float64 }](t, d, "/batches/"+made.ID+"/trace")
	b.until(fmt.Sprintf(`!!document.querySelector("#plot svg") === %v`, len(trace.Points) > 0))

	b.do(chromedp.Navigate(records + "/" + twinID))
	b.until(`!!document.querySelector("#plot svg")`)
	require.Equal(t, "Harbour clear casting resin", read[string](b, `document.querySelector("h1").textContent`))
	require.Equal(t, "within", read[string](b, `document.querySelector("#verdict .sign").innerText`))
	rows := read[[][]string](b, `[...document.querySelectorAll("#parts tbody tr")].map(tr => [...tr.cells].map(c => c.innerText))`)
	require.Len(t, rows, len(made.Parts))
	for i, p := range made.Parts {
		require.Equal(t, []string{p.Part.Part, shown(p.Poured.Grams())}, rows[i][:2])
		require.Equal(t, shown(p.Low.Grams())+" to "+shown(p.High.Grams()), rows[i][3])
		require.Equal(t, "yes", rows[i][6])
	}
	page := read[string](b, `document.getElementById("record").textContent`)
	for _, says := range []string{
		"by " + hostile, "Lots of A" + hostile, "Lots of Blot 7", "revision 1", "A 100 : B 50 by weight: for every 100 g of A, 50 g of B: B is half of A.",
		"caution: exotherm. ", "never a diagnosis", "Soft all over", "The card asks for: mix 3m, scrape every 45s; second cup 1m.",
		"Verdict: within", fmt.Sprintf("to %s g at ", shown(last.Grams())), "B accepted at ",
	} {
		require.Contains(t, page, says)
	}
	require.Equal(t, 5, read[int](b, `document.querySelectorAll("#hints details").length`))
	end := read[[]float64](b, plotEnd)
	require.InDelta(t, last.Grams(), end[0], 0.05+1e-9)
	require.Less(t, end[1], 1.0)
	b.fits()
	require.InDelta(t, last.Grams(), read[[]float64](b, plotEnd)[0], 0.05, "after the page's width has changed")
	b.shoot("record")
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach(d => d.open = true); document.getElementById("mass").scrollIntoView()`))
	b.shoot("record-plot")
	b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("look").scrollIntoView()`))
	b.shoot("record-look")
}

// Another verdict than the twin's, by what the page's own code makes of such a record: green means nothing but within.
func (b *tab) saysHowItStands(t *testing.T) {
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`Promise.all([import("/static/record-text.js"), import("/static/record-events.js"), import("/static/record-hints.js"),
		fetch("/api/v1/batches/%s").then(r => r.json())]).then(([text, events, hints, twin]) => { window.ours = {...text, ...events, ...hints, twin}; }); undefined`, twinID)))
	b.until("window.ours !== undefined")
	for _, tt := range []struct{ name, with, word, ground, note, side string }{
		{"within", `{ratio_error_pct: 0.2}`, "within", "green", "too much B", "neither side"},
		{"unproven", `{verdict: "unproven", provable: true, ratio_error_pct: 1.9}`, "unproven", "unproven", "too much B", "B was over"},
		{"in doubt", `{verdict: "unproven", provable: false, doubt: "the cup was lifted"}`, "unproven", "unproven", "The cup was lifted", "can't be told"},
		{"within on a scale that can't prove it", `{provable: false}`, "unproven", "unproven", "", ""},
		{"outside", `{verdict: "outside", ratio_error_pct: -5}`, "outside", "over", "too little B", "A was over"},
		{"within and thrown away", `{phase: "scrapped"}`, "scrapped, was within", "plain", "uncertainty", ""},
		{"given up", `{phase: "abandoned", verdict: null, ratio_error_pct: null}`, "given up", "plain", "", "can't be told"},
		{"still on the scale", `{phase: "pour", part: "A", cue: "pour", verdict: null, ratio_error_pct: null}`, "no verdict yet", "plain", "", "can't be told"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := read[[]string](b, fmt.Sprintf(`(r => (s => [s.word, s.ground, s.note, ours.hintsOf(r).at(-1).says.at(-1)])(ours.standing(r, "±2 %%")))({...ours.twin, ...%s})`, tt.with))
			require.Equal(t, []string{tt.word, tt.ground}, got[:2])
			require.Contains(t, got[2], tt.note)
			require.Contains(t, got[3], tt.side)
		})
	}
	require.Equal(t, []string{"48.705882", "100.0", "\u22120.1", "0.3", "2000", "–"},
		read[[]string](b, `[[48.705882, 1], [100, 1], [-0.1, 1], [0.1 + 0.2, 1], [2000, 0], [null, 1]].map(([g, decimals]) => ours.gramsText(g, {decimals}))`))
	require.Equal(t, []string{"0:07", "1:02:05"}, read[[]string](b, `[7.4, 3725].map(ours.clock)`))
}

// Every kind of fact has its words.
func (b *tab) saysWhatHappened(t *testing.T) {
	for _, tt := range []struct {
		fact batch.Fact
		says string
	}{
		{batch.CupTaken{Reference: 20_700_000_000_000}, "Cup taken at 20.7 g on the scale"},
		{batch.Referenced{Why: "cup_back", Reference: 120_500_000_000_000}, "Counted on from 120.5 g: the cup came back"},
		{batch.Jumped{From: 120_500_000_000_000, Silent: true}, "The scale went from 120.5 g to 0.0 g at once, after a silence"},
		{batch.Answered{Answer: "lifted"}, "Answered: The cup was lifted"},
		{batch.Doubted{Why: "the weight fell"}, "In doubt from here on: the weight fell"},
		{batch.Begun{Part: "B", By: "b_begins"}, "B began, as a person said"},
		{batch.Accepted{Part: "B", By: "accept", Poured: 50 * reading.Gram, Verdict: "outside"}, "B accepted by a person: 50.0 g in the cup. Verdict: outside"},
		{batch.Reopened{Part: "A", Why: "drip"}, "A taken back: drips landed"},
		{batch.Overridden{Check: "resolution", Reason: "a test piece", Operator: "Ida"}, "Check resolution passed by Ida: a test piece"},
		{batch.Ended{Phase: batch.PhaseScrapped, Reason: "hair in it"}, "Scrapped: hair in it"},
		{batch.Ended{Phase: batch.PhaseAbandoned}, "Given up"},
	} {
		fact, err := json.Marshal(tt.fact)
		require.NoError(t, err)
		require.Equal(t, tt.says, read[string](b, fmt.Sprintf(`ours.eventText({kind: %q, fact: %s}, {decimals: 1})`, tt.fact.Kind(), fact)))
	}
	require.Equal(t, "Event of the kind melted", read[string](b, `ours.eventText({kind: "melted", fact: {}}, {decimals: 1})`))

	// A taken back and accepted anew is two rings, the first of them marked.
	require.Equal(t, []bool{true, false, false}, read[[]bool](b, `(a => ours.acceptances({...ours.twin, events: [a, {kind: "reopened", fact: {part: "A"}}, ...ours.twin.events.filter(e => e.kind === "accepted")]}).slice(0, 3).map(m => m.back))(
		ours.twin.events.find(e => e.kind === "accepted"))`))
}

func (b *tab) takesANote(t *testing.T, d runningDemo) {
	b.do(chromedp.SetValue(`#note-form [name="text"]`, hostile), chromedp.SetValue(`#note-form [name="operator"]`, "Ida"), chromedp.Click("#note-form button"))
	b.until(`document.querySelector("#events li:last-child").textContent.includes("Note by Ida: ")`)
	require.Contains(t, read[string](b, `document.querySelector("#events li:last-child").textContent`), hostile)
	require.Zero(t, read[int](b, `document.querySelectorAll("#record script, #record img").length`))
	require.True(t, read[bool](b, `window.broken === undefined`))
	b.fits()
	b.shoot("record-note")
}
