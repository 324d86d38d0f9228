// The display over one bench: puts what view.js says on the page.
import { makeActions } from "./actions.js";
import { api } from "./api.js";
import { toleranceText } from "./card.js";
import { makeCup } from "./cup.js";
import { makeDemo } from "./demo.js";
import { fit } from "./fit.js";
import { makeLens } from "./lens.js";
import { live } from "./live.js";
import { makeOverride } from "./override.js";
import { makeQuestion } from "./question.js";
import { drawShape, svg } from "./shapes.js";
import { makeStart } from "./start.js";
import { actionsFor, potLife, view } from "./view.js";

const station = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const $ = id => document.getElementById(id);
const set = (id, text) => { if ($(id).textContent !== text) $(id).textContent = text; };

let noticeTimer = 0;
function tell(text) {
  clearTimeout(noticeTimer);
  set("notice", text);
  noticeTimer = setTimeout(() => set("notice", ""), 8000);
}

const start = makeStart($("start"), station);
const actions = makeActions($("actions"), tell), question = makeQuestion($("question"), tell), override = makeOverride($("override"));
const cup = makeCup(), lens = makeLens();
const byMass = svg("text", { x: 6, y: 306, class: "by-mass" }, "heights by weight: the card has no densities");
$("picture").append(svg("svg", { viewBox: "0 0 318 312", "aria-hidden": "true" }, cup.node, lens.node, byMass));
document.title = `Bench ${station}`;

let last = null;
function show(snap, gap_ms) {
  if (!snap) {
    if (gap_ms > 2000) set("alarm", "This display has not reached the station yet and keeps trying."), ($("alarm").hidden = false);
    return;
  }
  const card = start.card(snap.batch?.material);
  const v = view(snap, gap_ms, card && toleranceText(card));
  last = { snap, gap_ms };
  for (const k of ["cue", "band", "phase", "part", "ground", "link", "verdict", "state"]) document.body.dataset[k] = v[k];
  const waiting = v.state === "wait" && v.phase === "cup";
  document.body.dataset.view = v.state === "answer" ? "question" : snap.batch ? "weigh" : "empty";
  question(snap, v.state === "answer");
  start.show(!snap.batch);
  if (override(snap, waiting)) document.body.dataset.view = "override";
  actions(snap, actionsFor(snap, v));
  set("alarm", v.alarm ?? "");
  $("alarm").hidden = !v.alarm || document.body.dataset.view === "weigh"; // there the cue says it
  set("warning", v.warning ?? "");
  $("warning").hidden = !v.warning;
  if (snap.batch && v.state !== "answer") weigh(snap, v, card);
  foot(snap, gap_ms, card);
}

function weigh(snap, v, card) {
  set("part-letter", v.letter);
  drawShape($("shape"), v.shape, v.drops, v.letters);
  const [before, word, after] = v.word;
  set("before", before && before + " ");
  set("word", word);
  set("after", after && " " + after);
  $("figure").hidden = v.figure === null;
  set("caption", v.figure?.caption ?? "");
  set("remaining", v.figure?.text ?? "");
  set("unit", v.figure?.unit ?? "");
  set("note", v.note);
  $("of").hidden = v.poured === "";
  set("poured", v.poured);
  set("target", `${v.target} ${v.unit}`);
  set("shown", v.shown);
  set("motion", v.motion);
  $("shown").classList.toggle("struck", v.struck);
  $("saving").hidden = !v.saving;
  const drawn = cup.update(snap.batch, card?.density);
  lens.update(v.lens, drawn.at);
  byMass.setAttribute("visibility", card && !drawn.byVolume ? "visible" : "hidden");
  fit(v);
}

function foot(snap, gap_ms, card) {
  set("material", snap.batch ? card?.name ?? snap.batch.material : "");
  set("ratio", snap.batch && card ? card.ratio_text : "");
  set("pot-life", potLife(snap.batch?.pot_life, Date.parse(snap.at) + gap_ms) ?? "");
}

async function meet() {
  try {
    const s = await api("GET", `/stations/${encodeURIComponent(station)}`);
    if (s.demo !== true) return;
    makeDemo($("demo"), tell);
    $("demo").hidden = false;
  } catch (e) {
    if (e.status === 404) return tell(e.message);
    setTimeout(meet, 2000);
  }
}

addEventListener("resize", () => last && show(last.snap, last.gap_ms));
meet();
live(`/api/v1/stations/${encodeURIComponent(station)}/live`, show);
