// What a material card says, in plain sentences.

const SHARES = [[1, "as much B as A"], [0.5, "B is half of A"], [0.25, "B is a quarter of A"], [0.2, "B is a fifth of A"],
  [0.1, "B is a tenth of A"], [2, "B is twice A"], [3, "B is three times A"], [4, "B is four times A"]];

export function ratioText(card) {
  const [basis, r] = card.ratio.weight ? ["weight", card.ratio.weight] : ["volume", card.ratio.volume];
  return `A ${r.a} : B ${r.b} by ${basis}`;
}

// The same in words, always by weight in the end, because that is what will be poured.
export function ratioSentence(card) {
  const { weight, volume } = card.ratio;
  const { a: da, b: db } = card.density ?? {};
  const r = weight ? weight.b / weight.a : da && db ? (volume.b * db) / (volume.a * da) : null;
  const by = weight ? "" : `By volume ${volume.a} of A to ${volume.b} of B. `;
  if (r === null) return by + "The card has no densities, so this can't be weighed.";
  const part = r * 100;
  const text = Number(part.toPrecision(4));
  const share = SHARES.find(([x]) => Math.abs(r - x) < 1e-9)?.[1] ?? (r > 1 ? "B is the larger part" : "A is the larger part");
  return `${by}For every 100 g of A, ${text === part ? "" : "about "}${text} g of B: ${share}.`;
}

// The card's limits as text, or null where the card doesn't say.
export function toleranceText(card) {
  const t = card?.tolerance_pct;
  if (typeof t === "number") return `±${t} %`;
  return t ? `${signed(t.low)} to ${signed(t.high)} %` : null;
}

const signed = x => (x > 0 ? "+" : x < 0 ? "−" : "") + Math.abs(x);

export const sdsText = card => ["a", "b"].filter(p => card.sds?.[p]).map(p => `${p.toUpperCase()}: ${card.sds[p]}`).join(" · ");
