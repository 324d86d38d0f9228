// One material card as a plain form: its newest revision, or a new one.
import { api } from "./api.js";
import { GROUPS, cardText, changed, exact, fieldFor, textOf } from "./material-card.js";
import { el } from "./record-text.js";

const NEW = "+", $ = id => document.getElementById(id);
const form = $("card"), inputs = new Map(), faults = new Map(); // by path
let id = decodeURIComponent(location.pathname.split("/")[2] ?? NEW);
let card = { ratio: {} }, revision = 0; // as it was read

function input({ path, kind }) {
  if (kind === "lines") return el("textarea", { rows: 3 });
  if (Array.isArray(kind)) return el("select", {}, new Option("not stated", ""), ...kind.map(k => new Option(k.replace("_", " and "), k)));
  return kind === "number" ? el("input", { inputMode: "decimal", size: 8 }) : el("input", { size: 12 });
}

function field(f) {
  const i = input(f), hint = f.hint ? [el("span", { className: "hint" }, f.hint)] : [];
  i.id = f.path;
  i.name = f.path;
  inputs.set(f.path, i);
  faults.set(f.path, el("p", { className: "fault", id: `fault-${f.path}` }));
  i.setAttribute("aria-describedby", `fault-${f.path}`);
  const box = el("div", { className: f.long ? "long" : "" }, el("label", { htmlFor: f.path }, f.label), el("div", { className: "field" }, i, ...(f.unit ? [el("span", {}, f.unit)] : [])), ...hint, faults.get(f.path));
  return box;
}

$("groups").append(...GROUPS.map(([title, fields, text]) => el("fieldset", {}, el("legend", {}, title), ...(text ? [el("p", { className: "hint" }, text)] : []),
  el("div", { className: "row" }, ...fields.map(field)))));

function fill() {
  const fresh = id === NEW;
  for (const [, fields] of GROUPS) for (const f of fields) inputs.get(f.path).value = textOf(card, f);
  inputs.get("id").readOnly = !fresh;
  document.querySelector("h1").textContent = fresh ? "A new material" : card.name;
  document.title = fresh ? "A new material" : card.name;
  $("revision").textContent = fresh ? "" : `Revision ${revision}. Saving makes the next one; batches keep the one they had.`;
  $("whole").hidden = fresh;
  $("whole").querySelector("pre").textContent = cardText(card);
  form.hidden = false;
}

// What an answer has beside the card is no part of it.
function take({ revision: r, ratio_text, sentence, ...rest }) {
  [card, revision] = [rest, Number(r.slice(1))];
  fill();
}

async function load() {
  $("alarm").hidden = true;
  try {
    if (id === NEW) fill();
    else take(await api("GET", path(), undefined, exact));
  } catch (e) {
    $("alarm").textContent = e.message;
    $("alarm").hidden = false;
    if (!e.status) setTimeout(load, 2000);
  }
}

const path = () => `/materials/${encodeURIComponent(id)}`;

function tell(wrong, rest) {
  for (const [p, node] of faults) {
    node.textContent = wrong[p] ?? "";
    inputs.get(p).setAttribute("aria-invalid", String(!!wrong[p]));
  }
  $("refusal").textContent = rest;
  const first = [...inputs.keys()].find(p => wrong[p]);
  if (first) inputs.get(first).focus();
}

async function save() {
  const texts = Object.fromEntries([...inputs].map(([p, i]) => [p, i.value]));
  const next = changed(card, texts);
  $("done").hidden = true;
  if (Object.keys(next.faults).length) return tell(next.faults, "Not saved: see the fields above.");
  try {
    await unchanged();
    const fresh = id === NEW, stored = await api(fresh ? "POST" : "PUT", fresh ? "/materials" : path(), next.card, exact);
    tell({}, "");
    if (fresh) history.replaceState(null, "", `/materials/${encodeURIComponent(id = stored.id)}`);
    take(stored);
    await told();
  } catch (e) {
    refused(e, next.card);
  }
}

// Another hand's newer revision is not to be written over unseen.
async function unchanged() {
  if (id === NEW) return;
  const now = await api("GET", path());
  if (now.revision !== revision) throw new Error(`Not saved: the card has been changed meanwhile and is revision ${now.revision} now. Load the page anew to see it.`);
}

function refused(e, sent) {
  const wrong = {}, rest = [];
  if (e.status === 409) wrong.id = "There is a material of that short name already.";
  for (const { field, detail } of e.errors ?? []) {
    const p = fieldFor(field, sent);
    if (p) wrong[p] = wrong[p] ? `${wrong[p]} ${detail}` : detail;
    else rest.push(`${field} ${detail}`);
  }
  tell(wrong, rest.join("; ") || (Object.keys(wrong).length ? "Not saved: see the fields above." : e.message));
}

async function told() {
  $("done").replaceChildren(el("p", {}, `Saved as revision ${revision}.`));
  $("done").hidden = false;
  $("done").scrollIntoView({ block: "nearest" });
  const { stations } = await api("GET", "/stations");
  $("done").append(...stations.map(s => el("a", { href: `/start/${encodeURIComponent(s.station)}?material=${encodeURIComponent(id)}` }, `Start a batch of it at ${s.name}`)));
}

form.onsubmit = e => { e.preventDefault(); save(); };
load();
