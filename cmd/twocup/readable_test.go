package main

import (
	"context"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// readable says that every text on the page has the contrast it needs, and every control a name.
func (b *tab) readable(t *testing.T) {
	t.Helper()
	low := read[[]string](b, `(() => {
		const rgb = c => c.match(/[\d.]+/g).map(Number), linear = v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
		const light = c => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]); // WCAG 2.2, relative luminance
		const ground = e => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor); if (c.length === 3 || c[3] === 1) return c; } return [255, 255, 255]; };
		const low = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
		let n = 0;
		while (walk.nextNode()) {
			const e = walk.currentNode.parentElement;
			if (!walk.currentNode.textContent.trim() || !e.checkVisibility()) continue;
			n++;
			const [a, z] = [light(rgb(getComputedStyle(e).color)), light(ground(e))].sort((x, y) => y - x);
			if ((a + 0.05) / (z + 0.05) < 4.5) low.push(walk.currentNode.textContent + " " + ((a + 0.05) / (z + 0.05)).toFixed(2));
		}
		if (n < 3) low.push("nothing was looked at");
		return low;
	})()`)
	require.Empty(t, low)
	tree, err := chromedp.Run(b.ctx, func(ctx context.Context, target *chromedp.Target) (accessibility.GetFullAXTreeResult, error) {
		return cdp.Call(ctx, target, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	})
	require.NoError(t, err)
	controls := 0
	for _, n := range tree.Nodes {
		if n.Ignored || n.Role == nil {
			continue
		}
		switch role := string(n.Role.Value); role {
		case `"button"`, `"link"`, `"textbox"`, `"radio"`, `"checkbox"`, `"combobox"`:
			controls++
			require.True(t, n.Name != nil && len(string(n.Name.Value)) > len(`""`), "a %s without a name", role)
		}
	}
	require.Positive(t, controls)
}
