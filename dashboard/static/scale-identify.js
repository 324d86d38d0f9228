// Finding out how a scale speaks, and what came of it. It runs in the daemon: this page only starts it and looks on, and
// finds the answer also after it was loaded anew.
import { api } from "./api.js";
import { el, sign } from "./record-text.js";

const RUNNING_MS = 500, IDLE_MS = 3000; // another page may start one

const UNSURE = { word: "not sure", shape: "unproven", ground: "unproven" }, NOTHING = { word: "nothing found", shape: "crossed", ground: "rejected" };

// What was seen of a candidate, in sentences: pure.
export function evidence(c) {
  const seen = ["stable", "moving", "gross", "net"].filter(word => c["seen_" + word]).join(", ");
  return [
    `${c.baud === null ? "" : `${c.baud} baud ${c.frame}, `}line shape ${c.shape}${c.request === null ? "" : `, asked with ${escaped(c.request)}`}.`,
    `${c.lines} whole lines${c.rate_hz === null ? "" : `, ${c.rate_hz.toFixed(1)} a second`}; ${c.rejected_bytes} bytes between them fit none. ${seen ? `They have said ${seen}.` : "They say nothing of motion."}`,
    `${c.unit === null ? "They state no unit: it must be given" : c.unit_stated ? `Unit ${c.unit}` : `Unit ${c.unit}, which they do not state`}; ${step(c)}.`,
  ];
}

const step = c => (c.division === null ? "no weight was seen" : c.division_sure ? `division ${c.division}` : `division ${c.division} or coarser: too few values were seen`);

// What is no printable ASCII, as raw lines have it.
const escaped = text => text.replace(/[^ -~]|\\/g, c => ({ "\r": "\\r", "\n": "\\n", "\\": "\\\\" })[c] ?? "\\x" + c.charCodeAt(0).toString(16).padStart(2, "0"));

function candidate(c, entry, name) {
  return [
    el("h3", {}, name),
    ...evidence(c).map(text => el("p", {}, text)),
    el("p", {}, ...c.raw.slice(0, 3).flatMap(raw => [el("code", {}, raw), el("br")])),
    el("p", {}, "The entry to paste under ", el("code", {}, "scales:")),
    el("pre", { tabIndex: 0, ariaLabel: `Entry with line shape ${c.shape}` }, entry),
  ];
}

function answered({ answer, entries, error, ask }) {
  if (error) return [el("p", {}, sign(NOTHING), " ", error)];
  if (!answer) return [];
  const standing = answer.sure ? el("b", {}, answer.candidates[0].division_sure ? "Sure" : "Sure, but for the division,") : sign(answer.candidates.length === 0 ? NOTHING : UNSURE);
  return [
    el("p", {}, standing, ` after ${answer.took_s.toFixed(1)} s${ask ? ", asked" : ""}`),
    ...(answer.advice ? [el("p", {}, el("b", {}, answer.advice))] : []),
    ...answer.candidates.flatMap((c, i, all) => candidate(c, entries[i], all.length > 1 ? `${i + 1}. ${c.shape}` : c.shape)),
  ];
}

// makeIdentify(section, station) gives free(may, why): whether it may be started now, and why not.
export function makeIdentify(section, station) {
  const path = `/stations/${encodeURIComponent(station)}/identify`;
  const form = section.querySelector("form"), button = form.querySelector("button"), fault = form.querySelector(".fault"), ask = form.elements.ask;
  const elapsed = section.querySelector("#elapsed"), progress = section.querySelector("#progress"), answer = section.querySelector("#answer"), notNow = section.querySelector("#not-now");
  let posted = false, running = false, may = false, refused = "", shown = "", timer = 0;

  function enable() {
    button.disabled = posted || running || !may;
    ask.disabled = posted || running;
  }
  function write(now) {
    running = now.running;
    elapsed.textContent = running ? `Running for ${Math.floor(now.running_s)} s.` : "";
    const newest = running ? now.progress.at(-1) ?? "" : "";
    if (progress.textContent !== newest) progress.textContent = newest; // what is read aloud is told once
    const key = JSON.stringify([now.answer, now.error]); // what stands is not written anew: it may be being copied
    if (key !== shown) answer.replaceChildren(...answered(now));
    shown = key;
    enable();
  }
  async function look() {
    try {
      write(await api("GET", path));
      fault.textContent = refused;
    } catch (e) {
      fault.textContent = e.message;
    }
    clearTimeout(timer); // of a look beside this one
    timer = setTimeout(look, running || posted ? RUNNING_MS : IDLE_MS);
  }

  ask.onchange = () => { section.querySelector("#caution").hidden = !ask.checked; };
  form.onsubmit = async event => {
    event.preventDefault();
    refused = fault.textContent = "";
    posted = true;
    look();
    try {
      await api("POST", path, { ask: ask.checked });
    } catch (e) {
      refused = e.message;
    }
    posted = false;
    look();
  };
  look();
  return {
    free(now, why) {
      may = now;
      if (notNow.textContent !== why) notNow.textContent = why;
      enable();
    },
  };
}
