// A part whose measure is typed: the readout of a scale without a cable, or what a syringe or a dropper gave.
import { stepOf } from "./mass.js";

const densityOf = (card, part) => card?.density?.[part.toLowerCase()] ?? card?.additions?.find(a => a.id === part)?.density;

// What is asked for a part, and the unit it is typed in: pure. A volume is the mass by the card's density, to 0.1 mL.
export function asks(snap, card) {
  const b = snap.batch, by = b.parts.find(p => p.part === b.part)?.measured_by, density = densityOf(card, b.part ?? "");
  if (by === "volume") return [`Measure ${density > 0 ? `${(b.target_g / density).toFixed(1)} mL of ` : ""}${b.part}, then type how much went in`, "mL"];
  if (by === "drops") return [`Count the drops of ${b.part}, then type how many`, "drops"];
  return ["What does the scale show now?", stepOf(snap.scale)?.unit ?? "g"];
}

// Body fields for what was typed: pure. The station reads the value and says what is wrong with it.
export function said(text, unit) {
  return unit === "drops" ? ["dosed", { drops: Number(text) }] : [unit === "mL" ? "dosed" : "weighed", { value: `${text.trim()} ${unit}` }];
}

export function makeTyped(form, send, tell) {
  const { value } = form.elements, unit = form.querySelector("#typed-unit");
  let from = null;
  form.onsubmit = e => {
    e.preventDefault();
    const [action, more] = said(value.value, unit.textContent);
    send(from, action, more, tell);
    value.value = "";
  };
  return function update(snap, show, card) {
    from = snap;
    form.hidden = !show;
    if (!show) return;
    const [what, in_] = asks(snap, card);
    form.querySelector("#typed-what").textContent = what;
    unit.textContent = in_;
  };
}
