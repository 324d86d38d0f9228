// Where to look first when a part came out wrong (common practice, no source), each with what this record says about it.
// Hints and never a diagnosis. Pure.
import { massText, micrograms } from "./mass.js";
import { cardOf, standing, stepOfRecord } from "./record-text.js";
import { toleranceText } from "./card.js";

const NO_STEP = "No step after the weighing is noted in this record: whoever mixed it knows.";

// A step of the card, with all that the card says of it.
export function stepText(s) {
  return [[s.step.replaceAll("_", " "), s.time].filter(Boolean).join(" "), s.within && `within ${s.within}`, s.scrape_every && `scrape every ${s.scrape_every}`,
    typeof s.pressure_mbar_abs === "number" && `at ${s.pressure_mbar_abs} mbar absolute`, typeof s.temperature_c === "number" && `at ${s.temperature_c} °C`].filter(Boolean).join(", ");
}

export const lotsText = (record, part) => record.lots[part]?.join(", ") || "not noted";

function ratioSays(record) {
  const s = standing(record, toleranceText(cardOf(record)));
  if (record.doubt) return s.note + ".";
  if (!s.figure) return "The batch has no verdict: its parts were not all accepted.";
  return `Ratio error ${s.figure.text} %, ${record.verdict} (${s.note}).`;
}

function sideSays(record) {
  const { ratio_error_pct: e, uncertainty_pct: u, doubt } = record;
  if (doubt || e === null || u === null || record.verdict === null) return "Which side was over can't be told from this record.";
  if (Math.abs(e) <= u) return "The error is no larger than its uncertainty: neither side is shown to be over.";
  return e > 0 ? "B was over: more of it than the ratio asks." : "A was over: less B than the ratio asks.";
}

// What a card asks for in steps of these kinds.
function asks(card, kinds) {
  const list = (card.steps ?? []).filter(s => kinds.includes(s.step)).map(stepText);
  return list.length ? `The card asks for: ${list.join("; ")}.` : `The card asks for no ${kinds.map(k => k.replaceAll("_", " ")).join(" or ")}.`;
}

const temperatureSays = record => typeof record.plan.temperature_c === "number" ? `Planned for ${record.plan.temperature_c} °C; the bench's own temperature is not measured.` : "No temperature was given.";

function massSays(record) {
  const total = record.parts.reduce((sum, p) => sum + micrograms(p.poured_g), 0n), check = record.plan.checks.find(c => c.id === "exotherm");
  return `${massText(total, stepOfRecord(record))} g in one cup. ${check ? `Check before the pour: ${check.figure}, ${check.limit}.` : "The card says nothing of a largest mass."}`;
}

function moistureSays(card) {
  return card.moisture_sensitive ? "The card says that the material is moisture-sensitive." : "The card does not say that the material is moisture-sensitive.";
}

// hintsOf(record): [{symptom, look, says: [sentence, …]}, …]
export function hintsOf(record) {
  const card = cardOf(record), lots = `Lots: A ${lotsText(record, "A")}; B ${lotsText(record, "B")}. Their last days of use are not in this record.`;
  return [
    { symptom: "Soft streaks or spots, the rest hard", look: "wall or floor not scraped, no second cup", says: [asks(card, ["mix", "second_cup"]), NO_STEP] },
    { symptom: "Soft all over", look: "the ratio, a wrong part, an out-of-date hardener, cold", says: [ratioSays(record), lots, temperatureSays(record)] },
    { symptom: "Bubbles", look: "moisture, no or weak vacuum, a drill mixer", says: [moistureSays(card), asks(card, ["degas_a", "degas"]), NO_STEP] },
    { symptom: "Hot, warped or cracked", look: "mass too large for the depth, too warm", says: [massSays(record), temperatureSays(record)] },
    { symptom: "Brittle or tacky", look: "which side of the ratio was over", says: [ratioSays(record), sideSays(record)] },
  ];
}
