package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station/batch"
)

var (
	shots = flag.String("shots", "", "folder for screenshots that the browser tests take on their way")
	paint = flag.Int("paint", 25, "so many messages are followed to their painted digits; 500 for figures, on a machine that does nothing else")
)

// tab is one page of a real browser.
type tab struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	console  []string
	requests []string
}

// openTab starts Chromium. Without one the test is skipped, but in CI it fails.
func openTab(t *testing.T) *tab {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("no Chromium is installed, and in CI the browser tests must run")
		}
		t.Skip("no Chromium is installed (Debian: apt-get install chromium)")
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(),
		append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.WSURLReadTimeout(time.Minute))...)
	ctx, quit := chromedp.NewContext(allocator)
	b := &tab{t: t, ctx: ctx}
	t.Cleanup(func() { quit(); stop() })
	messages := chromedp.Console(ctx) // the first use owns the browser: it has no limit of time
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			b.mu.Lock()
			b.console = append(b.console, m.String())
			b.mu.Unlock()
		}
	}()
	require.NoError(t, chromedp.Listen(ctx, func(event any) {
		if e, ok := event.(*network.EventRequestWillBeSent); ok {
			b.mu.Lock()
			b.requests = append(b.requests, e.Request.URL)
			b.mu.Unlock()
		}
	}))
	return b
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 2*time.Minute)
	defer cancel()
	require.NoError(b.t, chromedp.Do(ctx, steps...))
}

// until waits for something to hold in the page.
func (b *tab) until(script string) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		poll := chromedp.Poll[bool](script, chromedp.WithPollingTimeout(time.Minute))
		_, err = poll(ctx, t)
		for err != nil && strings.Contains(err.Error(), "context") && ctx.Err() == nil { // of a page that has just been left
			_, err = poll(ctx, t)
		}
		if err != nil {
			shown, _ := chromedp.Evaluate[string](`JSON.stringify(document.body.dataset) + document.body.innerText`)(ctx, t)
			err = fmt.Errorf("%s: %w; the page shows %s", script, err, shown)
		}
		return v, err
	})
}

// read evaluates a script to a value.
func read[T any](b *tab, script string) T {
	b.t.Helper()
	value, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script))
	require.NoError(b.t, err)
	return value
}

// shoot takes a screenshot where -shots asks for them.
func (b *tab) shoot(name string) {
	b.t.Helper()
	if *shots == "" {
		return
	}
	for _, size := range [][2]int64{{1920, 1080}, {1024, 600}, {390, 844}} {
		b.do(chromedp.EmulateViewport(size[0], size[1]))
		picture, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
		require.NoError(b.t, err)
		file := filepath.Join(*shots, fmt.Sprintf("%s-%dx%d.png", name, size[0], size[1]))
		require.NoError(b.t, os.WriteFile(file, picture, 0o644))
	}
	b.do(chromedp.EmulateViewport(1024, 600))
}

// quiet says that the page had nothing to complain of and asked nobody but the daemon.
func (b *tab) quiet(address string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	require.Empty(b.t, b.console)
	require.NotEmpty(b.t, b.requests)
	for _, url := range b.requests {
		require.True(b.t, strings.HasPrefix(url, "http://"+address+"/") || strings.HasPrefix(url, "data:"), url)
	}
}

// sightSeen is what the page showed at one moment.
type sightSeen struct{ Ground, Cue, Part, Remaining, Motion, Verdict string }

// keepEye notes every change of what the page shows.
const keepEye = `window.seen = [];
new MutationObserver(() => {
  const b = document.body.dataset, text = id => document.getElementById(id).textContent;
  window.seen.push({Ground: b.ground, Cue: b.cue, Part: b.part, Verdict: b.verdict, Remaining: text("remaining"), Motion: text("motion")});
}).observe(document.body, {attributes: true, subtree: true, childList: true, characterData: true});`

// noteSent keeps what the page sends to the station.
const noteSent = `{
	const real = window.fetch;
	window.sent = [];
	window.fetch = (to, how) => {
		if (how?.method === "POST" && !to.endsWith("/hand")) window.sent.push(how.body);
		return real(to, how);
	};
}`

// pressForB presses the pedal as soon as B may begin: the simulated hand takes B some five seconds later all the same.
const pressForB = `{
	const timer = setInterval(() => {
		if (document.querySelector('[data-action="b_begins"]')?.disabled !== false) return;
		clearInterval(timer);
		for (const type of ["keydown", "keyup"]) document.body.dispatchEvent(new KeyboardEvent(type, {key: "Enter", bubbles: true}));
	}, 50);
}`

