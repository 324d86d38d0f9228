// The facts of a batch in plain words: pure.
import { gramsText } from "./record-text.js";
import { answerText } from "./view.js";

// Grams from a fact's whole picograms.
export const gramsOf = pg => pg / 1e12;

const WHY_REFERENCED = {
  key: "a key of the scale was pressed", tared: "a key of the scale was pressed", cup_back: "the cup came back", same_cup: "the cup came back",
  division: "the scale's step changed", fell: "the weight fell", put_in: "something was put in that is no part",
  taken_out: "something was taken out that is no part", tare: "tared at the station",
};
const WHY_REOPENED = { drip: "drips landed", landed: "more landed", reopen: "a person took it back", to_a: "what landed was A", to_b: "what landed was B" };
const BEGAN = { rise: "as the scale rose" };

const by = f => (f.operator ? ` by ${f.operator}` : "");

const WORDS = {
  started: f => `Started at ${f.station}${by(f)}: ${f.card.name}, revision ${f.plan.revision}${f.practice ? ", practice" : ""}`,
  cup_taken: (f, g) => `Cup taken at ${g(gramsOf(f.reference_pg))} g on the scale`,
  referenced: (f, g) => `Counted on from ${g(gramsOf(f.reference_pg))} g: ${WHY_REFERENCED[f.why] ?? f.why}`,
  jumped: (f, g) => `The scale went from ${g(gramsOf(f.from_pg))} g to ${g(gramsOf(f.to_pg))} g at once${f.silent ? ", after a silence" : ""}`,
  answered: f => `Answered: ${answerText(f.answer)}`,
  doubted: f => `In doubt from here on: ${f.why}`,
  begun: f => `${f.part} began, ${BEGAN[f.by] ?? "as a person said"}`,
  accepted: (f, g) => `${f.part} accepted by ${f.by === "auto" ? "the station" : "a person"}: ${g(f.poured_g)} g in the cup${f.verdict ? `. Verdict: ${f.verdict}` : ""}`,
  reopened: f => `${f.part} taken back: ${WHY_REOPENED[f.why] ?? f.why}`,
  clock_doubted: f => `From here on its pot life is unknown: ${f.why}`,
  noted: f => `Note${by(f)}: ${f.text}`,
  overridden: f => `Check ${f.check} passed${by(f)}: ${f.reason}`,
  ended: f => `${f.phase === "abandoned" ? "Given up" : "Scrapped"}${f.reason ? `: ${f.reason}` : ""}`,
};

// One event as a sentence; a kind from a later version is named as it is.
export function eventText({ kind, fact }, step) {
  return WORDS[kind]?.(fact, grams => gramsText(grams, step)) ?? `Event of the kind ${kind}`;
}

// Every acceptance with the window that was in force for it: {part, at, poured_g, window} of the part, {value_g, low_g,
// high_g} of the scale, since: when the one before it was accepted, back: whether it was
// taken back later.
export function acceptances(record) {
  const windows = new Map(record.plan.parts.map(p => [p.part, p])), list = [];
  let since = null;
  for (const { kind, at, fact } of record.events) {
    if (kind === "cup_taken") since = at;
    if (kind === "reopened") list.at(-1).back = true;
    if (kind === "referenced" && fact.part) windows.set(fact.part.part, fact.part);
    if (kind !== "accepted") continue;
    const value = gramsOf(fact.weighings.at(-1).to_pg), from = value - fact.poured_g, w = windows.get(fact.part);
    list.push({ part: fact.part, at, since: since ?? at, poured_g: fact.poured_g, window: w, value_g: value, low_g: from + w.low_g, high_g: from + w.high_g, back: false });
    if (fact.next) windows.set(fact.next.part, fact.next);
    since = at;
  }
  return list;
}
