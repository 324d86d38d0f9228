// A card between its JSON and the form's texts. Pure. A number keeps the digits it was printed with, which say how well it is
// known: 1.10 must not become 1.1.
const EXACT = "\u0001"; // stands before a number's digits; no text of a card can hold it

export const exact = {
  parse: text => JSON.parse(text.replace(/"(?:[^"\\]|\\.)*"|-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?/g, t => (t[0] === '"' ? t : `"\\u0001${t}"`))),
  stringify: value => JSON.stringify(value).replace(/"\\u0001([^"]*)"/g, "$1"),
};

export const VISCOSITIES = ["thin", "medium", "thick", "thick_thin", "paste", "foam"];

// The fields that the form has, in groups. kind: text (the default), number, lines, or a list to choose from.
export const GROUPS = [
  ["Name", [
    { path: "name", label: "Name", long: true },
    { path: "id", label: "Short name, for codes and addresses", hint: "a to z, 0 to 9 and -; it stays for good", fresh: true },
  ]],
  ["Mix ratio, A first", [
    { path: "ratio.weight.a", label: "A by weight", kind: "number" }, { path: "ratio.weight.b", label: "B by weight", kind: "number" },
    { path: "ratio.volume.a", label: "A by volume", kind: "number" }, { path: "ratio.volume.b", label: "B by volume", kind: "number" },
    { path: "tolerance_pct.low", label: "B may be short by", kind: "number", unit: "%" }, { path: "tolerance_pct.high", label: "B may be over by", kind: "number", unit: "%" },
  ], "By weight, by volume, or both; by volume it can be weighed with both densities. Without a tolerance 2 % is assumed."],
  ["Density, with the digits of the data sheet", [
    { path: "density.a", label: "of A", kind: "number", unit: "g/mL" }, { path: "density.b", label: "of B", kind: "number", unit: "g/mL" },
    { path: "density.mixed", label: "mixed, in the cup", kind: "number", unit: "g/mL" }, { path: "density.cast", label: "of what fills the mould", kind: "number", unit: "g/mL" },
    { path: "density.at_c", label: "at", kind: "number", unit: "°C" },
  ]],
  ["Working", [
    { path: "viscosity", label: "Viscosity", kind: VISCOSITIES },
    { path: "pot_life.time", label: "Pot life", hint: "90s, 20m, 2h" }, { path: "pot_life.mass_g", label: "of so much mix", kind: "number", unit: "g" }, { path: "pot_life.temperature_c", label: "at", kind: "number", unit: "°C" },
    { path: "mix.time", label: "Mix for", hint: "90s, 3m" }, { path: "mix.scrape_every", label: "Scrape wall and floor every", hint: "30s, 1m" },
  ]],
  ["Cautions and safety data sheets", [
    { path: "cautions", label: "Cautions, one a line", kind: "lines", long: true },
    { path: "sds.a", label: "SDS of A", long: true }, { path: "sds.b", label: "SDS of B", long: true },
  ]],
];

const mixOf = card => card.steps?.find(s => s.step === "mix");
const bare = value => (typeof value === "string" ? value.replace(EXACT, "") : "");

// The text of one field, as the card has it; empty where it is not stated.
export function textOf(card, { path, kind }) {
  if (path === "cautions") return (card.cautions ?? []).join("\n");
  if (path.startsWith("mix.")) return bare(mixOf(card)?.[path.slice(4)]);
  if (path.startsWith("tolerance_pct.")) {
    const t = card.tolerance_pct;
    return bare(typeof t === "object" ? t[path.slice(14)] : t).replace("-", "");
  }
  return bare(path.split(".").reduce((at, key) => at?.[key], card));
}

