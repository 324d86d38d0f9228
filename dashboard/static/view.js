// From a snapshot to what is shown. Pure: no clock, no document; gap_ms, the page's own age of the message, comes
// in from outside, so that a dead server is as loud as a dead scale.
import { massText, micrograms, stepOf } from "./mass.js";

const FRESH_MS = 2000; // a message comes each second, so two seconds without one is an outage

// One table, first row that holds wins: state, when, [before, word, after], shape, ground, big figure.
// The word stands at full size, what goes before and after it smaller. Figures: "remaining" (still to pour),
// "over" (the same, as an amount too much), "error" (of the ratio), null.
const TABLE = [
  ["lost", m => m.lost || m.silent, m => ["", "No reading", m.since], "broken", "lost", null],
  ["heavy", m => m.onScale && m.scale.state === "over", () => ["", "Too heavy", "for this scale"], "weightdown", "lost", null],
  ["light", m => m.onScale && m.scale.state === "under", () => ["", "Under zero", "at the scale"], "weightup", "lost", null],
  ["fault", m => m.onScale && m.scale.state === "fault", () => ["", "Scale fault", ""], "broken", "lost", null],
  ["empty", m => !m.b, () => ["", "Nothing on", ""], "cup", "plain", null],
  ["answer", m => m.b.question, m => ["", m.b.question.ask, ""], "halves", "plain", null],
  ["parked", m => m.b.phase === "parked", () => ["", "Parked", "bring the cup back to go on"], "beside", "plain", null],
  ["scrapped", m => m.b.phase === "scrapped", () => ["", "Scrapped", ""], "crossed", "plain", null],
  ["abandoned", m => m.b.phase === "abandoned", () => ["", "Given up", ""], "crossed", "plain", null],
  ["within", m => m.b.cue === "done" && m.green, m => ["", "Within", next(m)], "inside", "green", "error"],
  ["unproven", m => m.b.cue === "done" && ["unproven", "within"].includes(m.b.verdict), () => CANT_TELL, "unproven", "unproven", "error"],
  ["outside", m => m.b.cue === "done" && m.b.verdict === "outside", () => ["", "Outside", ""], m => (m.b.ratio_error_pct < 0 ? "below" : "above"), "over", "error"],
  ["step", m => STEPS[m.b.phase], m => ["", capital(STEPS[m.b.phase]), ""], "stick", "plain", null],
  ["done", m => m.b.cue === "done", () => ["", "Done", ""], "ring", "plain", null],
  ["type", m => m.b.cue === "type", m => ["", TYPES[m.by] ?? "Type", ""], "field", "plain", "remaining"],
  ["place", m => m.b.cue === "place", m => ["", m.own ? `Place the cup of ${m.b.part}` : "Place the cup", m.b.cups > 1 && !m.b.part ? `${m.b.cup_no} of ${m.b.cups}` : ""], "cup", "plain", null],
  ["wait", m => m.b.cue === "wait", () => ["", "Wait", ""], "dots", "plain", null],
  ["change_over", m => m.b.cue === "change_over", m => m.change, "rings", "plain", "remaining"],
  ["inside", m => m.green, () => ["", "In", ""], "inside", "green", "remaining"],
  ["cant_tell", m => m.b.band === "inside" && m.b.provable !== true && m.scale.stable, () => CANT_TELL, "unproven", "unproven", "remaining"],
  ["stop", m => m.b.cue === "stop", () => ["", "Stop", ""], "square", "stop", "remaining"],
  ["above", m => m.b.band === "above", m => ["", "Over by", `${m.amount} ${m.unit}`], "above", "over", "over"],
  ["hold", m => m.b.cue === "hold", () => ["", "Hands off", ""], "lines", "plain", "remaining"],
  ["top_up", m => m.b.cue === "top_up", m => ["", "Add", `${m.amount} ${m.unit}${m.drops ? ` (about ${m.drops} drop${m.drops > 1 ? "s" : ""})` : ""}`], "drops", "pour", "remaining"],
  ["correct", m => m.b.cue === "correct", m => ["Too much B:", `Add ${m.b.part}`, ""], "plus", "pour", "remaining"],
  ["ease", m => m.b.cue === "ease", () => ["", "Ease", ""], "thread", "ease", "remaining"],
  ["pour", m => m.b.cue === "pour", () => ["", "Pour", ""], "drop", "pour", "remaining"],
  ["other", () => true, m => ["", m.b.cue, ""], "dots", "plain", "remaining"],
];
const CANT_TELL = ["", "In or out:", "the scale can't tell"];
const TYPES = { volume: "Measure", drops: "Drops" };

