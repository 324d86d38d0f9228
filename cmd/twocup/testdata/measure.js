// What is really drawn of a state of the gallery; the test says what is enough.
"use strict";
{
  const $ = id => document.getElementById(id);
  const visible = e => e.checkVisibility({ visibilityProperty: true });

  // Height of one character as it is drawn, px: the rows that have ink, and neither line box nor em.
  const pen = Object.assign(document.createElement("canvas"), { width: 700, height: 700 }).getContext("2d", { willReadFrequently: true });
  const heights = new Map();
  function glyph(e, character) {
    const s = getComputedStyle(e), font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`, key = [font, s.fontStretch, character].join();
    if (!heights.has(key)) {
      pen.font = font;
      pen.fontStretch = s.fontStretch === "75%" ? "condensed" : "normal";
      pen.clearRect(0, 0, 700, 700);
      pen.fillText(character, 50, 550);
      const { data } = pen.getImageData(0, 0, 700, 700);
      let top = -1, bottom = -1;
      for (let y = 0; y < 700; y++) for (let x = 0; x < 700; x++) if (data[4 * (700 * y + x) + 3] > 127) { if (top < 0) top = y; bottom = y; break; }
      heights.set(key, bottom - top + 1);
    }
    return heights.get(key);
  }

  // Relative luminance and contrast ratio, by their definitions in WCAG 2.2.
  const rgb = text => text.match(/[\d.]+/g).map(Number);
  const luminance = ([r, g, b]) => {
    const [R, G, B] = [r, g, b].map(c => c / 255).map(c => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * R + 0.7152 * G + 0.0722 * B;
  };
  const contrast = (a, b) => {
    const [x, y] = [luminance(a), luminance(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  function named(variable) { // a colour of the sheet, #rgb or #rrggbb; null for none
    const hex = /^#([0-9a-f]{3}|[0-9a-f]{6})$/.exec(getComputedStyle(document.body).getPropertyValue(variable).trim())?.[1];
    return hex ? hex.match(hex.length === 3 ? /./g : /../g).map(h => parseInt(h.length === 1 ? h + h : h, 16)) : null;
  }
  // What lies under an element: the nearest ground that hides what is below it, and on the page's own the hatching too.
  function grounds(e) {
    for (; e !== document.body; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c.length < 4 || c[3] === 1) return [c];
    }
    return [rgb(getComputedStyle(e).backgroundColor), named("--stripe")].filter(Boolean);
  }

  window.measure = name => {
    gallery.draw(name);
    for (const b of document.querySelectorAll("button")) b.disabled = false; // dead for a moment only
    const out = { Name: name, Figure: "", Digits: 0, Word: 0, Letter: 0, Contrast: 99, Faint: "", Graphics: 99, Faults: [] };
    const fault = text => out.Faults.push(text);

    if (visible($("remaining")) && $("remaining").textContent) {
      out.Figure = $("remaining").textContent;
      out.Digits = Math.min(...out.Figure.match(/\d/g).map(c => glyph($("remaining"), c)));
    }
    if (visible($("word"))) out.Word = glyph($("word"), $("word").textContent[0]);
    if (visible($("part-letter")) && $("part-letter").textContent) out.Letter = glyph($("part-letter"), $("part-letter").textContent);

    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), range = document.createRange();
    for (let n = walk.nextNode(); n; n = walk.nextNode()) {
      const e = n.parentElement, text = n.textContent.trim();
      if (!text || !visible(e) || e.closest("svg, script, option")) continue;
      const ink = rgb(getComputedStyle(e).color);
      for (const ground of grounds(e)) {
        const c = contrast(ink, ground);
        if (c < out.Contrast) Object.assign(out, { Contrast: c, Faint: text });
      }
      range.selectNodeContents(n);
      if (e.closest("footer")) continue; // a long name is cut there
      for (const r of range.getClientRects()) {
        if (r.left < -1 || r.right > innerWidth + 1 || r.top < -1 - r.height * 0.2 || r.bottom > innerHeight + 1 + r.height * 0.2) fault(`"${text}" is cut at the edge of the screen`);
      }
    }
    for (const ground of grounds(document.body)) out.Graphics = Math.min(out.Graphics, contrast(named("--accent"), ground), contrast(named("--ink"), ground));

    const main = document.querySelector("main");
    if (main.scrollHeight > main.clientHeight + 1) fault(`${main.scrollHeight - main.clientHeight} px have no room`);
    if (main.scrollWidth > main.clientWidth + 1) fault("something is too wide");
    const box = id => $(id).getBoundingClientRect();
    if (visible($("number")) && visible($("picture")) && box("picture").top < box("number").bottom && box("unit").right > box("picture").left + 1) fault("the number runs into the picture");
    if (visible($("meta")) && box("meta").bottom > main.getBoundingClientRect().bottom + 1) fault("the small figures have no room");
    if (visible($("caption")) && box("caption").top < box("cue").bottom - 2 - box("cue").height * 0.1) fault("the caption runs into the cue");
    for (const e of document.querySelectorAll("#word, #before, #after")) if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0) fault(`"${e.textContent}" is too wide`);
    return out;
  };
}