// changed(card, texts) is {card, faults}: the card with the fields whose text is another one now, all else as it was. texts
// are by path; faults by path as well: what is no number.
export function changed(card, texts) {
  const next = structuredClone(card), faults = {};
  for (const field of GROUPS.flatMap(([, fields]) => fields)) {
    const text = (texts[field.path] ?? "").replaceAll(EXACT, "").trim();
    if (field.path in texts && text !== textOf(card, field)) put(next, field, text, faults);
  }
  if (["low", "high"].some(side => (texts[`tolerance_pct.${side}`] ?? "").trim() !== textOf(card, { path: `tolerance_pct.${side}` }))) putTolerance(next, texts, faults);
  return { card: next, faults };
}

function put(card, { path, kind }, text, faults) {
  if (path.startsWith("tolerance_pct.")) return; // both sides at once
  const value = kind === "number" ? numberOf(text, path, faults) : kind === "lines" ? text.split("\n").map(l => l.trim()).filter(Boolean) : text;
  if (value === null) return;
  const keys = path.startsWith("mix.") ? [path.slice(4)] : path.split(".");
  let at = path.startsWith("mix.") ? mixOf(card) ?? addMix(card) : card;
  for (const key of keys.slice(0, -1)) at = at[key] ??= {};
  if (text === "") delete at[keys.at(-1)];
  else at[keys.at(-1)] = value;
  for (const whole of [card.ratio, card]) {
    for (const [key, v] of Object.entries(whole)) if (typeof v === "object" && !Array.isArray(v) && !Object.keys(v).length && key !== "ratio") delete whole[key];
  }
}

// The step of mixing comes after those that stand between A and B.
function addMix(card) {
  card.steps ??= [];
  const at = card.steps.findIndex(s => !["stir", "degas_a"].includes(s.step)), step = { step: "mix" };
  card.steps.splice(at < 0 ? card.steps.length : at, 0, step);
  return step;
}

function putTolerance(card, texts, faults) {
  const [low, high] = ["low", "high"].map(side => (texts[`tolerance_pct.${side}`] ?? "").trim());
  if (low === "" && high === "") return void delete card.tolerance_pct;
  if (low === "" || high === "") return void (faults[`tolerance_pct.${low === "" ? "low" : "high"}`] = "State both sides, be it with the same figure.");
  const [l, h] = [numberOf(low, "tolerance_pct.low", faults), numberOf(high, "tolerance_pct.high", faults)];
  if (l === null || h === null) return;
  const pair = typeof card.tolerance_pct === "object" || Number(low) !== Number(high);
  card.tolerance_pct = pair ? { low: Number(low) === 0 ? l : EXACT + "-" + low, high: h } : h;
}

function numberOf(text, path, faults) {
  if (text === "" || /^-?(0|[1-9]\d*)(\.\d+)?$/.test(text)) return EXACT + text;
  faults[path] = text.includes(",") ? "Write a point for decimals and nothing for thousands." : `${text} is no number: write digits, such as 100 or 1.05.`;
  return null;
}

// The field of the form that a fault of the API belongs to, or null.
export function fieldFor(fault, card) {
  const mix = (card.steps ?? []).findIndex(s => s.step === "mix"), path = mix >= 0 ? fault.replace(`steps[${mix}]`, "mix") : fault;
  const fields = GROUPS.flatMap(([, list]) => list.map(f => f.path));
  return fields.find(f => f === path) ?? fields.find(f => f.startsWith(path + ".")) ?? fields.find(f => path.startsWith(f + "[")) ?? null;
}

// The card as text, a line for each field, lists an item a line.
export function cardText(card) {
  return Object.entries(card).map(([key, v]) => (Array.isArray(v) && v.length ? `${key}:\n${v.map(i => `  - ${inLine(i)}`).join("\n")}` : `${key}: ${inLine(v)}`)).join("\n");
}

function inLine(v) {
  if (Array.isArray(v)) return `[${v.map(inLine).join(", ")}]`;
  if (v && typeof v === "object") return `{${Object.entries(v).map(([k, x]) => `${k}: ${inLine(x)}`).join(", ")}}`;
  return typeof v === "string" ? bare(v) : String(v);
}
