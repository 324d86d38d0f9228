package main

import (
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// talker is a scale behind a network adapter, whose lines a test writes.
type talker struct {
	t        *testing.T
	listener net.Listener
	mu       sync.Mutex
	conn     net.Conn
}

func newTalker(t *testing.T) *talker {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := &talker{t: t, listener: listener}
	var accepting sync.WaitGroup
	accepting.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			if s.conn != nil {
				s.conn.Close()
			}
			s.conn = conn
			s.mu.Unlock()
		}
	})
	t.Cleanup(func() {
		listener.Close()
		accepting.Wait()
		s.hangUp()
	})
	return s
}

// say writes lines to whoever is connected.
func (s *talker) say(lines ...string) {
	s.t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	require.NotNil(s.t, s.conn, "nobody is connected")
	_, err := s.conn.Write([]byte(strings.Join(lines, "\r\n") + "\r\n"))
	require.NoError(s.t, err)
}

func (s *talker) hangUp() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.conn != nil {
		s.conn.Close()
	}
	s.conn = nil
}

func (s *talker) connected() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.conn != nil
}

// lineRows are the rows of the lines shown: what became of each, its bytes, and what the shape made of them.
const lineRows = `[...document.querySelectorAll(".roll tbody tr")].filter(tr => tr.checkVisibility()).map(tr => [tr.dataset.outcome, tr.cells[1].textContent, tr.cells[2].innerText.replace(/\s+/g, " ").trim()])`

// What a scale sends, whole, damaged and hostile, and nothing: each is told for what it is.
func TestWhatAScaleSendsIsShownInABrowser(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	scale := newTalker(t)
	address := serving(t, fmt.Sprintf(`
listen: 127.0.0.1:0
data: %s
stations:
  - {id: bench-1, scales: [{id: small, link: 'tcp://%s', shape: status-comma, division: 0.1 g, capacity: 6 kg}]}
`, filepath.Join(t.TempDir(), "data"), scale.listener.Addr()))
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+address+"/scale/bench-1"))
	b.until(`document.querySelector(".roll") && document.getElementById("reading").dataset.ground === "lost"`)
	require.Equal(t, "–", read[string](b, `document.getElementById("value").textContent`))
	require.Eventually(t, scale.connected, 10*time.Second, 5*time.Millisecond)

	const image = `<img src=x onerror="window.broken=1">`
	scale.say("0.0  g", "ST,GS,+00012.3  g", "ST,GS,+00012.3  g", "XX,GS,+00012.3  g", image, "US,NT,\x02\xf300.4  g", "OL,GS,+99999.9  g", "US,NT,+00012.4  g")
	b.until(`document.getElementById("link").textContent === "read:" && document.getElementById("value").textContent === "12.4 g"`)
	b.until(`document.querySelectorAll(".roll tbody tr").length === 7`)
	require.Equal(t, [][]string{
		{"read", "US,NT,+00012.4  g", "12.4 g moving, net"},
		{"read", "OL,GS,+99999.9  g", "above its range gross"},
		{"rejected", `US,NT,\x02\xf300.4  g`, "rejected byte 0x02 at 6 is no text"},
		{"rejected", image, `rejected status "` + strings.ReplaceAll(image, `"`, `\"`) + `" is none of ST, US, OL, UL, QT`},
		{"rejected", "XX,GS,+00012.3  g", `rejected status "XX" is none of ST, US, OL, UL, QT`},
		{"read", "ST,GS,+00012.3  g", "12.3 g at rest, gross"},
		{"held", `0.0  g\r\nST,GS,+00012.3  g`, "12.3 g held laid out unlike the lines before: it counts once a second line is like it"},
	}, read[[][]string](b, lineRows))
	require.True(t, read[bool](b, `window.broken === undefined && document.querySelectorAll(".roll img").length === 0`))
	require.Equal(t, 3, read[int](b, `document.querySelectorAll('.roll [data-outcome="rejected"] .sign svg').length`))
	b.do(chromedp.Click(".bar input"))
	require.Len(t, read[[][]string](b, lineRows), 4, "those not read")
	b.do(chromedp.Click(".bar input"))

	b.do(chromedp.Click(".bar button"))
	scale.say("US,NT,+00012.5  g", "US,NT,+00012.6  g")
	b.until(`document.querySelector(".bar [role=status]").textContent === "Paused. 2 lines have come since."`)
	require.Equal(t, "US,NT,+00012.4  g", read[[][]string](b, lineRows)[0][1])
	b.do(chromedp.Click(".bar button"))
	require.Equal(t, "US,NT,+00012.6  g", read[[][]string](b, lineRows)[0][1])

	b.until(`document.getElementById("link").textContent === "silent:"`)
	require.True(t, read[bool](b, `document.getElementById("value").classList.contains("struck") && document.getElementById("reading").dataset.ground === "lost"`))
	require.Contains(t, read[string](b, `document.getElementById("alarm").textContent`), "No reading for ")
	b.until(`document.querySelector(".figures dd").textContent === "–"`) // the rate
	b.readable(t)
	b.fits()
	b.shoot("scale-silent")
	require.Equal(t, []string{
		"status-comma / 0.1 g", "not found yet / not shown yet: put different loads on the pan", "bare, found / not shown yet: put different loads on the pan",
		"bare, found at 4800 baud 7E1 / 0.5 g",
	}, awaited(b, `import("/static/scale-lines.js").then(({figuresOf}) => [
		{shape: "status-comma", found: null, division_g: 0.1}, {shape: "auto", found: null, division_g: null}, {shape: "auto", found: {shape: "bare", baud: null}, division_g: null},
		{shape: "auto", found: {shape: "bare", baud: 4800, frame: "7E1"}, division_g: 0.5},
	].map(s => {
		const of = Object.fromEntries(figuresOf({rate_hz: null, link_text: null, capacity_g: null, ...s}, true));
		return of["Line shape"] + " / " + of["Division"];
	}))`))
	scale.hangUp()
	b.until(`document.getElementById("link").textContent !== "silent:"`)
	b.until(`[...document.querySelectorAll(".figures dd")].some(dd => dd.textContent === "once")`) // reconnected
	b.quiet(address)
}

