package main

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"twocup/simulator"
)

// press is a key that goes down in the page, and stays down.
func press(key string) chromedp.Action[chromedp.Void] { return keyGoes("keydown", key) }
func letGo(key string) chromedp.Action[chromedp.Void] { return keyGoes("keyup", key) }

func keyGoes(way, key string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(
		`void (document.activeElement ?? document.body).dispatchEvent(new KeyboardEvent(%q, {key: %q, bubbles: true, cancelable: true}))`, way, key))
}

// scan sends a code as a scanner does, all within a few milliseconds.
func scan(code string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`{
		const at = document.activeElement ?? document.body;
		const key = (way, k) => at.dispatchEvent(new KeyboardEvent(way, {key: k, bubbles: true, cancelable: true}));
		for (const k of [...%q, "Enter"]) {
			if (key("keydown", k) && k !== "Enter" && "value" in at) at.value += k; // what the browser itself does with a key
			key("keyup", k);
		}
	}`, code))
}

// A scanner, a pedal and a person's typing come through the same keyboard and are never taken for one another.
func TestBrowserTellsAScannerFromAPedalFromTyping(t *testing.T) {
	t.Parallel()
	d := startDemo(t, simulator.Options{Seed: 1})
	b := openTab(t)
	b.do(chromedp.Navigate("http://"+d.address+"/"),
		chromedp.Evaluate[chromedp.Void](`import("/static/keys.js").then(({keys}) => {
			window.got = [];
			keys({onScan: c => got.push("scan " + c), onTap: () => got.push("tap"), onHold: () => got.push("hold")});
		})`))
	b.until("window.got !== undefined")
	got := func() []string { return read[[]string](b, "window.got.splice(0)") }

	b.do(press("Enter"))
	require.Empty(t, got(), "a key that went down is a tap only once it is up")
	b.do(letGo("Enter"))
	require.Equal(t, []string{"tap"}, got())
	b.do(press("Enter"), press("Enter"))
	b.until("window.got.length > 0")
	b.do(letGo("Enter"))
	require.Equal(t, []string{"hold"}, got(), "a second, and no tap after it")
	b.do(scan("twocup:b_begins"))
	require.Equal(t, []string{"scan twocup:b_begins"}, got(), "the Enter of a scan is no tap")
	b.do(scan("7"))
	require.Empty(t, got(), "a scrap of a code is neither code nor tap")
	b.do(letGo("Enter"))
	require.Empty(t, got())

	b.do(chromedp.Evaluate[chromedp.Void](`{
		const field = document.createElement("input");
		document.body.append(field);
		field.focus();
		field.value = "150";
	}`), scan("LOT 42"))
	require.Equal(t, []string{"scan LOT 42"}, got())
	require.Equal(t, "150", read[string](b, `document.querySelector("input").value`), "a code is taken out of the field that it fell into")
	b.do(press("Enter"), letGo("Enter"))
	require.Empty(t, got(), "Enter in a field belongs to the field")
	b.quiet(d.address)
}

// The times are a scanner's and a hand's: 20 characters a second is more than any hand keeps up.
func TestBrowserTakesABurstForACodeByItsTimes(t *testing.T) {
	t.Parallel()
	d := startDemo(t, simulator.Options{Seed: 1})
	b := openTab(t)
	b.do(chromedp.Navigate("http://" + d.address + "/"))
	codes := awaited(b, `import("/static/keys.js").then(({makeBurst}) => [[10, 5], [50, 50], [51, 10], [10, 51], [300, 200]].map(([between, last]) => {
		const burst = makeBurst();
		let at = 0;
		for (const c of "ABCD") burst.add(c, at += between);
		return String(burst.end(at + last));
	}))`)
	require.Equal(t, []string{"ABCD", "ABCD", "", "null", "null"}, codes)
}
