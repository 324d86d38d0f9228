package main

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// What a display remembers for itself: nothing sounds until it is asked to, each state then has a sound of its own, and the
// look is the system's until this display has one.
func TestBrowserKeepsItsOwnSettings(t *testing.T) {
	t.Parallel()
	b, _, address := openGallery(t)
	look := func() string { return read[string](b, "document.documentElement.dataset.look") }
	require.Equal(t, "light", look())
	b.do(wish("prefers-color-scheme", "dark"))
	b.until(`document.documentElement.dataset.look === "dark"`)
	b.do(wish("prefers-contrast", "more"))
	b.until(`document.documentElement.dataset.look === "contrast"`)

	b.do(chromedp.Evaluate[chromedp.Void](`{
		window.notes = 0;
		const start = OscillatorNode.prototype.start;
		OscillatorNode.prototype.start = function (...at) { window.notes++; start.apply(this, at); };
		gallery.draw("free");
	}`))
	press := func(label, then string) {
		b.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`[...document.querySelectorAll("#settings button")].find(b => b.textContent.startsWith(%q)).click()`, label)))
		b.until(fmt.Sprintf(`[...document.querySelectorAll("#settings button")].some(b => b.textContent === %q)`, then))
	}
	press("Look", "Look: light")
	require.Equal(t, "light", look(), "the display's own goes before the system's")
	b.do(chromedp.Evaluate[chromedp.Void](`gallery.say("A, stop, near")`))
	require.Zero(t, read[int](b, "window.notes"), "off by default")
	press("Sound", "Sound on")
	b.do(chromedp.Evaluate[chromedp.Void](`window.notes = 0; gallery.say("A, pour"); gallery.say("A, pour, near")`))
	require.Equal(t, 2, read[int](b, "window.notes"), "a state sounds once, when it comes")
	require.Equal(t, "on", read[string](b, `localStorage.getItem("sound")`))

	alike := awaited(b, `import("/static/sound.js").then(({SOUNDS}) => {
		const seen = {};
		for (const [state, notes] of Object.entries(SOUNDS)) (seen[JSON.stringify(notes)] ??= []).push(state);
		return Object.values(seen).filter(states => states.length > 1).map(String);
	})`)
	require.Equal(t, []string{"unproven,cant_tell"}, alike, "they say the same")
	b.quiet(address)
}
