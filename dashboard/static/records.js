// The list of batches. Its filters are the page's address, in the API's own form: it can be passed on, and the back
// button works. Times in the address are instants; the form shows them in this display's time.
import { allMaterials, api } from "./api.js";
import { toleranceText } from "./card.js";
import { benchOf, cardOf, el, gramsText, localTime, sign, standing, stepOfRecord, timeElement } from "./record-text.js";

const FILTERS = ["from", "to", "material", "verdict"];
const $ = id => document.getElementById(id);

// What is asked for, from an address: what is empty is left out.
export function asked(search, names) {
  const given = new URLSearchParams(search), query = new URLSearchParams();
  for (const name of names) if (given.get(name)) query.set(name, given.get(name));
  return query;
}

const withQuery = (path, query) => path + (query.size ? "?" + query : "");

function fillForm(form, query, cards) {
  const { from, to, material, verdict } = form.elements;
  material.length = 1; // "all"
  for (const c of cards) material.add(new Option(c.name, c.id));
  const wanted = query.get("material");
  if (wanted && !cards.some(c => c.id === wanted)) material.add(new Option(wanted, wanted));
  material.value = wanted ?? "";
  verdict.value = query.get("verdict") ?? "";
  for (const [input, name] of [[from, "from"], [to, "to"]]) {
    const t = Date.parse(query.get(name) ?? "");
    input.value = Number.isNaN(t) ? "" : localTime(t, true).replace(" ", "T");
  }
}

// The form's wish as an address; a time that was not touched keeps the instant that it came as.
function wish(form, before) {
  const query = new URLSearchParams();
  for (const name of FILTERS) {
    const input = form.elements[name];
    if (!input.value) continue;
    const time = input.type === "datetime-local";
    query.set(name, !time ? input.value : input.value === input.dataset.came ? before.get(name) : new Date(input.value).toISOString());
  }
  return withQuery(location.pathname, query);
}

function poured(record, name) {
  const p = record.parts.find(p => p.part === name), step = stepOfRecord(record);
  if (!p) return ["–"];
  return [el("b", {}, gramsText(p.poured_g, step)), el("small", {}, `of ${gramsText(p.target_g, step)}\u00a0g`), ...(p.accepted ? [] : [el("small", {}, "not accepted")])];
}

function row(record, stations) {
  const card = cardOf(record), s = standing(record, toleranceText(card)), bench = benchOf(record, stations);
  const cells = {
    Created: [el("a", { href: `/records/${encodeURIComponent(record.id)}` }, timeElement(record.created))],
    Material: [el("span", { className: "told" }, card.name), ...(record.practice ? [el("small", {}, "practice")] : [])],
    Station: [el("span", { className: "told" }, record.station)],
    Operator: [el("span", { className: "told" }, record.operator || "–")],
    A: poured(record, "A"),
    B: poured(record, "B"),
    "Ratio error": [el("b", {}, s.figure ? s.figure.text + " %" : "–"), el("small", {}, s.note.replaceAll(" %", "\u00a0%"))],
    Verdict: [sign(s), ...(bench ? [el("a", { href: `/bench/${encodeURIComponent(bench.station)}` }, "at the bench now")] : [])],
  };
  const tr = el("tr", {}, ...Object.entries(cells).map(([name, content]) => {
    const td = el("td", {}, ...content);
    td.setAttribute("role", "cell");
    td.dataset.name = name;
    return td;
  }));
  tr.setAttribute("role", "row");
  return tr;
}

async function show() {
  const query = asked(location.search, FILTERS), page = asked(location.search, [...FILTERS, "cursor"]), form = $("filter");
  $("csv").href = withQuery("/api/v1/batches.csv", query);
  form.onsubmit = e => {
    e.preventDefault();
    location.assign(wish(form, query));
  };
  try {
    const [cards, { stations }] = await Promise.all([allMaterials(), api("GET", "/stations")]);
    fillForm(form, query, cards);
    for (const name of ["from", "to"]) form.elements[name].dataset.came = form.elements[name].value;
    const { batches, next } = await api("GET", withQuery("/batches", page));
    $("batches").tBodies[0].replaceChildren(...batches.map(b => row(b, stations)));
    $("batches").hidden = !batches.length;
    $("count").textContent = counted(batches.length, page, next);
    if (next) page.set("cursor", next);
    $("next").href = withQuery(location.pathname, page);
    $("next").hidden = !next;
  } catch (e) {
    $("alarm").textContent = e.message;
    $("alarm").hidden = false;
  }
}

function counted(n, page, next) {
  if (!n) return page.size ? "No batch is like that: take a filter away." : "No batch has been made yet. The first one starts at a bench.";
  return `${n} ${n === 1 ? "batch" : "batches"}${next || page.has("cursor") ? " on this page" : ""}, newest first. Times are those of this display.`;
}

addEventListener("pageshow", show); // also when the back button brings back a page whose form was changed
