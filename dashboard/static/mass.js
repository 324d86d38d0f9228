// Masses as whole micrograms (BigInt), printed with the scale's own unit and decimals. The API's `_g` fields have
// at most six digits after the point, so nothing is lost on the way in and no float noise comes out.

// Picograms in one unit, exact by definition (1 lb = 0.45359237 kg, 1 oz = 1/16 lb, a grain 1/7000 lb, a troy ounce 480 and
// a pennyweight 24 grains: NIST SP 811, appendix B). The digits of a split display, lb:oz, are ounces.
const PICOGRAMS = {
  mg: 10n ** 9n, g: 10n ** 12n, kg: 10n ** 15n, t: 10n ** 18n, ct: 200000000000n, gn: 64798910000n, dwt: 1555173840000n,
  oz: 28349523125000n, ozt: 31103476800000n, lb: 453592370000000n, "lb:oz": 28349523125000n,
};

export const micrograms = grams => (typeof grams === "number" ? BigInt(Math.round(grams * 1e6)) : null);

// The step in which this scale is read: {unit, decimals}, from the text it shows, before its first reading from
// its division. Null when neither is known: then no mass is printed at all.
export function stepOf(scale) {
  const m = /^-?\d+(?::\d\d)?(?:\.(\d+))? ([a-z:]+)$/.exec(scale?.shown ?? "");
  if (m && m[2] in PICOGRAMS) return { unit: m[2], decimals: (m[1] ?? "").length };
  if (!(scale?.division_g > 0)) return null;
  return { unit: "g", decimals: scale.division_g.toFixed(6).replace(/0+$/, "").split(".")[1].length };
}

// Digits of a mass in that step, rounded half away from zero; a zero has no sign. "–" without a step.
export function massText(ug, step) {
  if (ug === null || step === null) return "–";
  const one = PICOGRAMS[step.unit];
  const size = (ug < 0n ? -ug : ug) * 10n ** 6n * 10n ** BigInt(step.decimals);
  const n = (2n * size + one) / (2n * one);
  const sign = ug < 0n && n > 0n ? "−" : "";
  if (step.unit === "lb:oz") {
    const pound = 16n * 10n ** BigInt(step.decimals), ounces = decimal(n % pound, step.decimals);
    return `${sign}${n / pound}:${ounces.split(".")[0].length < 2 ? "0" : ""}${ounces}`;
  }
  return sign + decimal(n, step.decimals);
}

// decimal puts the mark of so many decimals into digits.
function decimal(n, decimals) {
  const digits = String(n).padStart(decimals + 1, "0");
  const at = digits.length - decimals;
  return digits.slice(0, at) + (decimals ? "." + digits.slice(at) : "");
}
