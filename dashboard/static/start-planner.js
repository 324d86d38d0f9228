// Asks for the plan of what is on the page: not at each key, and only the answer to the newest question counts. It is
// asked anew for as long as it stands: the card and the scale's division may be changed by others meanwhile.
import { api } from "./api.js";

const WAIT_MS = 150, AGAIN_MS = 2000;

// makePlanner(changed): want(question) asks; plan and error are the answer to the newest question, both null before it
// is there.
export function makePlanner(changed) {
  let timer = 0, asked = "", number = 0;
  const planner = { plan: null, error: null, want };

  function want(question) {
    const text = question ? JSON.stringify(question) : "";
    if (text === asked) return;
    asked = text;
    planner.plan = planner.error = null;
    clearTimeout(timer);
    const mine = ++number;
    if (question) timer = setTimeout(() => ask(question, mine), WAIT_MS);
  }

  async function ask(question, mine) {
    let plan = null, error = null;
    try {
      plan = await api("POST", "/plan", question);
    } catch (e) {
      error = e;
    }
    if (mine !== number) return;
    [planner.plan, planner.error] = [plan, error];
    timer = setTimeout(() => ask(question, mine), AGAIN_MS);
    changed();
  }
  return planner;
}

// A refusal's faults by the page's own fields. What has none stands at the material, whose card it is about, or at the
// amount.
export function faultFields(error) {
  const faults = {};
  const add = (field, detail) => { faults[field] = faults[field] ? `${faults[field]} ${detail}` : detail; };
  if (error?.status === 400 && !error.errors.length) add("quantity", error.message);
  for (const { field, detail } of error?.errors ?? []) add(fieldFor(field), detail);
  return faults;
}

function fieldFor(field) {
  if (field === "amount.allowance_pct") return "allowance";
  if (field.startsWith("amount")) return "quantity";
  if (field === "b_per_100_a") return "share";
  if (field === "operator") return field;
  if (field.startsWith("cup")) return field === "cup.mass_g" ? "cup_mass" : "cup_volume";
  return "material"; // its ratio, a density that is missing, a card that can't be poured yet
}
