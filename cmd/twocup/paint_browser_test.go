package main

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// The time from a message's arrival in the page to its painted digits, and what the page's own thread costs meanwhile, while
// the simulated hand pours. Each message is painted; of the figures that it prints it judges none: they are this machine's.
//
//	go test ./cmd/twocup -run Paints -paint 500 -v
func TestBrowserPaintsInTime(t *testing.T) {
	d := startDemo(t, simulator.Options{Seed: 17, Scale: simulator.ScaleOptions{RateHz: 50}, Hand: simulator.HandOptions{Flow: 20, Dribble: 2}})
	b := openTab(t)
	b.do(chromedp.EmulateViewport(1024, 600), chromedp.Navigate("http://"+d.address+"/bench/bench-1"), chromedp.WaitVisible("#free"),
		func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
			_, err = cdp.Call(ctx, t, performance.Enable, performance.EnableParams{TimeDomain: performance.EnableTimeDomainThreadTicks})
			return v, err
		},
		chromedp.Evaluate[chromedp.Void](`{
			window.painted = [];
			const set = Object.getOwnPropertyDescriptor(WebSocket.prototype, "onmessage").set;
			Object.defineProperty(WebSocket.prototype, "onmessage", {set(show) {
				set.call(this, show && (m => {
					const at = performance.now();
					show(m);
					requestAnimationFrame(() => { // the frame with the new digits is drawn after this, the task after it comes once it is
						const {port1, port2} = new MessageChannel();
						port1.onmessage = () => window.painted.push(performance.now() - at);
						port2.postMessage(0);
					});
				}));
			}});
			const now = Date.now; // a new connection, so that its messages are followed
			Date.now = () => now() + 3600e3;
			document.dispatchEvent(new Event("visibilitychange"));
			Date.now = now;
		}`))
	status, answer := d.post(t, "/stations/bench-1/batches", `{"material":"harbour-clear","amount":{"total_g":900}}`)
	require.Equal(t, http.StatusCreated, status, string(answer))
	require.NoError(t, d.bench.Do("auto", 0))
	b.until(`document.body.dataset.cue === "pour"`)
	b.do(chromedp.Evaluate[chromedp.Void](`window.painted = []`))
	before, started := b.taskSeconds(), time.Now()
	b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) { // looked at seldom: looking costs as well
		_, err = chromedp.Poll[bool](fmt.Sprintf(`window.painted.length >= %d`, *paint), chromedp.WithPollingInterval(time.Second), chromedp.WithPollingTimeout(time.Minute))(ctx, t)
		return v, err
	})
	took, busy := time.Since(started).Seconds(), b.taskSeconds()-before
	times := read[[]float64](b, "window.painted")
	slices.Sort(times)
	t.Logf("%d messages, %.1f a second; message to painted digits: median %.1f ms, 95 %% %.1f ms, 99 %% %.1f ms; the page's thread %.1f %% of a core",
		len(times), float64(len(times))/took, times[len(times)/2], times[len(times)*95/100], times[len(times)*99/100], 100*busy/took)
}

// taskSeconds is the time that the page's own thread has worked so far.
func (b *tab) taskSeconds() (s float64) {
	b.t.Helper()
	b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		metrics, err := cdp.Call(ctx, t, performance.GetMetrics, cdp.Empty{})
		for _, m := range metrics.Metrics {
			if m.Name == "TaskDuration" {
				s = m.Value
			}
		}
		return v, err
	})
	return s
}