func TestAScaleIsIdentifiedFromTheBrowser(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	b := openTab(t)
	d := startDemo(t, simulator.Options{Seed: 31, Hand: quickHand, Damage: simulator.DamageOptions{Seed: 1, Cut: 0.001}})
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/scale/bench-1"))
	b.until(`document.querySelectorAll(".roll tbody tr").length > 20`)
	b.readable(t)
	b.fits()
	b.shoot("scale")

	id := d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 150}})
	b.until(`document.querySelector("#identify button").disabled && document.getElementById("not-now").textContent.includes("batch")`)
	status, answer := d.post(t, "/stations/bench-1/identify", `{}`)
	require.Equal(t, http.StatusConflict, status, string(answer))
	status, answer = d.post(t, "/batches/"+id+"/actions", `{"action":"abandon","reason":"not today"}`)
	require.Equal(t, http.StatusOK, status, string(answer))
	b.until(`!document.querySelector("#identify button").disabled`)

	b.do(chromedp.Click("#ask-too input"), chromedp.WaitVisible("#caution"), chromedp.Click("#ask-too input"))
	d.bench.Power(false)
	b.do(chromedp.Click("#identify button"))
	b.until(`/^Running for \d+ s/.test(document.getElementById("elapsed").textContent)`)
	b.shoot("scale-identify-runs")
	b.do(chromedp.Reload()) // it goes on, and its answer is found
	b.until(`document.getElementById("answer").textContent.includes("nothing found")`)
	require.True(t, read[bool](b, `document.querySelector("#answer pre") === null`))

	d.bench.Power(true)
	b.until(`document.getElementById("link").textContent === "read:" && !document.querySelector("#identify button").disabled`)
	b.do(chromedp.Click("#identify button"))
	b.until(`document.querySelector("#answer pre") !== null`)
	require.Contains(t, read[string](b, `document.querySelector("#answer pre").textContent`), "shape: status-comma")
	b.until(`document.getElementById("link").textContent === "read:"`)
	b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("identify").scrollIntoView()`))
	b.readable(t)
	b.fits()
	b.shoot("scale-identified")
	b.quiet(d.address)
}
