// What a material card says besides its ratio, which the station puts in words itself.

// The card's limits as text, or null where the card doesn't say.
export function toleranceText(card) {
  const t = card?.tolerance_pct;
  if (typeof t === "number") return `±${t} %`;
  return t ? `${signed(t.low)} to ${signed(t.high)} %` : null;
}

const signed = x => (x > 0 ? "+" : x < 0 ? "−" : "") + Math.abs(x);

export const sdsText = card => ["a", "b"].filter(p => card.sds?.[p]).map(p => `${p.toUpperCase()}: ${card.sds[p]}`).join(" · ");
