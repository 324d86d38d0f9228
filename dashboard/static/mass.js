// Masses as whole micrograms (BigInt), printed with the scale's own unit and decimals. The API's `_g` fields have
// at most six digits after the point, so nothing is lost on the way in and no float noise comes out.

// Picograms in one unit, exact by definition (1 lb = 0.45359237 kg, 1 oz = 1/16 lb: NIST SP 811, appendix B).
const PICOGRAMS = { mg: 10n ** 9n, g: 10n ** 12n, kg: 10n ** 15n, oz: 28349523125000n, lb: 453592370000000n };

export const micrograms = grams => (typeof grams === "number" ? BigInt(Math.round(grams * 1e6)) : null);

// The step in which this scale is read: {unit, decimals}, from the text it shows, before its first reading from
// its division. Null when neither is known: then no mass is printed at all.
export function stepOf(scale) {
  const m = /^-?\d+(?:\.(\d+))? (mg|g|kg|oz|lb)$/.exec(scale?.shown ?? "");
  if (m) return { unit: m[2], decimals: (m[1] ?? "").length };
  if (!(scale?.division_g > 0)) return null;
  return { unit: "g", decimals: scale.division_g.toFixed(6).replace(/0+$/, "").split(".")[1].length };
}

// Digits of a mass in that step, rounded half away from zero; a zero has no sign. "–" without a step.
export function massText(ug, step) {
  if (ug === null || step === null) return "–";
  const one = PICOGRAMS[step.unit];
  const size = (ug < 0n ? -ug : ug) * 10n ** 6n * 10n ** BigInt(step.decimals);
  const n = (2n * size + one) / (2n * one);
  const digits = String(n).padStart(step.decimals + 1, "0");
  const at = digits.length - step.decimals;
  return (ug < 0n && n > 0n ? "−" : "") + digits.slice(0, at) + (step.decimals ? "." + digits.slice(at) : "");
}
