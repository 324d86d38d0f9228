// The lines of one scale as they come, what its shape made of each, and its counts. What comes from a scale only ever
// becomes text nodes.
import { api } from "./api.js";
import { el, sign } from "./record-text.js";

const EVERY_MS = 500;
const ROWS = 200, OLD_ROWS = 100; // kept; and behind those, of lines that were not read

const OUTCOMES = {
  held: { word: "held", shape: "dots", ground: "plain" },
  no_weight: { word: "no weight", shape: "lines", ground: "plain" },
  rejected: { word: "rejected", shape: "crossed", ground: "rejected" },
};
const MOTION = { stable: "at rest", moving: "moving", unknown: "" };
const STATE = { over: "above its range", under: "below its range", fault: "fault" };

// What became of a line, as {value, note}: pure.
export function meaning(line) {
  const flags = [MOTION[line.motion], line.kind === "unknown" ? "" : line.kind].filter(Boolean).join(", ");
  switch (line.outcome) {
    case "read": return { value: line.shown ?? STATE[line.state], note: [flags, line.rejected_bytes ? `${line.rejected_bytes} bytes before it were damage` : ""].filter(Boolean).join("; ") };
    case "held": return { value: line.shown ?? "", note: "laid out unlike the lines before: it counts once a second line is like it" };
    case "no_weight": return { value: "", note: "a whole line that carries none" };
    case "rejected": return { value: "", note: line.why };
  }
  return { value: line.outcome, note: "" };
}

const two = n => String(n).padStart(2, "0");
// The time of day of this display, to the millisecond.
function clockTime(iso) {
  const d = new Date(iso);
  return `${two(d.getHours())}:${two(d.getMinutes())}:${two(d.getSeconds())}.${String(d.getMilliseconds()).padStart(3, "0")}`;
}

function rowOf(line) {
  const { value, note } = meaning(line), says = el("td", {}, ...(value ? [el("b", {}, value)] : []));
  if (OUTCOMES[line.outcome]) says.append(" ", sign(OUTCOMES[line.outcome]));
  if (note) says.append(" ", el("span", {}, note));
  const tr = el("tr", {}, el("td", {}, el("time", { dateTime: line.at }, clockTime(line.at))), el("td", {}, el("code", {}, line.raw)), says);
  tr.dataset.outcome = line.outcome;
  tr.setAttribute("role", "row");
  for (const td of tr.cells) td.setAttribute("role", "cell");
  return tr;
}

// A share with enough digits that something is never shown as nothing.
export function shareText(part, whole) {
  if (!whole || !part) return "0 %";
  const percent = (100 * part) / whole;
  return percent < 0.01 ? "below 0.01 %" : `${percent.toFixed(percent < 1 ? 2 : 1)} %`;
}

// How lines are read: as the entry has it, or as was found.
function shapeText({ shape, found }) {
  if (found) return `${found.shape}, found${found.baud === null ? "" : ` at ${found.baud} baud ${found.frame}`}`;
  return shape === "auto" ? "not found yet" : shape;
}

const divisionText = s => (s.division_g === null && s.shape === "auto" ? "not shown yet: put different loads on the pan" : grams(s.division_g));

const grams = g => (g === null ? "not stated" : `${g} g`);

// The counts and the entry, as [name, text]: pure. heard: whether the station is heard from just now.
export function figuresOf(s, heard) {
  return [
    ["Rate", heard && s.rate_hz !== null ? `${s.rate_hz.toFixed(1)} readings a second` : "–"],
    ["Readings", `${s.readings} since ${clockTime(s.since).slice(0, 5)}`],
    ["Rejected", `${s.rejected_bytes} of ${s.bytes} bytes (${shareText(s.rejected_bytes, s.bytes)})`],
    ["Reconnected", s.reconnects === 1 ? "once" : `${s.reconnects} times`],
    ["Link", s.link_text ?? "not stated"],
    ["Line shape", shapeText(s)],
    ["Division", divisionText(s)],
    ["Capacity", grams(s.capacity_g)],
  ];
}

// makeLines puts one scale of a station into a box and follows it; heard(bool) tells whether the station is heard from.
export function makeLines(box, station, id) {
  box.append(document.getElementById("scale").content.cloneNode(true));
  const [figures, lines] = [...box.children].slice(-2), rows = lines.querySelector("tbody");
  const pause = lines.querySelector("button"), only = lines.querySelector("input"), state = lines.querySelector("[role=status]"), fault = lines.querySelector(".fault");
  const dl = figures.querySelector("dl");
  let since = null, after = 0, waiting = [], paused = false, last = null, heard = true;
  figures.querySelector("h2").textContent = `Scale ${id}: counts and settings`;
  lines.setAttribute("aria-label", `Lines of scale ${id}`);
  lines.querySelector(".roll").setAttribute("aria-label", `Lines of scale ${id}, to scroll`);

  function roll() {
    rows.prepend(...waiting.map(rowOf).reverse());
    waiting = [];
    for (const tr of [...rows.rows].slice(ROWS)) if (tr.dataset.outcome === "read") tr.remove();
    for (const tr of [...rows.rows].slice(ROWS + OLD_ROWS)) tr.remove();
  }
  function tell() {
    const came = waiting.length < ROWS ? waiting.length : `${ROWS} or more`;
    state.textContent = paused ? `Paused. ${came} lines have come since.` : rows.rows.length ? "" : "No line has come yet.";
  }
  function write() {
    dl.replaceChildren(...figuresOf(last, heard).flatMap(([name, text]) => [el("dt", {}, name), el("dd", {}, text)]));
  }
  function take(scale) {
    if (scale.since !== since) { // the daemon has started anew: its numbers begin again
      const again = after > 0;
      [since, after, waiting] = [scale.since, 0, []];
      if (again) return rows.replaceChildren();
    }
    after = scale.lines.at(-1)?.number ?? after;
    waiting = [...waiting, ...scale.lines].slice(-ROWS);
    if (!paused && waiting.length) roll();
    last = scale;
    write();
    tell();
  }
  async function poll() {
    try {
      if (document.visibilityState === "visible") take((await api("GET", `/stations/${encodeURIComponent(station)}/lines?scale=${encodeURIComponent(id)}&after=${after}`)).scales[0]);
      fault.textContent = "";
    } catch (e) {
      fault.textContent = `${e.message} What stands below is old.`;
    }
    setTimeout(poll, EVERY_MS);
  }

  pause.onclick = () => {
    paused = !paused;
    pause.setAttribute("aria-pressed", paused);
    pause.textContent = paused ? "Go on" : "Pause";
    if (!paused) roll();
    tell();
  };
  only.onchange = () => rows.classList.toggle("only", only.checked);
  poll();
  return {
    heard(now) {
      if (now === heard) return;
      heard = now;
      if (last) write();
    },
  };
}