const NOTES = {
  wait: m => m.scale.advice ?? (m.b.phase === "cup" ? "The load is not at rest yet, or a check is open" : ""),
  parked: m => m.b.parts.some(p => p.poured_g > 0) ? "Its mass is kept. It is weighed again before anything is poured" : "",
  step: m => m.b.verdict ? verdictNote(m) : "",
  place: m => m.b.phase === "cup" && m.scale.stable && m.scale.value_g >= Math.max(1, 5 * m.scale.division_g)
    ? "Something stands on the pan since before: take it off, then place the empty cup" : m.b.part ? (m.b.poured_g > 0 ? `${m.pouredText} ${m.unit} of ${nameOf(m.b, m.b.part)} is kept` : "") : m.b.parts.map(p => `${p.part} ${massText(micrograms(p.target_g), m.step)} ${m.unit}`).join(", then "),
  ease: m => m.b.flow_wanted_g_s ? `Slow to about ${flowText(m.b.flow_wanted_g_s)} g/s` : "Slow to a dribble",
  hold: () => "Settling",
  change_over: changeNote,
  lost: m => m.lost ? `This display has lost the station${m.retry_ms === null ? " and tries again now" : `; it tries again in ${Math.ceil(m.retry_ms / 1000)} s`}`
    : m.scale.advice ?? (m.scale.link === "silent" ? "The line is open but the scale says nothing: is it switched on?" : "The scale's cable or port is gone; it is tried again by itself"),
  heavy: m => m.scale.advice ?? "Take load off the pan",
  light: m => m.scale.advice ?? "Nothing may lift the pan; ZERO at the scale if it is empty",
  fault: m => m.scale.advice ?? "Look at the scale's own display",
  answer: m => m.b.question.detail ?? "",
  cant_tell: m => m.b.doubt ? `${capital(m.b.doubt)}: nobody can say what is in the cup` : "",
  within: verdictNote, unproven: verdictNote, outside: verdictNote,
  done: next, scrapped: () => "Lift the cup", abandoned: () => "Lift the cup",
};

export const ON_SCALE = ["cup", "pour", "settle", "correct"];
const STEPS = { stir: "stir A", degas_a: "degas A", mix: "mix", second_cup: "second cup", degas: "degas", cast: "cast", press: "press", cure: "cure", demould: "demould", post_cure: "post-cure" };

// view(snapshot, gap_ms, tolerance?, retry_ms?) is all that the page draws from. tolerance: the card's limits as text;
// retry_ms: to the next try of a lost connection.
export function view(snap, gap_ms, tolerance = null, retry_ms = null) {
  const m = measure(snap, gap_ms, tolerance, retry_ms);
  const [state, , words, shape, ground, figure] = TABLE.find(([, when]) => when(m));
  const word = words(m);
  if (m.b?.part && letterOf(m.b.part) === "+" && word[0] === "") word[0] = nameOf(m.b, m.b.part);
  return {
    state, ground, word,
    shape: typeof shape === "function" ? shape(m) : shape,
    drops: Math.min(m.drops || 3, 5),
    letters: m.b ? [letterOf(lastIn(m.b)?.part ?? "A"), letterOf(m.b.part ?? "B")] : undefined,
    letter: m.b?.part ? letterOf(m.b.part) : "",
    figure: figureOf(figure, m),
    note: NOTES[state]?.(m) ?? "",
    poured: m.pouredText, target: m.targetText, unit: m.unit, step: m.step,
    shown: m.scale.shown ?? "–", struck: m.struck, motion: m.live ? (m.scale.link === "manual" ? "as typed" : m.scale.stable ? "at rest" : "moving") : `last good value, ${m.old}`,
    cue: m.lost || m.silent ? "reconnect" : m.b?.cue ?? "", band: m.b?.band ?? "", phase: m.b?.phase ?? "", part: m.b?.part ?? "",
    link: m.lost ? "lost" : m.scale.link, verdict: m.b?.verdict ?? "", saving: m.b?.saving === true, alarm: m.alarm, warning: m.warning,
    lens: m.b?.part && m.b.cue !== "place" && ground !== "lost" ? { low: m.b.low_g, high: m.b.high_g, poured: m.b.poured_g, band: m.b.band, provable: m.b.provable === true } : null,
  };
}

