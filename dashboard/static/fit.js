// Sizes from what the fonts of this machine really draw: the figure's digits are a quarter of the screen's height,
// the cue word and the letter two thirds of that, smaller only where the width has no room.
const FAMILY = "system-ui, sans-serif", WEIGHT = "700 condensed";
const FIGURE = 0.256, CUE = 2 / 3 + 0.015; // of the screen's height, of the figure: a little to spare over 1/4 and 2/3
const ONE_COLUMN = matchMedia("(max-width: 700px), (orientation: portrait)"); // as in bench.css

const pen = document.createElement("canvas").getContext("2d");
pen.font = `${WEIGHT} 100px ${FAMILY}`;
const widthOf = text => pen.measureText(text).width / 100; // in em
const heightOf = text => pen.measureText(text).actualBoundingBoxAscent / 100;

let fitted = "", watched = null;

// fit(v) sets --figure, --figure-width, --cue and --aside (px) for a view. Digits are all of one width, so a number that
// counts changes nothing.
export function fit(v) {
  const main = document.querySelector("main");
  const texts = JSON.stringify([v.word, v.letter, v.shape, v.figure, v.note, v.shown, v.motion, v.poured, v.warning, v.saving]).replace(/\d/g, "0");
  if (main !== watched) {
    watched = main;
    new ResizeObserver(() => (fitted = "")).observe(main); // asked of main at each message, its height would cost a layout each
  }
  const key = [innerWidth, innerHeight, texts].join();
  if (key === fitted) return;
  fitted = key;
  const w = innerWidth, h = innerHeight, column = ONE_COLUMN.matches, pad = Math.max(12, w * 0.02);
  const set = (name, px) => document.documentElement.style.setProperty(name, `${px.toFixed(1)}px`);

  const { text = "", reserve = "000.0", unit = "g", size = 1 } = v.figure ?? {};
  const em = Math.max(widthOf(reserve), widthOf(text));
  const room = (column ? w : w * 0.74) - 2 * pad;
  const least = column ? widthOf("000.0") : 0; // a phone's picture keeps its room when the number is short
  const figure = Math.min((FIGURE * h) / heightOf("0"), room / (Math.max(em, least) + 0.1 + 0.26 * widthOf(unit)));
  set("--figure", figure * size);
  set("--figure-width", em * figure * size);

  const digit = column ? figure * heightOf("0") : FIGURE * h;
  const lines = v.figure ? [v.word[1]] : v.word[1].split(" "); // without a big figure the word may take two lines
  const beside = (v.letter ? widthOf(v.letter) + 0.22 : 0) + (v.shape === "rings" ? 1.9 : 1.1);
  const longest = Math.max(...lines.map(widthOf)) + (column ? 0 : beside);
  const cue = Math.min((CUE * digit) / heightOf("H"), (0.985 * (w - 2 * pad)) / longest);
  set("--cue", cue);
  const asides = Math.max(widthOf(v.word[0]), widthOf(v.word[2]), 1);
  set("--aside", Math.min(0.34 * cue, (0.97 * (w - 2 * pad) - (column ? 0 : beside * cue)) / asides));

  const body = document.body.classList;
  body.remove("tight"); // where the height has no room, the figure's caption goes first
  body.toggle("tight", main.scrollHeight > main.clientHeight);
}
