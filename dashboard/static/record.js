// One batch whole, as its record says it.
import { api } from "./api.js";
import { sdsText, toleranceText } from "./card.js";
import { acceptances, eventText } from "./record-events.js";
import { hintsOf, lotsText, stepText } from "./record-hints.js";
import { plot } from "./record-plot.js";
import { benchOf, cardOf, clock, el, gramsText, localTime, sign, standing, stepOfRecord, timeElement } from "./record-text.js";

const id = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const path = `/batches/${encodeURIComponent(id)}`;
const $ = name => document.getElementById(name);

const plain = n => String(n).replace("-", "−");
const told = text => el("span", { className: "told" }, text);

function showHead(record, stations) {
  const card = cardOf(record), bench = benchOf(record, stations);
  document.title = `Batch ${localTime(record.created)}`;
  $("name").textContent = card.name;
  $("about").replaceChildren(timeElement(record.created, true), ` · station ${record.station}${record.operator ? ` · by ${record.operator}` : ""}${record.practice ? " · practice" : ""}`);
  if (!bench) return;
  $("now").replaceChildren(el("a", { href: `/bench/${encodeURIComponent(bench.station)}` }, "At the bench now"), ": this page shows it as it was when you opened it.");
  $("now").hidden = false;
}

function showVerdict(record) {
  const s = standing(record, toleranceText(cardOf(record)));
  $("verdict").dataset.ground = s.ground;
  $("verdict").replaceChildren(sign(s), ...(s.figure ? [el("p", {}, el("b", { id: "error" }, `${s.figure.text} %`), ` ${s.figure.caption}`)] : []), ...(s.note ? [el("p", {}, s.note)] : []));
}

// Parts in the order of the plan: what was planned, the window at the end, what was poured.
function showParts(record) {
  const step = stepOfRecord(record), g = x => gramsText(x, step);
  const rows = record.parts.map(p => {
    const planned = record.plan.parts.find(q => q.part === p.part);
    return [p.part + (p.measured_by === "weight" ? "" : ` (by ${p.measured_by})`), g(p.poured_g), g(p.target_g), `${g(p.low_g)} to ${g(p.high_g)}`, `${g(p.limit_low_g)} to ${g(p.limit_high_g)}`, g(planned?.target_g), p.accepted ? "yes" : "no"];
  });
  $("parts").replaceChildren(table("Masses in grams, as the scale showed them", ["Part", "Poured", "Target", "Window", "Card's limits", "Planned", "Accepted"], rows));
}

function table(caption, heads, rows) {
  const cell = (name, role, scope, content) => {
    const c = el(name, {}, content);
    c.setAttribute("role", role);
    if (scope) c.setAttribute("scope", scope);
    return c;
  };
  const row = cells => {
    const r = el("tr", {}, ...cells);
    r.setAttribute("role", "row");
    return r;
  };
  const body = rows.map(r => row(r.map((text, i) => {
    const c = i ? cell("td", "cell", null, text) : cell("th", "rowheader", "row", told(text));
    c.dataset.name = heads[i];
    return c;
  })));
  const t = el("table", {}, el("caption", {}, caption), el("thead", {}, row(heads.map(h => cell("th", "columnheader", "col", h)))), el("tbody", {}, ...body));
  t.setAttribute("role", "table");
  for (const part of t.querySelectorAll("thead, tbody")) part.setAttribute("role", "rowgroup");
  return t;
}

const BASIS = { card: "by the card", table: "by the card's table", estimate: "about, estimated", upper_bound: "at most: the card's figure is for a smaller mass" };

function potLifeText({ started, ends, basis }) {
  if (!started) return ["A and B had not met."];
  return ["First contact ", timeElement(started, true), ends ? ", over at " : ", its end is not known", ...(ends ? [timeElement(ends, true), ` (${BASIS[basis] ?? basis})`] : [])];
}

function showFacts(record, newest) {
  const card = cardOf(record), step = stepOfRecord(record), current = newest?.revision === record.plan.revision;
  const tolerance = toleranceText(card), revision = newest && !current ? `${record.plan.revision}; the card is at ${newest.revision} now` : record.plan.revision;
  const facts = [
    ["Material", [told(`${card.name} (${record.material}), revision ${revision}`)]],
    ["Ratio", [current ? `${newest.ratio_text}: ${newest.sentence}.` : ratioText(card.ratio), ` This batch: ${plain(record.plan.ratio_b_per_a)} of B to 1 of A by mass${tolerance ? `, the card allows ${tolerance}` : ""}.`]],
    ...record.plan.parts.map(p => [`Lots of ${p.part}`, [told(lotsText(record, p.part))]]),
    ["Amount", [`${gramsText(record.plan.total_g, step)} g in the cup planned, A and B ${gramsText(record.plan.ab_g, step)} g`]],
    ["Scale", [told(record.scales.map(s => `${s.id}, step ${gramsText(s.division_g, { decimals: 0 })} g`).join("; "))]],
    ...(record.index_pct === null ? [] : [["Index", [`${record.index_pct.toFixed(1)} %, of what was poured`]]]),
    ...(record.doubt ? [["In doubt", [record.doubt]]] : []),
    ["Pot life", potLifeText(record.pot_life)],
    ["Weighed", [record.weighed ? timeElement(record.weighed, true) : "not yet, or never"]],
    ...(record.finished ? [["Ended", [timeElement(record.finished, true)]]] : []),
    ["Steps by the card", [(card.steps ?? []).map(stepText).join("; ") || "none"]],
    ["SDS", [told(sdsText(card) || "the card names none: find each part's")]],
  ];
  $("facts").replaceChildren(...facts.flatMap(([name, content]) => [el("dt", { className: "told" }, name), el("dd", {}, ...content)]));
}