// The whole weigh-out in a real browser, over a pseudo-terminal, by one key with both hands full: poured by the simulated
// hand, and on the way green only inside the window and at rest.
func TestAWeighOutInABrowser(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 11, Hand: quickHand})
	last := d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 150}})
	status, answer := d.post(t, "/batches/"+last+"/actions", `{"action":"abandon","reason":"to have a last one"}`)
	require.Equal(t, http.StatusOK, status, string(answer))
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/bench/bench-1"), chromedp.WaitVisible("#free"))
	b.until(`document.querySelector("#again span").textContent.includes("Harbour clear") && !document.getElementById("again").disabled`)
	b.shoot("free")
	b.do(chromedp.Evaluate[chromedp.Void](keepEye), chromedp.Evaluate[chromedp.Void](noteSent), press("Enter"), letGo("Enter"))
	b.until(`window.sent.length === 1`)
	require.JSONEq(t, fmt.Sprintf(`{"again":%q}`, last), read[string](b, "window.sent[0]"))
	b.until(`document.body.dataset.cue === "place"`)
	b.shoot("place")
	b.do(chromedp.Evaluate[chromedp.Void](pressForB), chromedp.Click(`[data-do="auto"]`))
	for _, cue := range []string{"pour", "ease", "stop", "change_over"} {
		b.until(fmt.Sprintf(`window.seen.some(s => s.Cue === %q)`, cue))
		b.shoot(cue)
	}
	b.until(`document.body.dataset.verdict === "within"`)
	b.shoot("within")
	require.Contains(t, strings.Join(read[[]string](b, "window.sent"), "\n"), `"action":"b_begins"`)
	b.until(`!document.getElementById("free").hidden && !document.getElementById("again").hidden`)

	seen := read[[]sightSeen](b, "window.seen")
	windows := d.windows(t)
	green, least := map[string]int{}, map[string]float64{}
	for i, s := range seen {
		remaining, err := strconv.ParseFloat(strings.ReplaceAll(s.Remaining, "\u2212", "-"), 64)
		if s.Part != "" && s.Cue != "change_over" && s.Remaining != "" {
			require.NoError(t, err, "%d: %+v", i, s)
		}
		if s.Cue == "pour" { // the readout counts down, but for the flicker of the scale
			if before, ok := least[s.Part]; ok {
				require.LessOrEqual(t, remaining, before+0.3, "%d: %+v", i, s)
			}
			least[s.Part] = remaining
		}
		if s.Ground != "green" {
			continue
		}
		green[s.Part]++
		if s.Part == "" {
			require.Equal(t, "within", s.Verdict, "%d: %+v", i, s)
			continue
		}
		w := windows[s.Part]
		require.Equal(t, "at rest", s.Motion, "%d: %+v", i, s)
		const half = 0.05 + 1e-9 // the target has more digits than the scale: what remains is shown rounded to its step
		require.GreaterOrEqual(t, w.target-remaining, w.low-half, "%d: %+v", i, s)
		require.LessOrEqual(t, w.target-remaining, w.high+half, "%d: %+v", i, s)
	}
	require.NotZero(t, green[""], "the verdict was never green")
	for part, w := range windows {
		if w.poured <= w.high { // a display that a busy machine holds up may have A above
			require.NotZero(t, green[part], "%s was never green", part)
		}
	}
	b.quiet(d.address)
}

type window struct{ target, low, high, poured float64 }

// windows that the parts of the newest batch had, by its record.
func (d runningDemo) windows(t *testing.T) map[string]window {
	response, err := http.Get("http://" + d.address + "/api/v1/batches")
	require.NoError(t, err)
	defer response.Body.Close()
	var list struct{ Batches []batch.View }
	require.NoError(t, json.NewDecoder(response.Body).Decode(&list))
	found := map[string]window{}
	for _, p := range list.Batches[0].Parts {
		found[p.Part.Part] = window{p.Target.Grams(), p.Low.Grams(), p.High.Grams(), p.Poured.Grams()}
	}
	return found
}

// By one's own hand: the jug is tipped while the button, or the space bar, is held.
func TestTheJugIsTippedByHolding(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 12, Hand: quickHand})
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/bench/bench-1"), chromedp.WaitVisible("#free"))
	d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 600}})
	b.until(`document.body.dataset.cue === "place"`)
	b.do(chromedp.Click(`[data-do="cup"]`))
	b.until(`document.body.dataset.cue === "pour"`)

	at := read[[]float64](b, `(r => [r.x + r.width / 2, r.y + r.height / 2])(document.querySelector('[data-tip="1"]').getBoundingClientRect())`)
	b.do(chromedp.MouseEvent(chromedp.MousePressed, at[0], at[1], chromedp.ButtonLeft))
	b.until(`Number(document.getElementById("poured").textContent) > 50`)
	b.do(chromedp.MouseEvent(chromedp.MouseReleased, at[0], at[1], chromedp.ButtonLeft))
	poured := b.atRest(d)

	const key = `document.body.dispatchEvent(new KeyboardEvent(%q, {key: " ", bubbles: true}))`
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(key, "keydown")))
	b.until(fmt.Sprintf(`Number(document.getElementById("poured").textContent) > %g`, poured+30))
	b.shoot("own-hand")
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(key, "keyup")))
	require.Greater(t, b.atRest(d), poured+30)
	b.quiet(d.address)
}

// atRest waits until nothing lands any more; then the page says what is in the cup.
func (b *tab) atRest(d runningDemo) float64 {
	b.t.Helper()
	b.until(`document.getElementById("motion").textContent === "at rest"`)
	a, _ := d.bench.Truth()
	poured := read[float64](b, `Number(document.getElementById("poured").textContent)`)
	require.InDelta(b.t, a.Grams(), poured, 0.3)
	return poured
}

// A scale that falls silent is as loud as one that is lost.
func TestAStaleValueNeverLooksLive(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 13, Hand: quickHand})
	status, _ := d.post(t, "/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":600}}`)
	require.Equal(t, http.StatusCreated, status)
	require.NoError(t, d.bench.Do("cup", 0))
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/bench/bench-1"))
	b.until(`document.body.dataset.cue === "pour"`)
	b.do(chromedp.Evaluate[chromedp.Void](`new MutationObserver(() => {
		if (document.body.dataset.ground === "lost") window.firstLost ??= document.getElementById("after").textContent;
	}).observe(document.body, {attributes: true, subtree: true, childList: true, characterData: true})`))
	d.bench.Power(false)
	b.until(`document.body.dataset.ground === "lost" && document.getElementById("shown").classList.contains("struck")`)
	require.Equal(t, "reconnect", read[string](b, "document.body.dataset.cue"))
	require.Equal(t, " for 2 s", read[string](b, "window.firstLost"), "said when the value is as old as the station allows")
	b.shoot("silent")
	b.quiet(d.address)
}
