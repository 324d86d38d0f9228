package main

import (
	"context"
	_ "embed"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// measure.js looks at what is drawn: glyphs, places, contrast.
//
//go:embed testdata/measure.js
var measureScript string

// openGallery is a page that draws every state of the bench display by its name.
func openGallery(t *testing.T) (b *tab, names []string, address string) {
	b = openTab(t)
	d := startDemo(t, simulator.Options{Seed: 1})
	b.do(chromedp.EmulateViewport(1024, 600), wish("prefers-reduced-motion", "reduce"), // so that a picture is of a state, not of the way to it
		chromedp.Navigate("http://"+d.address+"/static/gallery.html"))
	b.until("window.gallery !== undefined")
	b.do(chromedp.Evaluate[chromedp.Void](measureScript))
	return b, read[[]string](b, "gallery.names"), d.address
}

// wish is what the system of the one who looks prefers.
func wish(feature, value string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (v chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: feature, Value: value}}})
		return v, err
	}
}

// draw shows one state of the gallery.
func (b *tab) draw(name string) {
	b.t.Helper()
	b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("void gallery.draw(%q)", name)))
}

// panel is a screen whose pixels have a size.
type panel struct {
	width, height int64   // px
	diagonal      float64 // inch
}

// The panels that the display is made for, with square pixels.
var panels = []panel{{1024, 600, 7}, {1920, 1080, 22}}

// arcmin is the angle, in minutes of arc, that so many pixels have at 3 m.
func (p panel) arcmin(px float64) float64 {
	const mmPerInch, distance = 25.4, 3000
	pitch := p.diagonal * mmPerInch / math.Hypot(float64(p.width), float64(p.height))
	return math.Atan(px*pitch/distance) * 180 / math.Pi * 60
}

// drawn is what measure.js has seen of one state.
type drawn struct {
	Name     string
	Figure   string  // the big number, empty where there is none
	Digits   float64 // px from top to bottom of its lowest digit
	Word     float64 // px of the cue word's first letter, 0 where no cue stands
	Letter   float64 // px of the part's letter, 0 where there is none
	Contrast float64 // the lowest of all texts with their grounds
	Faint    string  // the text that has it
	Graphics float64 // the lowest of shape, rim and wall with the ground
	Faults   []string
}

// ISO 9241-303 and NUREG-0700 ask for at least 16 minutes of arc, better 20 to 22, at the longest distance. WCAG 2.2 asks
// for a contrast of 4.5 for texts (1.4.3) and 3 for what must be seen of a graphic (1.4.11).
func TestBrowserDrawsEveryStateToBeReadAtThreeMetres(t *testing.T) {
	t.Parallel()
	b, _, address := openGallery(t)
	var faults []string
	for _, p := range panels {
		b.do(chromedp.EmulateViewport(p.width, p.height))
		least := map[string]float64{}
		for _, s := range b.measure() {
			faults = append(faults, s.faults(fmt.Sprint(p.width))...)
			for what, px := range map[string]float64{"digits": s.Digits, "word": s.Word, "letter": s.Letter} {
				wanted := 16.0
				if what == "digits" && len([]rune(s.Figure)) <= 5 {
					wanted = 22
				}
				seen := p.arcmin(px)
				if px > 0 && seen < wanted {
					faults = append(faults, fmt.Sprintf("%d, %s: %s %q of %g px, %.1f minutes of arc", p.width, s.Name, what, s.Figure, px, seen))
				}
				if what = fmt.Sprintf("%s (%g)", what, wanted); px > 0 && (least[what] == 0 || seen < least[what]) {
					least[what] = math.Round(10*seen) / 10
				}
			}
		}
		t.Logf("%g inch, %d x %d, minutes of arc at least: %v", p.diagonal, p.width, p.height, least)
	}
	for _, look := range []string{"light", "dark", "contrast"} {
		b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("document.documentElement.dataset.look = %q", look)))
		least := drawn{Contrast: 99, Graphics: 99}
		for _, s := range b.measure() {
			faults = append(faults, s.faults(look)...)
			if s.Contrast < 4.5 || s.Graphics < 3 {
				faults = append(faults, fmt.Sprintf("%s, %s: contrast %.1f of %q, of graphics %.1f", look, s.Name, s.Contrast, s.Faint, s.Graphics))
			}
			least.Contrast, least.Graphics = min(least.Contrast, s.Contrast), min(least.Graphics, s.Graphics)
		}
		t.Logf("%s: contrast of texts at least %.1f, of graphics %.1f", look, least.Contrast, least.Graphics)
	}
	b.do(chromedp.EmulateViewport(390, 844))
	for _, s := range b.measure() {
		faults = append(faults, s.faults("one column")...)
	}
	require.Empty(t, strings.Join(faults, "\n"))
	b.quiet(address)
}

// measure looks at all states of the gallery.
func (b *tab) measure() []drawn {
	b.t.Helper()
	return read[[]drawn](b, "gallery.names.map(measure)")
}

func (d drawn) faults(where string) (list []string) {
	for _, f := range d.Faults {
		list = append(list, where+", "+d.Name+": "+f)
	}
	return list
}

// Every control has a role and a name, and what changes by itself is announced.
func TestBrowserNamesEveryControl(t *testing.T) {
	t.Parallel()
	b, names, _ := openGallery(t)
	controls := map[string]bool{"button": true, "textbox": true, "link": true}
	seen := map[string]bool{}
	for _, name := range names {
		if !strings.Contains(name, "type") && !strings.Contains(name, "open") && !strings.Contains(name, "free") && !strings.Contains(name, "or") {
			continue // the others have the same controls as these
		}
		b.draw(name)
		b.do(func(ctx context.Context, target *chromedp.Target) (v chromedp.Void, err error) {
			tree, err := cdp.Call(ctx, target, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
			if err != nil {
				return v, err
			}
			for _, n := range tree.Nodes {
				if n.Ignored || n.Role == nil {
					continue
				}
				role := strings.Trim(string(n.Role.Value), `"`)
				seen[role] = true
				if controls[role] {
					require.NotNil(t, n.Name, "%s: a %s", name, role)
					require.NotEqual(t, `""`, string(n.Name.Value), "%s: a %s without a name", name, role)
				}
			}
			return v, nil
		})
	}
	for _, role := range []string{"button", "textbox", "link", "status", "alert", "heading", "main"} {
		require.True(t, seen[role], "nothing is a %s", role)
	}
}

// Every state is drawn, without a complaint of the page; with -shots for a person to look at.
func TestBrowserShowsTheGallery(t *testing.T) {
	b, names, address := openGallery(t)
	for i, name := range names {
		b.draw(name)
		require.NotEqual(t, "blank", read[string](b, "document.body.dataset.view"), name)
		b.shoot(fmt.Sprintf("gallery-%03d-%s", i, strings.NewReplacer(", ", "-", " ", "_").Replace(name)))
	}
	b.quiet(address)
}
