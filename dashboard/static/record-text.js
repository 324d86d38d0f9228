// What the list and the record share: how a batch stands, and its times and masses as text. Pure, but for el.
import { drawShape } from "./shapes.js";
import { stepOf } from "./mass.js";
import { view } from "./view.js";

// el("p", {className: "told"}, "text", child, …) makes one element. Texts of people only ever become text nodes.
export function el(name, properties = {}, ...children) {
  const e = Object.assign(document.createElement(name), properties);
  e.append(...children);
  return e;
}

const two = n => String(n).padStart(2, "0");

// An instant in this display's time, to the minute or the second.
export function localTime(iso, seconds = false) {
  const d = new Date(iso);
  return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())} ${two(d.getHours())}:${two(d.getMinutes())}${seconds ? ":" + two(d.getSeconds()) : ""}`;
}

export const timeElement = (iso, seconds) => el("time", { dateTime: iso }, localTime(iso, seconds));

// Seconds as m:ss or h:mm:ss.
export function clock(s) {
  const whole = Math.round(Math.abs(s)), h = Math.floor(whole / 3600);
  return `${s < 0 && whole ? "−" : ""}${h ? `${h}:${two(Math.floor(whole / 60) % 60)}` : Math.floor(whole / 60)}:${two(whole % 60)}`;
}

export const stepOfRecord = record => stepOf(record.scales[0]) ?? { unit: "g", decimals: 0 };

// Grams with all their digits, and at least as many after the point as the scale shows: nothing is rounded away.
export function gramsText(grams, step) {
  if (typeof grams !== "number") return "–";
  const all = grams.toFixed(6), kept = Math.max(all.replace(/0{1,6}$/, "").length, all.length - 6 + step.decimals);
  return all.slice(0, kept).replace(/\.$/, "").replace("-", "−");
}

export const cardOf = record => record.events[0].fact.card;

// How a batch stands: word, shape and ground by the bench's own table, so that both always say the same of a verdict.
// figure: the ratio's error with its sign, null without a verdict; note: side, uncertainty and tolerance, or the doubt.
export function standing(record, tolerance) {
  const scale = { link: "up", state: "normal", shown: null, value_g: null, age_ms: null, stable: true, advice: null, division_g: record.scales[0].division_g };
  const v = view({ scale, batch: record }, 0, tolerance);
  const ended = { scrapped: "scrapped", abandoned: "given up" }[record.phase];
  if (!record.verdict) return { word: ended ?? "no verdict yet", shape: ended ? v.shape : "dots", ground: "plain", figure: null, note: record.doubt ?? "" };
  const asWeighed = ended ? view({ scale, batch: { ...record, phase: "mix", cue: "done" } }, 0, tolerance) : v;
  return { word: ended ? `${ended}, was ${asWeighed.state}` : v.state, shape: v.shape, ground: ended ? "plain" : v.ground, figure: asWeighed.figure, note: asWeighed.note };
}

// The sign of a standing: its shape and its word.
export function sign({ word, shape, ground }) {
  const box = el("span", { className: "shape" }), chip = el("span", { className: "sign ground" }, box, el("b", {}, word));
  drawShape(box, shape, 3);
  chip.dataset.ground = ground;
  return chip;
}

// The station that has a batch on its scale or pan just now, or undefined.
export const benchOf = (record, stations) => stations.find(s => s.batch?.id === record.id);
