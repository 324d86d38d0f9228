// Sizes from what the fonts of this machine really draw: the figure's digits are a quarter of the screen's height,
// the cue word and the letter two thirds of that, smaller only where the width has no room.
const FAMILY = "system-ui, sans-serif", WEIGHT = "700 condensed";
const FIGURE = 0.256, CUE = 0.174; // of the screen's height, with a little to spare over 1/4 and 1/6

const pen = document.createElement("canvas").getContext("2d");
pen.font = `${WEIGHT} 100px ${FAMILY}`;
const widthOf = text => pen.measureText(text).width / 100; // in em
const heightOf = text => pen.measureText(text).actualBoundingBoxAscent / 100;

// fit(v) sets --figure, --figure-width and --cue (px) for a view; column: one column, as on a phone.
export function fit(v) {
  const w = innerWidth, h = innerHeight, column = w < 700 || w < h, pad = Math.max(12, w * 0.02);
  const set = (name, px) => document.documentElement.style.setProperty(name, `${px.toFixed(1)}px`);
  document.body.classList.toggle("column", column);

  let figure = (FIGURE * h) / heightOf("0");
  if (v.figure && !v.figure.small) {
    const em = Math.max(widthOf(v.figure.reserve), widthOf(v.figure.text));
    const unit = 0.1 + 0.26 * widthOf(v.figure.unit);
    const room = column ? w - 2 * pad : w * 0.74 - 2 * pad;
    figure = Math.min(figure, room / (em + unit));
    set("--figure-width", em * figure);
  }
  set("--figure", figure);

  const digit = figure * heightOf("0");
  const wanted = (column ? digit * 0.68 : CUE * h) / heightOf("H");
  const free = v.figure && !v.figure.small ? [v.word[1]] : v.word[1].split(" "); // without a big figure the word may take two lines
  const beside = (v.letter ? widthOf(v.letter) + 0.25 : 0) + (v.shape === "rings" ? 2.1 : 1.05);
  const longest = Math.max(...free.map(widthOf)) + (column ? 0 : beside);
  set("--cue", Math.min(wanted, (w - 2 * pad) / longest));
}
