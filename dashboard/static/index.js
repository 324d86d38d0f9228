// All stations: what each is doing, whether its scale is alive, and the ways on. Where a clock runs out first stands first.
import { allMaterials } from "./api.js";
import { poll } from "./index-poll.js";
import { el } from "./record-text.js";
import { drawShape } from "./shapes.js";
import { potLife, view } from "./view.js";

const OLD_MS = 3000; // it is asked once a second
const $ = id => document.getElementById(id);
const names = new Map(), unknown = new Set(); // of materials; ids that no card was found for
const set = (node, text) => { if (node.textContent !== text) node.textContent = text; };

// When a station's first clock ends, in ms since 1970; one that is over or unknown comes before all others. Pure.
export function firstEnd(snap) {
  return Math.min(Infinity, ...snap.clocks.map(c => (c.ends === null ? -Infinity : Date.parse(c.ends))));
}

// What a station is doing, in words: pure. age_ms is how old the snapshot is.
export function words(snap, age_ms, name) {
  const v = view(snap, age_ms), b = snap.batch, age = Math.floor(age_ms / 1000);
  const scale = { up: "scale alive", silent: "scale silent", down: "scale lost", manual: "readout is typed" }[snap.scale.link] ?? snap.scale.link;
  return {
    v, doing: !b && age_ms <= OLD_MS ? "Free" : [v.letter, ...v.word].filter(Boolean).join(" "),
    progress: [b && name, v.poured && `${v.poured} of ${v.target} ${v.unit}`].filter(Boolean).join(" · "),
    clock: potLife(b?.pot_life, Date.parse(snap.at) + age_ms) ?? "",
    scale: age_ms > OLD_MS ? `no answer for ${age} s; then ${scale},` : `${scale},`, shown: snap.scale.shown ?? "no reading yet",
    advice: snap.ledger ?? snap.scale.advice ?? "",
  };
}

const tiles = new Map(); // by station, kept so that the focus stays where it is

function tileOf({ station, name }) {
  if (tiles.has(station)) return tiles.get(station);
  const part = (tag, className) => el(tag, { className }), id = encodeURIComponent(station);
  const t = { shape: part("span", "shape"), doing: part("span", ""), progress: part("p", "progress told"), clock: part("b", "clock"), scale: part("span", ""), shown: part("b", ""), advice: part("p", "advice told") };
  const ways = el("nav", {}, ...[["bench", "Bench"], ["start", "Start a batch"], ["scale", "Scale"]].map(([path, text]) => el("a", { href: `/${path}/${id}` }, text)));
  ways.setAttribute("aria-label", name);
  t.li = el("li", { className: "station" }, el("h2", {}, el("span", { className: "told" }, name), t.clock),
    el("p", { className: "doing" }, t.shape, t.doing), t.progress, el("p", { className: "scale" }, t.scale, " ", t.shown), t.advice, ways);
  tiles.set(station, t);
  return t;
}

function fill(snap, age_ms) {
  const t = tileOf(snap), w = words(snap, age_ms, names.get(snap.batch?.material) ?? snap.batch?.material);
  drawShape(t.shape, !snap.batch && age_ms <= OLD_MS ? "cup" : w.v.shape, w.v.drops, w.v.letters);
  for (const k of ["doing", "progress", "clock", "scale", "shown", "advice"]) set(t[k], w[k]);
  t.shown.classList.toggle("struck", w.v.struck);
  t.clock.classList.toggle("over", snap.clocks.some(c => c.state === "over"));
  t.li.classList.toggle("old", age_ms > OLD_MS);
  if (snap.batch && !names.has(snap.batch.material) && !unknown.has(snap.batch.material)) {
    unknown.add(snap.batch.material);
    meet();
  }
  return t.li;
}

function show(answer, age_ms, error) {
  set($("alarm"), error ? `${error.message}${answer ? " What stands below is old." : ""}` : "");
  $("alarm").hidden = !error;
  const stations = (answer?.stations ?? []).toSorted((a, b) => firstEnd(a) - firstEnd(b) || 0);
  const list = stations.map(s => fill(s, age_ms)), box = $("stations");
  if (list.some((li, i) => box.children[i] !== li) || box.children.length !== list.length) box.replaceChildren(...list);
}

async function meet() {
  try {
    const cards = await allMaterials();
    for (const c of cards) names.set(c.id, c.name);
    $("newcomer").hidden = cards.length > 0;
  } catch {
    setTimeout(meet, 2000); // the stations' own question says what is wrong
  }
}

meet();
poll("/stations", show);
