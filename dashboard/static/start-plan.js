// A plan as text: the targets in one line, and all of it for the panel over the checks.
import { sdsText, toleranceText } from "./card.js";
import { massText, micrograms } from "./mass.js";
import { el } from "./record-text.js";
import { svg } from "./shapes.js";

const ALWAYS = ["Gloves and eye protection on, ventilation running."];
const NAMES = {
  resolution: "what the scale can prove", capacity: "load on the scale", cup_volume: "room in the cup", scale: "which scale", addition: "additions",
  pot_life: "pot life", exotherm: "heat", order: "order of the parts", lot: "lots",
};
const RANK = { stop: 0, caution: 1, ok: 2 };

// A level's own shape: a full square, a triangle, an open ring.
const SHAPES = {
  stop: () => svg("path", { d: "M10 10H90V90H10Z", fill: "currentColor" }),
  caution: () => svg("path", { d: "M50 12L92 86H8ZM50 40V62M50 72V76", fill: "none", stroke: "currentColor", "stroke-width": 10, "stroke-linejoin": "round", "stroke-linecap": "round" }),
  ok: () => svg("circle", { cx: 50, cy: 50, r: 36, fill: "none", stroke: "currentColor", "stroke-width": 10 }),
};

export function levelSign(level) {
  const sign = el("span", { className: "level" }, svg("svg", { viewBox: "0 0 100 100", "aria-hidden": "true" }, SHAPES[level]()), el("b", {}, level));
  sign.dataset.level = level;
  return sign;
}

export const worst = plan => plan.checks.reduce((w, c) => (RANK[c.level] < RANK[w] ? c.level : w), "ok");

const nameOf = (part, card) => card.additions?.find(a => a.id === part)?.name ?? part;
const mass = (grams, step) => `${massText(micrograms(grams), step)}\u00a0${step?.unit ?? "g"}`; // never parted by a line's end

// The targets in their order: "A 200.0 g, then B 100.0 g".
export const targetsText = (plan, card, step) => plan.parts.map(p => `${nameOf(p.part, card)} ${mass(p.target_g, step)}`).join(", then ");

// What a level asks for, for the checks that are not ok.
export function checksText(plan) {
  const open = plan.checks.filter(c => c.level !== "ok").map(c => NAMES[c.id] ?? c.id);
  return open.length ? open.join(", ") : "nothing speaks against it";
}

function check(c) {
  const li = el("li", {}, levelSign(c.level), el("p", {}, el("b", {}, NAMES[c.id] ?? c.id), `: ${c.figure}; ${c.limit}`, ...(c.do ? [el("b", { className: "do" }, sentence(c.do))] : [])));
  li.dataset.level = c.level;
  return li;
}

const sentence = text => text[0].toUpperCase() + text.slice(1) + (/[.?!]$/.test(text) ? "" : ".");

// How far a part may be from its target, as the scale shows it.
function row(p, card, step) {
  return el("tr", {}, el("th", { scope: "row" }, nameOf(p.part, card)), el("td", {}, el("b", {}, mass(p.target_g, step))),
    el("td", {}, `window ${massText(micrograms(p.low_g), step)} to ${mass(p.high_g, step)}`));
}

// The cautions of a card. The SDS and local rules decide.
export function cautions(card) {
  const sds = sdsText(card);
  return [...ALWAYS, ...(card.cautions ?? []), `Follow the SDS and local rules. ${sds ? `SDS ${sds}` : "The card names no SDS: find each part's before you pour."}`];
}

// drawPlan(box, plan, card, step) fills the panel: what speaks against it first, then the masses, the cautions, the rest.
export function drawPlan(box, plan, card, step) {
  const checks = plan.checks.toSorted((a, b) => RANK[a.level] - RANK[b.level]), open = checks.filter(c => c.level !== "ok");
  const list = (items, className) => el("ul", { className }, ...items);
  const table = el("table", {}, el("caption", {}, sentence(card.sentence)), el("tbody", {}, ...plan.parts.map(p => row(p, card, step))));
  box.replaceChildren(
    ...(open.length ? [list(open.map(check), "checks")] : []),
    ...(worst(plan) === "stop" ? [el("p", {}, "Where a stop can be passed at all, the bench asks who goes on and why before anything is poured.")] : []),
    table,
    list(cautions(card).map(t => el("li", { className: "told" }, t)), "cautions"),
    el("p", {}, [`${mass(plan.total_g, step)} in all`, plan.volume_ml !== null && `${Number(plan.volume_ml.toFixed(1))} mL`,
      plan.uncertainty_pct !== null && `uncertainty of the ratio ${plan.uncertainty_pct} %`, `the card allows ${toleranceText(card) ?? "2 % of B, assumed"}`].filter(Boolean).join(" · ")),
    list(checks.filter(c => c.level === "ok").map(check), "checks"),
    ...(plan.assumed.length ? [el("details", {}, el("summary", {}, `Assumed, since nothing says otherwise (${plan.assumed.length})`), list(plan.assumed.map(t => el("li", {}, t)), ""))] : []),
  );
}
