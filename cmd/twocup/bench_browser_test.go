package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"math/bits"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// Over everything that a snapshot can say: green is inside, at rest, read live, provable, and no question open; and every
// snapshot has a state of its own.
func TestBrowserIsGreenInsideAndAtRestOnly(t *testing.T) {
	t.Parallel()
	b, _, _ := openGallery(t)
	wrong := awaited(b, `import("/static/view.js").then(({view}) => {
		const base = gallery.snapshot("A, in"), wrong = new Set();
		const green = {yes: 0};
		for (const phase of ["cup", "pour", "settle", "correct", "parked", "mix", "done", "scrapped", "abandoned"])
		for (const cue of ["place", "wait", "pour", "ease", "stop", "hold", "top_up", "change_over", "correct", "answer", "reconnect", "type", "done"])
		for (const link of ["up", "silent", "down", "manual"]) for (const state of ["normal", "over", "under", "fault"])
		for (const stable of [true, false]) for (const provable of [true, false]) for (const gap of [0, 2001])
		for (const verdict of [null, "within", "unproven", "outside"]) for (const band of ["below", "near", "inside", "above"]) {
			const part = ["pour", "settle", "correct"].includes(phase) ? "A" : null;
			if (part === null && (band !== "below" || cue === "reconnect" && phase !== "cup")) continue; // none that exists
			const question = cue === "answer" ? {ask: "A or B?", detail: "", choices: ["to_a", "to_b"]} : null;
			const snap = {...base, scale: {...base.scale, link, state, stable},
				batch: {...base.batch, phase, cue, part, band: part && band, provable, verdict, question, ratio_error_pct: verdict && 0.1, uncertainty_pct: verdict && 0.2}};
			const v = view(snap, gap), says = [phase, cue, link, state, stable, provable, gap, verdict, band].join(" ");
			const may = gap === 0 && provable && !question && (cue === "done" ? verdict === "within" : part && link === "up" && state === "normal" && stable && band === "inside");
			if (v.ground === "green") green.yes++;
			if (v.ground === "green" && !may) wrong.add("green: " + says);
			if (v.state === "other") wrong.add("no state: " + says);
			if (gap && v.state !== "lost") wrong.add("looks live: " + says);
		}
		return green.yes ? [...wrong].slice(0, 5) : ["never green"];
	})`)
	require.Empty(t, wrong)

	for name, ground := range map[string]string{
		"A, in at the low edge": "green", "A, one step under the low edge": "pour", "A, in at the high edge": "green", "A, one step over the high edge": "over",
		"A, hold, inside, moving": "plain", "A, in or out": "unproven", "A, in, but the station is lost": "lost", "done, within, mix": "green", "done, unproven": "unproven",
	} {
		require.Equal(t, ground, read[string](b, fmt.Sprintf("gallery.draw(%q).ground", name)), name)
	}
}

// picture of what the page shows now, of one element where an id is given.
func (b *tab) picture(id string) image.Image {
	b.t.Helper()
	clip := &page.Viewport{Width: 1024, Height: 600, Scale: 1}
	if id != "" {
		r := read[[]float64](b, fmt.Sprintf(`(r => [r.x, r.y, r.width, r.height])(document.getElementById(%q).getBoundingClientRect())`, id))
		clip = &page.Viewport{X: math.Floor(r[0]), Y: math.Floor(r[1]), Width: math.Ceil(r[2]), Height: math.Ceil(r[3]), Scale: 1}
	}
	var data []byte
	b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		shot, err := cdp.Call(ctx, t, page.CaptureScreenshot, page.CaptureScreenshotParams{Clip: clip, FromSurface: new(true)})
		data = shot.Data
		return v, err
	})
	img, err := png.Decode(bytes.NewReader(data))
	require.NoError(b.t, err)
	return img
}

// The measure of glyphs is taken on a canvas: here it is held against the pixels of the screen.
func TestBrowserDrawsGlyphsAsHighAsTheyAreMeasured(t *testing.T) {
	t.Parallel()
	b, _, _ := openGallery(t)
	for _, name := range []string{"A, pour", "done, within, mix"} {
		s := read[drawn](b, fmt.Sprintf("measure(%q)", name))
		b.do(chromedp.Evaluate[chromedp.Void](`document.getElementById("remaining").textContent = "111.1"; document.getElementById("word").textContent = "I"`))
		for id, want := range map[string]float64{"remaining": s.Digits, "word": s.Word} {
			require.InDelta(t, want, inkRows(b.picture(id)), 2, "%s: %s", name, id) // 1 is the lowest digit
		}
	}
}

// inkRows counts from the first row to the last that has another colour than the first pixel.
func inkRows(img image.Image) int {
	r := img.Bounds()
	ground := luma(img.At(r.Min.X, r.Min.Y))
	first, last := -1, -1
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if math.Abs(luma(img.At(x, y))-ground) > 0.25 {
				if last = y; first < 0 {
					first = y
				}
				break
			}
		}
	}
	return last - first + 1
}

// luma is the relative luminance of WCAG 2.2, 0 to 1.
func luma(c color.Color) float64 {
	r, g, b, _ := c.RGBA()
	linear := func(v uint32) float64 {
		if s := float64(v) / 0xffff; s > 0.04045 {
			return math.Pow((s+0.055)/1.055, 2.4)
		} else {
			return s / 12.92
		}
	}
	return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
}

// look is what is left of a state for an eye: its shape as a mask of 16 x 16, and ground and ink as luminances.
type look struct {
	word        string
	shape       [4]uint64
	ground, ink float64
}

