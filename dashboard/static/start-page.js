// The start of a batch at one station: the last one again, or material, amount, cup, lots, operator. One button says
// what comes next, and starts when nothing does.
import { allMaterials, api } from "./api.js";
import { keys } from "./keys.js";
import { makeKeypad } from "./keypad.js";
import { stepOf } from "./mass.js";
import { el } from "./record-text.js";
import { poll } from "./index-poll.js";
import { WAYS, amountText, cupText, fieldsOf, lotsText, orderOf, orderOfRecord, planOf, takesAllowance } from "./start-order.js";
import { checksText, drawPlan, levelSign, targetsText, worst } from "./start-plan.js";
import { meaning } from "./start-scan.js";
import { faultFields, makePlanner } from "./start-planner.js";

const DEAD_MS = 700; // after a button has come or changed its word, so that a second tap of the same hand never starts
const ON_SCALE = ["cup", "pour", "settle", "correct"];

const station = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const $ = id => document.getElementById(id);
const form = $("order"), fields = form.elements, keypad = makeKeypad();
const path = `/stations/${encodeURIComponent(station)}`, bench = `/bench/${encodeURIComponent(station)}`;
const lineOf = panel => form.querySelector(`[data-opens="${panel}"]`);
const panelOf = name => form.querySelector(`[data-panel="${name}"]`);
const set = (node, text) => { if (node.textContent !== text) node.textContent = text; };

let cards = [], snap = null, last = null; // last: {record, order} of the newest batch here
let opened = "", lotPart = "", sending = false, refused = {}, batchSeen = "", againShown = "";

const planner = makePlanner(planned), againPlanner = makePlanner(planned);

// A plan stands beside no other revision of its card than its own, and a start is of the card that was seen.
const planOn = (source, card) => (source.plan && source.plan.revision === card?.revision ? source.plan : null);

function planned() {
  const old = [[planner, read().card], [againPlanner, last?.card]].find(([source, card]) => source.plan && card && source.plan.revision !== card.revision);
  if (old) notice(`The card of ${old[1].name} has been changed meanwhile. Look it over again.`);
  if (old) refresh();
  show();
}

// What stands on the page, as fields and as an order.
function read() {
  const f = { material: "", way: "total_g" };
  for (const e of fields) if (e.name && (e.type !== "radio" || e.checked)) f[e.name] = e.type === "checkbox" ? e.checked : e.value;
  const { order, faults } = orderOf(f);
  const card = cards.find(c => c.id === f.material);
  return { f, order, card, plan: planOn(planner, card), faults: { ...faults, ...refused, ...faultFields(planner.error) } };
}

function inputChanged() {
  refused = {};
  notice("");
  const { order } = read();
  planner.want(order && planOf(order, station));
  show();
}

// What the one button does: what is missing is gone to, in this order.
function nextStep({ order, card, plan, faults }) {
  const first = ["material", "quantity", "allowance", "share", "cup_volume", "cup_mass", "operator"].find(name => faults[name]);
  if (snap?.batch && ON_SCALE.includes(snap.batch.phase)) return { say: "The scale is taken", go: null };
  if (!card) return { say: "Choose a material", go: "material" };
  if (first) return { say: "Correct it", go: form.querySelector(`[data-fault~="${first}"]`).closest(".panel").dataset.panel };
  if (!order) return { say: "Type the amount", go: "amount" };
  if (!plan) return { say: planner.error ? "No plan" : "Working it out", go: null };
  if (opened !== "checks") return { say: "Look it over", go: "checks" };
  return { say: "Start", go: "start" };
}