// A card's ratio as it is written there.
function ratioText(ratio) {
  return ["weight", "volume"].filter(b => ratio[b]).map(b => `A ${ratio[b].a} : B ${ratio[b].b} by ${b}`).join(", ") + ".";
}

function showChecks(record) {
  const passed = record.events.filter(e => e.kind === "overridden").map(e => e.fact);
  const list = record.plan.checks.filter(c => c.level !== "ok").map(c => {
    const by = passed.filter(f => f.check === c.id).map(f => el("p", { className: "told" }, `Passed by ${f.operator}: ${f.reason}`));
    return el("li", {}, el("b", {}, `${c.level}: ${c.id.replaceAll("_", " ")}. `), `${c.figure}; ${c.limit}. ${c.do ? c.do[0].toUpperCase() + c.do.slice(1) + "." : ""}`, ...by);
  });
  $("plan-checks").replaceChildren(...(list.length ? list : [el("li", {}, `Nothing spoke against it (${record.plan.checks.length} looked at).`)]), ...record.plan.assumed.map(a => el("li", {}, el("b", {}, "assumed: "), a)));
}

function showHints(record) {
  $("hints").replaceChildren(...hintsOf(record).map(h => el("details", {}, el("summary", {}, el("b", {}, h.symptom), ` → ${h.look}`), ...h.says.map(text => el("p", { className: "told" }, text)))));
}

function showEvents(record) {
  const step = stepOfRecord(record);
  $("events").replaceChildren(...record.events.map(e => el("li", { className: "told" }, timeElement(e.at, true), " ", eventText(e, step))));
}

// The plot is drawn for the width it has, so that its figures keep their size.
function showPlot(record, trace) {
  const seconds = at => (Date.parse(at) - Date.parse(record.created)) / 1000, step = stepOfRecord(record);
  const marks = acceptances(record).map(m => ({ ...m, at_s: seconds(m.at), since_s: seconds(m.since) }));
  $("plot-text").textContent = plotText(trace, marks, step);
  if (!trace.points.length) return;
  const box = $("plot");
  let drawn = 0;
  new ResizeObserver(() => {
    const width = Math.floor(box.clientWidth);
    if (width === drawn || !width) return;
    drawn = width;
    box.replaceChildren(plot(trace, marks, width, Math.round(Math.max(240, Math.min(440, width * .45)))));
  }).observe(box);
}

function plotText({ points, thinned }, marks, step) {
  const taken = marks.map(m => `${m.part} accepted at ${clock(m.at_s)} with ${gramsText(m.poured_g, step)} g in the cup (window ${gramsText(m.window.low_g, step)} to ${gramsText(m.window.high_g, step)} g)${m.back ? ", taken back later" : ""}`);
  if (!points.length) return ["No trace of the scale is kept for this batch.", ...taken].join(" ");
  const [first, last] = [points[0], points.at(-1)];
  return `From ${gramsText(first[1], step)} g at ${clock(first[0])} to ${gramsText(last[1], step)} g at ${clock(last[0])}, as the scale showed it, cup and all. ${taken.map(t => t + ". ").join("")}Dashed pairs are the windows, rings the moments of acceptance.${thinned ? " The trace is thinned: of each short while only the lowest and the highest value are kept." : ""}`;
}

function showAll(record, newest, stations) {
  showHead(record, stations);
  showVerdict(record);
  showParts(record);
  showFacts(record, newest);
  showChecks(record);
  showHints(record);
  showEvents(record);
  $("note-form").parentElement.hidden = ["scrapped", "abandoned"].includes(record.phase);
  $("record").hidden = false;
}

function takeNotes(show) {
  const form = $("note-form"), fault = form.querySelector(".fault"), button = form.querySelector("button");
  form.onsubmit = async e => {
    e.preventDefault();
    const { text, operator } = form.elements;
    fault.textContent = "";
    button.disabled = true;
    try {
      show(await api("POST", path + "/actions", { action: "note", text: text.value, operator: operator.value }));
      text.value = "";
    } catch (err) {
      fault.textContent = err.message;
    }
    button.disabled = false;
  };
}

async function show() {
  try {
    const [record, { stations }] = await Promise.all([api("GET", path), api("GET", "/stations")]);
    const newest = await api("GET", `/materials/${encodeURIComponent(record.material)}`);
    const all = r => showAll(r, newest, stations);
    all(record);
    takeNotes(all);
    showPlot(record, await api("GET", path + "/trace"));
  } catch (e) {
    $("alarm").textContent = e.message;
    $("alarm").hidden = false;
  }
}

show();