func (b *tab) lookAt(name string) (l look) {
	b.draw(name)
	l.word = read[string](b, `[...document.querySelectorAll("#word, #after")].map(e => e.textContent).join("")`)
	img := b.picture("shape")
	r := img.Bounds()
	l.ground = luma(img.At(r.Min.X, r.Min.Y))
	l.ink = l.ground
	for y := range r.Dy() {
		for x := range r.Dx() {
			if v := luma(img.At(r.Min.X+x, r.Min.Y+y)); math.Abs(v-l.ground) > math.Abs(l.ink-l.ground) {
				l.ink = v
			}
		}
	}
	const side = 16
	for y := range side {
		for x := range side {
			at := img.At(r.Min.X+(2*x+1)*r.Dx()/(2*side), r.Min.Y+(2*y+1)*r.Dy()/(2*side))
			if math.Abs(luma(at)-l.ground) > math.Abs(l.ink-l.ground)/2 {
				l.shape[y/4] |= 1 << (y%4*side + x)
			}
		}
	}
	return l
}

// What tells states apart for eyes that miss a kind of cone, or see grey: each state has its word, and where two have the
// same ground, or grounds that look alike, their shapes differ by a tenth of the field or more. Green and amber keep a
// distance in luminance, so that "in" is never taken for "over".
func TestBrowserTellsStatesApartWithoutColour(t *testing.T) {
	t.Parallel()
	b, _, _ := openGallery(t)
	states := []string{"cup, place", "A, pour", "A, ease", "A, stop, near", "A, hold, near", "A, top up", "A, in", "A, above", "A, in or out",
		"B, change-over", "correct", "A, pour, reconnect, down", "A, too heavy for the scale", "cup, wait, the load is not at rest", "B, type the readout",
		"parked, between A and B", "no verdict, mix", "no verdict, done", "scrapped"}
	for _, kind := range []emulation.SetEmulatedVisionDeficiencyType{emulation.SetEmulatedVisionDeficiencyTypeProtanopia,
		emulation.SetEmulatedVisionDeficiencyTypeDeuteranopia, emulation.SetEmulatedVisionDeficiencyTypeTritanopia, emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia} {
		b.do(func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
			_, err = cdp.Call(ctx, t, emulation.SetEmulatedVisionDeficiency, emulation.SetEmulatedVisionDeficiencyParams{Type: kind})
			return v, err
		})
		looks := map[string]look{}
		for _, name := range states {
			l := b.lookAt(name)
			require.GreaterOrEqual(t, (max(l.ground, l.ink)+0.05)/(min(l.ground, l.ink)+0.05), 4.5, "%s: %s", kind, name)
			for other, o := range looks {
				require.NotEqual(t, o.word, l.word, "%s and %s", name, other)
				differ := 0
				for i := range l.shape {
					differ += bits.OnesCount64(l.shape[i] ^ o.shape[i])
				}
				require.GreaterOrEqual(t, differ, 26, "%s: %s and %s have one shape", kind, name, other)
			}
			looks[name] = l
		}
		in, over := looks["A, in"].ground, looks["A, above"].ground
		require.GreaterOrEqual(t, (over+0.05)/(in+0.05), 3.0, "%s: green and amber", kind)
	}
}

// Digits that count down stay where they are, and so does everything around them.
func TestBrowserKeepsTheDigitsInTheirPlace(t *testing.T) {
	t.Parallel()
	b, _, _ := openGallery(t)
	moved := awaited(b, `(async () => {
		const frame = () => new Promise(requestAnimationFrame), moved = [];
		const shifts = new Set();
		gallery.draw("A, pour");
		await frame(), await frame();
		new PerformanceObserver(list => { for (const e of list.getEntries()) for (const s of e.sources) shifts.add("shift of " + (s.node?.id ?? s.node?.parentElement?.id)); }).observe({type: "layout-shift"});
		const base = gallery.snapshot("A, pour");
		let was = null;
		for (let tenths = 0; tenths < 2000; tenths += 37) {
			const poured = tenths / 10, value = (tenths + 118) / 10;
			gallery.show({...base, scale: {...base.scale, shown: value.toFixed(1) + " g", value_g: value},
				batch: {...base.batch, poured_g: poured, remaining_g: 200 - poured}}, 0, null, {pedal: "Enter", name: "bench-1"});
			await frame();
			const text = document.getElementById("remaining").firstChild, range = document.createRange();
			range.setStart(text, text.length - 1); // the last digit
			range.setEnd(text, text.length);
			const at = JSON.stringify([range, ...["number", "unit", "cue", "picture", "meta"].map(id => document.getElementById(id))].map(e => {
				const r = e.getBoundingClientRect();
				return [r.x, r.y].map(Math.round);
			}));
			if (was !== null && at !== was) moved.push(tenths + ": " + was + " became " + at);
			was = at;
		}
		await frame();
		return [...moved, ...shifts];
	})()`)
	require.Empty(t, moved)
}

// weigh counts what the page has loaded so far.
func (b *tab) weigh() (bytes int) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, url := range b.requests {
		if !strings.HasPrefix(url, "http") {
			continue
		}
		response, err := http.Get(url)
		require.NoError(b.t, err)
		n, err := io.Copy(io.Discard, response.Body)
		require.NoError(b.t, err)
		response.Body.Close()
		bytes += int(n)
	}
	return bytes
}

func TestBrowserLoadsLittle(t *testing.T) {
	t.Parallel()
	d := startDemo(t, simulator.Options{Seed: 1})
	b := openTab(t)
	b.do(chromedp.Navigate("http://"+d.address+"/bench/bench-1"), chromedp.WaitVisible("#demo"))
	bytes := b.weigh()
	t.Logf("/bench loads %d bytes, nothing of it compressed", bytes)
	require.Less(t, bytes, 100_000)
}