function show() {
  const now = read(), { f, order, card, faults } = now, step = stepOf(snap?.scale);
  const value = (panel, text, empty) => {
    const bad = panelOf(panel).querySelector(".fault")?.textContent;
    set(lineOf(panel).querySelector("b"), bad || text || empty);
  };
  for (const p of form.querySelectorAll("[data-fault]")) set(p, p.dataset.fault.split(" ").map(name => faults[name]).filter(Boolean).join(" "));
  for (const e of fields) if (e.name && e.type !== "radio") e.setAttribute("aria-invalid", String(!!faults[e.name]));
  set($("unit"), WAYS[f.way].unit);
  set(form.querySelector('[value="total_g"] + span'), WAYS.total_g.of(card));
  $("allowance").hidden = !takesAllowance(f.way);
  const range = card?.ratio.b_range;
  $("share").hidden = !range && f.share === "";
  set($("share").querySelector("span"), `parts of B per 100 of A, ${range ? `${range[0]} to ${range[1]}; empty: the card's ${card.ratio_text}` : "which this card does not let one choose: leave it empty"}`);

  set(lineOf("material").querySelector("span"), card ? `· ${card.ratio_text}` : "");
  value("material", card?.name, "not chosen yet");
  value("amount", order ? amountText(order.amount, card) : "", "not typed yet");
  value("cup", cupText(order?.cup), "not stated");
  value("lots", lotsText(order?.lots), "none");
  value("who", [order?.operator, order?.practice && "practice"].filter(Boolean).join(", "), "not named");
  showOutcome(now, step);
  showAgain(step);
  const next = nextStep(now);
  if ($("go").textContent !== next.say) dead($("go"));
  set($("go"), next.say);
  $("go").setAttribute("aria-disabled", String(next.go === null));
}

// The plan of what is typed; before anything is, that of the last batch.
function showOutcome({ order, card }, step) {
  const own = card || !last, source = own ? planner : againPlanner, of = own ? card : last?.card, plan = planOn(source, of);
  set($("outcome").querySelector("small"), own ? "Targets" : "Targets of the last one");
  const marked = own && Object.keys(faultFields(source.error)).length;
  const none = marked ? "none: see what is marked" : source.error?.message ?? (order ? "…" : "they come as you type");
  set($("outcome").querySelector("b"), plan ? targetsText(plan, of, step) : none);
  const key = plan ? JSON.stringify([plan, step, of.revision]) : "";
  if ($("plan").dataset.key === key) return;
  $("plan").dataset.key = key;
  $("verdicts").replaceChildren(...(plan ? [levelSign(worst(plan)), checksText(plan)] : []));
  if (plan) drawPlan($("plan"), plan, of, step);
  else $("plan").replaceChildren(el("p", {}, "Nothing to look over yet: choose a material and type an amount."));
}

function showAgain(step) {
  $("again").hidden = !last?.card || read().f.material !== ""; // one way at a time
  const now = $("again").hidden ? "" : `${last.record.id} ${last.card.revision}`;
  if (now && now !== againShown) dead($("again-start"));
  againShown = now;
  form.querySelector(".three").hidden = !$("again").hidden; // they belong to a material
  if ($("again").hidden) return;
  const { order, record, card } = last, plan = planOn(againPlanner, card);
  const since = record.plan.revision === card.revision ? "" : `The card has changed since: revision ${card.revision}, it was ${record.plan.revision}.`;
  const kept = [order.operator, lotsText(order.lots) && `lots ${lotsText(order.lots)}`, cupText(order.cup) && `cup ${cupText(order.cup)}`, order.practice && "practice"].filter(Boolean).join(" · ");
  set($("again-what"), `${card.name}, ${card.ratio_text}; ${amountText(order.amount, card)}`);
  set($("again-targets"), plan ? targetsText(plan, card, step) : againPlanner.error?.message ?? "…");
  set($("again-kept"), [since, kept].filter(Boolean).join(" "));
}

function dead(button) {
  const mine = button.dataset.dead = String(performance.now());
  setTimeout(() => { if (button.dataset.dead === mine) delete button.dataset.dead; }, DEAD_MS);
}

const notice = text => set($("notice"), text);

// open(panel) shows one panel; the focus goes to what is to be done in it.
function open(name, focus = true) {
  opened = name;
  for (const p of form.querySelectorAll(".panel")) p.hidden = p.dataset.panel !== name;
  for (const l of form.querySelectorAll(".line")) l.setAttribute("aria-expanded", String(l.dataset.opens === name));
  const panel = panelOf(name), field = panel.querySelector(name === "amount" ? '[name="quantity"]' : "input:checked, input, textarea");
  if (panel.classList.contains("numbers")) panel.append(keypad.node);
  show();
  if (focus) (name === "checks" ? $("go") : field)?.focus();
  if (focus && matchMedia("(max-width: 899px)").matches) panel.scrollIntoView({ block: "nearest" });
}

async function send(order) {
  if (sending) return;
  sending = true;
  notice("");
  try {
    await api("POST", `${path}/batches`, order);
    location.assign(bench);
  } catch (e) {
    refused = faultFields(e);
    notice(e.message);
    show();
  }
  sending = false;
}

function go() {
  const now = read(), next = nextStep(now);
  if (next.go === "start") {
    if ($("go").dataset.dead === undefined) send({ ...now.order, revision: now.plan.revision });
  } else if (next.go) open(next.go);
  else notice(`${next.say}.`);
}

function again() {
  if (document.body.dataset.ready === undefined) return notice("The page is still reading what was made here: ask again.");
  if (!last?.card) return notice("No batch has been made at this station yet: there is none to make again.");
  if (snap?.batch && ON_SCALE.includes(snap.batch.phase)) return notice("A batch is on the scale: finish it first.");
  send({ again: last.record.id, revision: last.card.revision });
}

function fill(values) {
  for (const [name, value] of Object.entries(values)) {
    const field = fields[name];
    if (field instanceof RadioNodeList || field?.type === "radio") {
      for (const r of form.querySelectorAll(`[name="${name}"]`)) r.checked = r.value === value;
    } else if (field?.type === "checkbox") field.checked = value;
    else if (field) field.value = value;
  }
  inputChanged();
}

function choose(id) {
  if (read().f.material !== id) fill({ material: id, share: "", lot_a: "", lot_b: "" });
  lotPart = "";
}

function scanned(code) {
  const focused = document.activeElement?.name;
  const { f } = read(), m = meaning(code, cards, f.material);
  notice(m.refuse ?? "");
  if (m.again) again();
  else if (m.start) go();
  else if (m.material) choose(m.material), open(read().order ? "checks" : "amount");
  else if (m.way) fill({ way: m.way, quantity: m.quantity, allowance: m.allowance }), open(f.material ? "checks" : "material");
  else if (m.container) container(m);
  else if (m.lot) lot(m.lot, { lot_a: "A", lot_b: "B" }[focused] ?? lotPart);
}

function container({ container: card, part }) {
  choose(card.id);
  lotPart = part;
  if (!read().order) open("amount");
  notice(`That is part ${part} of ${card.name}. Its lot can be scanned now.`);
}

function lot(code, part) {
  if (!part) return notice(`No card knows the code ${code}. Scan a container first, then its lot.`);
  const field = fields[`lot_${part.toLowerCase()}`], lines = field.value.split("\n").filter(Boolean);
  if (!lines.includes(code)) lines.push(code);
  field.value = lines.join("\n");
  inputChanged();
  notice(`Lot of ${part}: ${code}`);
}

function showStation(answer, gap_ms, error) {
  snap = answer;
  const lost = answer === null ? error : gap_ms > 3000 ? error ?? new Error("The station does not answer.") : null;
  set($("alarm"), lost ? `${lost.message} It is asked again by itself.` : snap?.ledger ?? "");
  $("alarm").hidden = !$("alarm").textContent;
  const s = snap?.scale;
  const words = s && { up: `scale ${s.id} shows ${s.shown ?? "nothing yet"}`, silent: `scale ${s.id} is silent`, down: `scale ${s.id} is lost`, manual: `the readout of ${s.id} is typed` }[s.link];
  set($("scale"), !snap ? "" : lost ? "" : [snap.name, words, s.advice].filter(Boolean).join(" · "));
  if (snap?.batch && snap.batch.id !== batchSeen) {
    batchSeen = snap.batch.id; // from another display: it is the last one now
    refresh();
  }
  const b = snap?.batch, on = !!b && ON_SCALE.includes(b.phase);
  $("busy").hidden = !on;
  if (on) {
    set($("busy").querySelector("span"), `A batch of ${cards.find(c => c.id === b.material)?.name ?? b.material} is on the scale.`);
    set($("busy").querySelector("a"), "Go to it at the bench");
  }
  show();
}

// Drawn anew where the cards have changed, so that the focus stays where it is.
function drawMaterials() {
  const box = $("materials"), chosen = read().f.material || new URLSearchParams(location.search).get("material");
  const key = JSON.stringify(cards.map(c => [c.id, c.name, c.ratio_text]));
  if (box.dataset.key === key) return;
  box.dataset.key = key;
  box.replaceChildren(box.firstElementChild, ...cards.map(c => {
    const radio = el("input", { type: "radio", name: "material", value: c.id, checked: c.id === chosen });
    return el("label", {}, radio, el("span", {}, el("b", { className: "told" }, c.name), el("small", {}, c.ratio_text)));
  }));
  if (!cards.length) box.append(el("p", {}, "There is no material yet. ", el("a", { href: "/materials/+" }, "Write the card of the first one")));
}

// What the station knows besides its own state: the cards, and what was made here last.
async function meet() {
  const [all, { batches }] = await Promise.all([allMaterials(), api("GET", `/batches?station=${encodeURIComponent(station)}&limit=1`)]);
  cards = all;
  drawMaterials();
  if (batches.length) last = { record: batches[0], order: orderOfRecord(batches[0]), card: cards.find(c => c.id === batches[0].material) };
  if (last?.card) againPlanner.want(planOf(last.order, station));
}

// Once more, for what others have changed; what fails is tried again with the next change that is seen.
async function refresh() {
  if (document.body.dataset.ready === undefined) return;
  try {
    await meet();
    show();
  } catch (e) {
    notice(e.message);
  }
}

async function load() {
  try {
    await meet();
  } catch (e) {
    notice(e.message);
    return setTimeout(load, 2000);
  }
  inputChanged();
  open(read().card ? "amount" : last?.card ? "checks" : "material", !last?.card);
  if (last?.card && !read().card) $("again-start").focus();
  document.body.dataset.ready = "";
}

form.oninput = inputChanged;
form.onsubmit = e => { e.preventDefault(); go(); };
form.addEventListener("focusin", e => { if (e.target.inputMode === "none") { keypad.to(e.target); e.target.select(); } });
form.addEventListener("click", e => {
  const line = e.target.closest(".line"), label = e.target.closest("#materials label");
  if (line) return open(line.dataset.opens);
  if (!label || e.detail === 0) return; // arrow keys only look; a finger or a mouse has chosen
  e.preventDefault();
  choose(label.control.value);
  open("amount");
});
form.addEventListener("keydown", e => {
  if (e.key !== "Enter") return;
  if (e.target.id === "go") return e.repeat && e.preventDefault();
  if (e.target.matches?.("input")) {
    e.preventDefault();
    if (e.target.name === "material" && !e.target.checked) choose(e.target.value);
    if (!e.repeat) go();
  }
});
$("again-start").onclick = e => e.currentTarget.dataset.dead === undefined && again();
$("again-change").onclick = () => { fill(fieldsOf(last.order)); open("amount"); };
$("to-bench").href = $("busy").querySelector("a").href = bench;
document.title = `Start at ${station}`;
document.addEventListener("visibilitychange", () => document.hidden || refresh());
keys({ onScan: scanned });
poll(path, showStation);
load();
