// Puts what view.js says on the page. The bench and the gallery draw through this alone.
import { makeActions } from "./actions.js";
import { toleranceText } from "./card.js";
import { makeCup } from "./cup.js";
import { fit } from "./fit.js";
import { makeFree } from "./free.js";
import { makeLens } from "./lens.js";
import { makeOverride } from "./override.js";
import { makeQuestion } from "./question.js";
import { drawShape, set as svgSet, svg } from "./shapes.js";
import { makeTyped } from "./typed.js";
import { actionsFor, potLife, potLifeOver, view } from "./view.js";

const $ = id => document.getElementById(id);
const mark = (name, value) => { if (document.body.dataset[name] !== value) document.body.dataset[name] = value; };
const set = (id, text) => { if ($(id).textContent !== text) $(id).textContent = text; };

// tell(text) shows a sentence for a while: the reason of a refusal.
let noticeTimer = 0;
export function tell(text) {
  clearTimeout(noticeTimer);
  set("notice", text);
  noticeTimer = setTimeout(() => set("notice", ""), 8000);
}

// makeScreen(station, outside) draws one station. outside is all that the screen asks of the world: send(snap, action,
// more, tell), record(id), card(id), last(), again(id). show(snap, gap_ms, retry_ms, {pedal, name}) draws and gives the
// view; press("tap" or "hold") is the pedal.
export function makeScreen(station, outside) {
  const { send, card } = outside;
  const actions = makeActions($("actions"), send, tell), question = makeQuestion($("question"), send, tell);
  const override = makeOverride($("override"), send, outside.record), typed = makeTyped($("typed"), send, tell);
  const free = makeFree($("free"), station, outside);
  const cup = makeCup(), lens = makeLens();
  const byMass = svg("text", { x: 6, y: 306, class: "by-mass" }, "heights by weight: the card has no densities");
  $("picture").append(svg("svg", { viewBox: "0 0 318 312", "aria-hidden": "true" }, cup.node, lens.node, byMass));
  let again = null;

  function show(snap, gap_ms, retry_ms, bench) {
    if (!snap) {
      if (gap_ms > 2000) set("alarm", "This display has not reached the station yet and keeps trying."), ($("alarm").hidden = false);
      return null;
    }
    again = () => show(snap, gap_ms, retry_ms, bench);
    const own = card(snap.batch?.material);
    const v = view(snap, gap_ms, own && toleranceText(own), retry_ms);
    for (const k of ["cue", "band", "phase", "part", "ground", "link", "verdict", "state"]) mark(k, v[k]);
    mark("seq", String(snap.seq));
    const place = override(snap, v.state === "wait" && v.phase === "cup") ? "override"
      : v.state === "answer" ? "question" : v.state === "type" ? "typed" : snap.batch ? "weigh" : "free";
    mark("view", place);
    question.update(snap, place === "question", bench.pedal);
    typed(snap, place === "typed", own);
    free.update(snap, v, place === "free", { ...bench, card });
    actions.update(snap, actionsFor(snap, v), bench.pedal);
    set("alarm", v.alarm ?? "");
    $("alarm").hidden = !v.alarm || place === "weigh"; // there the cue says it
    set("warning", v.warning ?? "");
    $("warning").hidden = !v.warning;
    if (snap.batch && place !== "question") weigh(snap, v, own);
    foot(snap, gap_ms, own);
    return v;
  }

  function weigh(snap, v, own) {
    set("part-letter", v.letter);
    $("part-letter").classList.toggle("plus", v.letter === "+");
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
    $("poured").style.minWidth = `${v.target.length}ch`; // nothing moves when a digit more is needed
    $("shown").style.minWidth = `${v.target ? v.target.length + v.unit.length + 1 : 0}ch`;
    $("shown").classList.toggle("struck", v.struck);
    $("saving").hidden = !v.saving;
    const drawn = cup.update(snap.batch, own?.density);
    lens.update(v.lens, drawn.at);
    svgSet(byMass, "visibility", own && !drawn.byVolume ? "visible" : "hidden");
    fit(v);
  }

  function foot(snap, gap_ms, own) {
    const b = snap.batch, now = Date.parse(snap.at) + gap_ms;
    set("material", b ? own?.name ?? b.material : "");
    set("ratio", b && own ? own.ratio_text : "");
    set("cup-no", b?.cups > 1 ? `cup ${b.cup_no} of ${b.cups}` : "");
    set("pot-life", potLife(b?.pot_life, now) ?? "");
    $("pot-life").classList.toggle("over", potLifeOver(b?.pot_life, now));
  }

  addEventListener("resize", () => again?.());
  return { show, press: way => { question.press(way); free.press(way); actions.press(way); } };
}