function measure(snap, gap_ms, tolerance, retry_ms) {
  const scale = snap.scale, b = snap.batch, step = stepOf(scale);
  const lost = gap_ms > FRESH_MS;
  const onScale = !!b && ON_SCALE.includes(b.phase);
  const linked = scale.link === "up" || scale.link === "manual";
  const age = scale.age_ms === null || scale.shown === null ? null : Math.floor((scale.age_ms + gap_ms) / 1000);
  const live = !lost && linked && scale.state === "normal";
  const target = b?.part ? micrograms(b.target_g) : null, poured = b?.part ? micrograms(b.poured_g) : null;
  const now = b?.parts.find(p => p.part === b.part);
  const at = target === null || poured === null ? null : target - poured;
  const m = {
    b, scale, step, lost, onScale, live, tolerance, retry_ms, unit: step?.unit ?? "g",
    silent: onScale && (!linked || b.cue === "reconnect"),
    since: age === null ? "yet" : `for ${age} s`, old: age === null ? "never" : `${age} s old`,
    struck: !live,
    remaining: at, amount: massText(at < 0n ? -at : at, step),
    pouredText: b?.part ? massText(poured, step) : "", targetText: b?.part ? massText(target, step) : "",
    drops: b?.drops ?? 0,
    change: b?.parts ? changeOver(b) : null,
    by: now?.measured_by, own: now !== undefined && now.vessel !== "cup",
    alarm: null,
  };
  if (lost || !linked) m.alarm = `No reading ${m.since}. ${NOTES.lost(m)}.`;
  else if (scale.state !== "normal") m.alarm = `${{ over: "Too heavy.", under: "Under zero.", fault: "Scale fault." }[scale.state]} ${scale.advice ?? ""}`;
  m.warning = snap.ledger ?? (live ? scale.advice : null); // nothing has gone wrong yet with what is shown
  m.green = isGreen(m);
  return m;
}

// The only green there is.
function isGreen({ b, scale, live, lost }) {
  if (!b || b.provable !== true || b.question || lost) return false;
  if (b.cue === "done") return b.verdict === "within";
  return live && scale.link === "up" && scale.stable === true && b.band === "inside";
}

// A flow is judged by eye: two digits are more than anybody can pour.
const flowText = flow => String(Number(flow.toPrecision(2)));

// A and B have their letters; every addition is a plus, and its name stands before the verb.
const letterOf = part => (part === "A" || part === "B" ? part : "+");
const nameOf = (b, part) => b.parts.find(p => p.part === part)?.name ?? part;

const lastIn = b => b.parts.filter(p => p.accepted).at(-1);

function changeOver(b) {
  const done = lastIn(b);
  const [word, name] = letterOf(b.part) === "+" ? ["Take", nameOf(b, b.part)] : [`Take ${b.part}`, ""];
  return [done ? `${nameOf(b, done.part)} is in.` : "", word, name];
}

function changeNote({ b }) {
  const done = lastIn(b);
  if (done?.stir_in) return "Stir it in first, with its own stick";
  return `Drips now still count as ${done ? nameOf(b, done.part) : "the part before"}`;
}

function figureOf(kind, m) {
  if (kind === null || m.step === null) return null;
  if (kind === "error") return errorFigure(m.b);
  if (m.remaining === null) return null;
  const text = kind === "over" ? m.amount : massText(m.remaining, m.step);
  const whole = Math.max(m.targetText.split(".")[0].length, 2); // room for a sign, and no jump as digits fall away
  return { text, unit: m.unit, caption: kind === "over" ? "over the target" : m.remaining < 0n ? "past the target" : "still to pour",
    reserve: "0".repeat(whole) + (m.step.decimals ? "." + "0".repeat(m.step.decimals) : "") };
}

// The error with as many decimals as give U two significant digits (JCGM 100, 7.2.6).
function errorDecimals(u) {
  return u > 0 ? Math.min(3, Math.max(0, 1 - Math.floor(Math.log10(u)))) : 2;
}

