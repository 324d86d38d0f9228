package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
	"twocup/station"
)

// A tap of the pedal goes on, a hold takes back, and neither does anything where a foot could spoil something; what has
// just come up is dead for a moment.
func TestBrowserGoesOnByThePedal(t *testing.T) {
	t.Parallel()
	b, _, _ := openGallery(t)
	pressed := func(name, way string) string {
		b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{
			document.getElementById("notice").textContent = "";
			gallery.draw(%q);
			gallery.press(%[2]q); // what has just come up is dead
			if (!document.getElementById("notice").textContent) {
				for (const b of document.querySelectorAll("button")) b.disabled = false;
				gallery.press(%[2]q);
			} else document.getElementById("notice").textContent = "not dead: " + document.getElementById("notice").textContent;
		}`, name, way)))
		return strings.TrimPrefix(read[string](b, `document.getElementById("notice").textContent`), "Nothing is sent from the gallery: ")
	}
	b.do(chromedp.Evaluate[chromedp.Void](`void gallery.draw("free")`))
	b.until(`gallery.draw("free") && !document.getElementById("again").hidden`)
	for _, tt := range []struct{ name, tap, hold string }{
		{"free", "again 01a21590-d37b-79a3-a24b-e1b211e9d054", ""},
		{"cup, place", "tare {}", ""},
		{"cup, wait, a check is open", "", ""},
		{"A, pour", "", ""},
		{"A, ease", "", ""},
		{"A, stop, near", "", ""},
		{"A, in", "accept {}", ""},
		{"A, top up", "", "accept {}"},
		{"B, above", "", "accept {}"},
		{"B, change-over", "b_begins {}", "reopen {}"},
		{"A, pour, reconnect, down", "", ""},
		{"A, in, but the station is lost", "", ""},
		{"A or B", "to_a {}", "to_b {}"},
		{"A, lifted or tared", "lifted {}", "tared {}"},
		{"A, scale switched off and on", "tared {}", "scrap {}"},
		{"cup, is it the same cup", "same_cup {}", "scrap {}"},
		{"A, no room", "accept {}", "scrap {}"},
		{"done, within, mix", "", "reopen {}"},
		{"parked, between A and B", "resume {}", ""},
		{"scrapped", "", ""},
	} {
		b.draw("A, pour") // the state before: each of the others comes up anew
		require.Equal(t, tt.tap, pressed(tt.name, "tap"), "%s: tap", tt.name)
		b.draw("A, pour")
		require.Equal(t, tt.hold, pressed(tt.name, "hold"), "%s: hold", tt.name)
	}
}

// gate stands between a page and the daemon, as a network that fails or a daemon that is restarted, perhaps as another version.
type gate struct {
	*httptest.Server
	mu      sync.Mutex
	shut    bool
	version string // empty leaves the daemon's own
	cut     context.CancelFunc
	through context.Context
}

func newGate(t *testing.T, address string) *gate {
	g := &gate{}
	g.through, g.cut = context.WithCancel(context.Background())
	proxy := httputil.NewSingleHostReverseProxy(&url.URL{Scheme: "http", Host: address})
	proxy.ModifyResponse = func(r *http.Response) error {
		g.mu.Lock()
		defer g.mu.Unlock()
		if g.version == "" || r.Request.URL.Path != "/api/v1/stations/bench-1" {
			return nil
		}
		body, err := io.ReadAll(r.Body)
		body = bytes.Replace(body, []byte(`"version":"`), []byte(`"version":"`+g.version), 1)
		r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
		r.Header.Set("Content-Length", fmt.Sprint(len(body)))
		return err
	}
	g.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		g.mu.Lock()
		shut, through := g.shut, g.through
		g.mu.Unlock()
		if shut {
			w.WriteHeader(http.StatusBadGateway)
			return
		}
		ctx, cancel := context.WithCancel(r.Context())
		defer context.AfterFunc(through, cancel)()
		proxy.ServeHTTP(w, r.WithContext(ctx))
	}))
	t.Cleanup(func() {
		g.set(true, "")
		g.Close()
	})
	return g
}

// set shuts or opens the gate; whatever goes through it is cut.
func (g *gate) set(shut bool, version string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.shut, g.version = shut, version
	g.cut()
	g.through, g.cut = context.WithCancel(context.Background())
}

// A display outlives its daemon: it says that it is cut off and when it tries again, comes back by itself, and loads itself
// anew only for another version and only with nothing on the scale.
func TestBrowserOutlivesTheDaemon(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	d := startDemo(t, simulator.Options{Seed: 15, Hand: quickHand})
	g := newGate(t, d.address)
	id := d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 600}})
	b := openTab(t)
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate(g.URL+"/bench/bench-1"), chromedp.WaitVisible("#demo"),
		chromedp.Evaluate[chromedp.Void]("window.sameDocument = true"))
	b.until(`document.body.dataset.link === "up"`)

	g.set(true, "")
	b.until(`document.body.dataset.link === "lost" && /tries again in \d s/.test(document.getElementById("note").textContent)`)
	require.Empty(t, read[string](b, `document.getElementById("actions").textContent`), "nothing can be sent, so nothing is offered")
	g.set(false, "")
	b.until(`document.body.dataset.link === "up"`)
	require.True(t, read[bool](b, "window.sameDocument === true"), "the same version needs no reload")

	g.set(false, "another ")
	asked := len(b.asked("/api/v1/stations/bench-1"))
	b.untilAsked("/api/v1/stations/bench-1", asked+1)
	b.until(`document.body.dataset.link === "up"`)
	require.True(t, read[bool](b, "window.sameDocument === true"), "no reload while a batch is on the scale")
	status, answer := d.post(t, "/batches/"+id+"/actions", `{"action":"abandon","reason":"to be between batches"}`)
	require.Equal(t, http.StatusOK, status, string(answer))
	b.arrives(`window.sameDocument === undefined && document.body.dataset.link === "up"`)
}

// asked are the requests for a path so far.
func (b *tab) asked(path string) (list []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, url := range b.requests {
		if strings.HasSuffix(url, path) {
			list = append(list, url)
		}
	}
	return list
}

// untilAsked waits for the answer to the n-th request for a path.
func (b *tab) untilAsked(path string, n int) {
	b.t.Helper()
	b.until(fmt.Sprintf(`performance.getEntriesByType("resource").filter(e => e.name.endsWith(%q) && e.responseEnd > 0).length >= %d`, path, n))
}

// What the page shows of a snapshot is what every other viewer got with it; and a tab that slept for an hour is right again
// with the first message.
func TestBrowserAgreesWithOthersAndCatchesUp(t *testing.T) {
	t.Parallel() // in real time, most of it waiting
	d := startDemo(t, simulator.Options{Seed: 16, Hand: quickHand})
	d.start(t, map[string]any{"material": "harbour-clear", "amount": map[string]any{"total_g": 900}})
	b := openTab(t)
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/bench/bench-1"), chromedp.WaitVisible("#weigh"),
		chromedp.Evaluate[chromedp.Void](`{
			window.shown = {};
			new MutationObserver(() => {
				const text = id => document.getElementById(id).textContent;
				window.shown[document.body.dataset.seq] = [text("shown"), text("motion"), text("poured"), document.body.dataset.cue].join(" ");
			}).observe(document.body, {attributes: true, subtree: true, childList: true, characterData: true});
		}`))
	live := dialUntilUp(t, d.address)
	defer live.Close()
	require.NoError(t, d.bench.Do("auto", 0))
	sent := map[string]string{}
	waitFor(t, live, func(s station.Snapshot) bool {
		if s.Batch.Poured == nil {
			return false
		}
		motion := map[bool]string{true: "at rest", false: "moving"}[s.Scale.Stable]
		sent[fmt.Sprint(s.Seq)] = fmt.Sprintf("%s %s %.1f %s", *s.Scale.Shown, motion, s.Batch.Poured.Grams(), s.Batch.Cue)
		return s.Batch.Poured.Grams() > 200
	})
	shown, common := read[map[string]string](b, "window.shown"), 0
	for seq, text := range sent {
		if drawn, both := shown[seq]; both {
			require.Equal(t, text, strings.ReplaceAll(drawn, "−", "-"), "snapshot %s", seq)
			common++
		}
	}
	require.Greater(t, common, 20)

	b.do(chromedp.Evaluate[chromedp.Void](`{
		const now = Date.now, Socket = WebSocket;
		window.first = null;
		window.made = 0;
		window.WebSocket = class extends Socket {
			constructor(url) {
				super(url);
				window.made++;
				this.addEventListener("message", () => setTimeout(() => { window.first ??= document.body.dataset.link; }), {once: true});
			}
		};
		Date.now = () => now() + 3600e3;
		document.dispatchEvent(new Event("visibilitychange"));
		window.atOnce = window.made;
	}`))
	require.Equal(t, 1, read[int](b, "window.atOnce"), "a new connection as soon as the page is seen again")
	b.until("window.first !== null")
	require.Equal(t, "up", read[string](b, "window.first"), "one message is enough")
}
