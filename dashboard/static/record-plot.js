// The plot of mass over time. It carries no state by colour: the curve is a line, windows are dashed pairs, an acceptance
// is a ring with the part's name.
import { clock } from "./record-text.js";
import { svg } from "./shapes.js";

const GAP_S = 2; // two neighbours of an unthinned trace further apart than this had no reading between them
const EDGE = { left: 64, right: 18, top: 34, bottom: 52 };
const SECONDS = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200, 86400];

// The step of an axis with at most so many marks: 1, 2 or 5 times a power of ten.
function gramStep(span, marks) {
  const power = 10 ** Math.floor(Math.log10(span / marks));
  return [1, 2, 5, 10].map(n => n * power).find(step => span / step <= marks);
}

const secondStep = (span, marks) => SECONDS.find(step => span / step <= marks) ?? Math.ceil(span / marks / 86400) * 86400;

function ticks(low, high, step) {
  const list = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + step * 1e-9; n++) list.push(n * step);
  return list;
}

// plot({points, thinned}, marks, width, height): points are [seconds, grams], of which there is one at least; marks are
// acceptances with at_s and since_s in seconds. Gives an SVG of that size in CSS pixels.
export function plot({ points, thinned }, marks, width, height) {
  const times = [0, ...points.map(p => p[0]), ...marks.map(m => m.at_s)];
  const masses = [0, ...points.map(p => p[1]), ...marks.flatMap(m => [m.low_g, m.high_g, m.value_g])];
  const least = a => a.reduce((x, y) => Math.min(x, y)), most = a => a.reduce((x, y) => Math.max(x, y));
  const t = { low: least(times), high: Math.max(most(times), least(times) + 1) }, g = { low: least(masses), high: Math.max(most(masses), least(masses) + 1e-6) };
  const x = s => EDGE.left + (s - t.low) / (t.high - t.low) * (width - EDGE.left - EDGE.right);
  const y = m => height - EDGE.bottom - (m - g.low) / (g.high - g.low) * (height - EDGE.top - EDGE.bottom);
  return svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" },
    ...axes(t, g, x, y, width, height), ...curve(points, thinned, x, y), ...marks.flatMap(m => acceptance(m, x, y)));
}

function axes(t, g, x, y, width, height) {
  const byGram = gramStep(g.high - g.low, Math.max(2, height / 55)), digits = Math.max(0, -Math.floor(Math.log10(byGram) + 1e-9));
  const text = (at, anchor, words, kind) => svg("text", { ...at, "text-anchor": anchor, class: kind }, words);
  const right = width - EDGE.right, bottom = height - EDGE.bottom;
  return [
    ...ticks(g.low, g.high, byGram).flatMap(m => [svg("path", { class: "plot-level", d: `M${EDGE.left} ${y(m)}H${right}` }),
      text({ x: EDGE.left - 8, y: y(m) + 5 }, "end", m.toFixed(digits).replace("-", "−"), "plot-gram")]),
    ...ticks(t.low, t.high, secondStep(t.high - t.low, Math.max(2, width / 90))).flatMap(s => [svg("path", { class: "plot-tick", d: `M${x(s)} ${bottom}v6` }),
      text({ x: x(s), y: bottom + 22 }, "middle", clock(s), "plot-time")]),
    svg("path", { class: "plot-axis", d: `M${EDGE.left} ${EDGE.top}V${bottom}H${right}` }),
    text({ x: EDGE.left, y: 16 }, "middle", "g", "plot-unit"),
    text({ x: right, y: height - 8 }, "end", "min:s since the start", "plot-unit"),
  ];
}

// The curve, and dashes across what no reading covers.
function curve(points, thinned, x, y) {
  let line = "", gaps = "";
  points.forEach(([s, m], i) => {
    const at = `${x(s).toFixed(2)} ${y(m).toFixed(2)}`, before = points[i - 1];
    const gap = before && !thinned && s - before[0] > GAP_S;
    line += (before && !gap ? "L" : "M") + at;
    if (gap) gaps += `M${x(before[0]).toFixed(2)} ${y(before[1]).toFixed(2)}L${at}`;
  });
  return [svg("path", { class: "plot-gap", d: gaps }), svg("path", { class: "plot-curve", d: line })];
}

function acceptance(m, x, y) {
  const at = { cx: x(m.at_s), cy: y(m.value_g) };
  return [
    svg("path", { class: "plot-window", d: [m.low_g, m.high_g].map(edge => `M${x(m.since_s)} ${y(edge)}H${at.cx}`).join("") }),
    svg("circle", { ...at, r: 6, class: m.back ? "plot-mark plot-back" : "plot-mark" }),
    svg("text", { x: at.cx, y: at.cy - 13, "text-anchor": "middle", class: "plot-name" }, m.part.slice(0, 12)),
  ];
}