function errorFigure(b) {
  if (b.ratio_error_pct === null) return null;
  const text = signed(b.ratio_error_pct, errorDecimals(b.uncertainty_pct));
  return { text, reserve: text, unit: "%", caption: "B against the ratio", size: 0.88 };
}

function signed(x, decimals) {
  const size = Math.abs(x).toFixed(decimals);
  return (Number(size) === 0 ? "" : x < 0 ? "−" : "+") + size;
}

function verdictNote(m) {
  const { ratio_error_pct: e, uncertainty_pct: u } = m.b;
  const side = e === null || e === 0 ? "" : e > 0 ? "too much B" : "too little B";
  if (m.b.doubt) return `${capital(m.b.doubt)}: nobody can say what is in the cup`;
  const sure = u === null ? "uncertainty not known" : `uncertainty ±${u.toFixed(errorDecimals(u))} %`;
  return [side, sure, m.tolerance && `card allows ${m.tolerance}`].filter(Boolean).join(" · ");
}

const capital = text => text[0].toUpperCase() + text.slice(1);

function next(m) {
  return STEPS[m.b.phase] ? `next: ${STEPS[m.b.phase]}` : "";
}

// Time left of the pot life, by the station's clock (now: ms since 1970), or null before first contact.
export function potLife(p, now) {
  if (!p?.started) return null;
  if (p.basis === "unknown" || !p.ends) return "pot life unknown";
  const left = Math.floor((Date.parse(p.ends) - now) / 1000);
  const clock = `${Math.floor(Math.abs(left) / 60)}:${String(Math.abs(left) % 60).padStart(2, "0")}`;
  if (left < 0) return `pot life over since ${clock}`;
  return `pot life ${{ upper_bound: "at most ", estimate: "about " }[p.basis] ?? ""}${clock}`;
}

export const potLifeOver = (p, now) => Boolean(p?.ends) && Date.parse(p.ends) < now;

// The actions that fit: {action, label, by?, confirm?}. by is the pedal: a tap goes on, a hold takes back or takes what is
// not inside its window. Nothing by the pedal ends a batch. What does not fit is answered 409 by the station in any case.
export function actionsFor(snap, v) {
  const b = snap?.batch;
  if (!b || v.link === "lost" || b.question) return [];
  const begun = b.parts.some(p => p.poured_g > 0), last = lastIn(b), read = v.ground !== "lost";
  const short = (part, other) => (letterOf(part) === "+" ? other : part); // a button has no room for an addition's name
  const list = [];
  const add = (fits, action, label, more = {}) => { if (fits) list.push({ action, label, ...more }); };
  add(read && b.cue === "change_over", "b_begins", `${short(b.part, "It")} begins now`, { by: "tap" });
  add(read && ["hold", "top_up"].includes(b.cue) && b.part && b.poured_g > 0, "accept", `Take ${short(b.part, "it")} as it is`, { by: b.band === "inside" ? "tap" : "hold" });
  add(read && last && (b.cue === "change_over" || b.cue === "done" && b.verdict), "reopen", `Reopen ${last && short(last.part, "the last")}`, { by: "hold" });
  add(read && ["cup", "pour"].includes(b.phase) && !["change_over", "wait", "type"].includes(b.cue) && !begun && snap.scale.stable, "tare", "Tare here", { by: "tap" });
  add(b.phase === "parked", "resume", "Bring it back", { by: "tap" });
  add(ON_SCALE.includes(b.phase) && !begun, "abandon", "Give up", { confirm: true });
  add(begun && !["scrapped", "abandoned", "done"].includes(b.phase), "scrap", "Scrap", { confirm: true });
  return list;
}

const ANSWERS = { lifted: "The cup was lifted", tared: "TARE or ZERO was pressed", poured: "It was poured", put_in: "Something was put in or on", same_cup: "It is the same cup", accept: "Take it as it is", scrap: "Scrap it" };
export const answerText = choice => ANSWERS[choice] ?? (choice.startsWith("to_") ? `It was ${partName(choice.slice(3))}` : choice);

// A part's own name: A and B are capitals, an addition is its id.
const partName = id => (id === "a" || id === "b" ? id.toUpperCase() : id);
