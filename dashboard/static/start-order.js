// From what stands on the start page to an order, and from a batch's record back. Pure.

// The ways of an amount: what it is of, and its unit. With additions the total holds them too.
export const WAYS = {
  total_g: { of: card => (card?.additions?.length ? "all in the cup" : "A and B together"), unit: "g" },
  part_a_g: { of: () => "A in hand", unit: "g" },
  part_b_g: { of: () => "B in hand", unit: "g" },
  volume_ml: { of: () => "mould", unit: "mL" },
};
export const wayOf = amount => Object.keys(WAYS).find(way => amount[way] !== undefined);
export const takesAllowance = way => way === "total_g" || way === "volume_ml";

// A number as typed; null where nothing is. A comma could mean thousands or decimals, so it is asked about.
export function numberOf(text) {
  const t = text.trim();
  if (t === "") return null;
  if (t.includes(",")) throw new Error("Write a point for decimals and nothing for thousands: 1500 or 1.5");
  if (!/^(\d+\.?\d*|\.\d+)$/.test(t)) throw new Error(`${t} is no number: write digits, such as 300 or 12.5`);
  return Number(t);
}

// orderOf(f) is {order, faults}: the order without what is not stated, and what is wrong, by the name of its field. The
// order is null until there is a material and an amount, and while a fault stands.
export function orderOf(f) {
  const faults = {};
  const number = name => {
    try {
      return numberOf(f[name]);
    } catch (e) {
      faults[name] = e.message;
      return null;
    }
  };
  const [quantity, share, volume, mass] = ["quantity", "share", "cup_volume", "cup_mass"].map(number), allowance = takesAllowance(f.way) ? number("allowance") : null;
  if (quantity === 0) faults.quantity = "Type how much, as a number above zero.";
  const order = { material: f.material, amount: { [f.way]: quantity } };
  if (allowance !== null) order.amount.allowance_pct = allowance;
  if (share !== null) order.b_per_100_a = share;
  if (volume !== null || mass !== null) order.cup = { ...(volume === null ? {} : { volume_ml: volume }), ...(mass === null ? {} : { mass_g: mass }) };
  const lots = Object.fromEntries([["A", linesOf(f.lot_a)], ["B", linesOf(f.lot_b)]].filter(([, list]) => list.length));
  if (Object.keys(lots).length) order.lots = lots;
  if (f.operator.trim()) order.operator = f.operator.trim();
  if (f.practice) order.practice = true;
  return { order: f.material && quantity !== null && !Object.keys(faults).length ? order : null, faults };
}

const linesOf = text => text.split("\n").map(l => l.trim()).filter(Boolean);

// The order that a batch was started from. One from before amounts were kept is asked for by its total.
export function orderOfRecord(r) {
  const order = { material: r.material, amount: r.amount ?? { total_g: r.plan.total_g } };
  if (r.b_per_100_a !== undefined) order.b_per_100_a = r.b_per_100_a;
  if (r.plan.cup) order.cup = r.plan.cup;
  if (Object.keys(r.lots).length) order.lots = r.lots;
  if (r.operator) order.operator = r.operator;
  if (r.practice) order.practice = true;
  return order;
}

// The fields of the page that an order comes from.
export function fieldsOf(o) {
  const text = x => (x === undefined ? "" : String(x)), way = wayOf(o.amount);
  return {
    material: o.material, way, quantity: text(o.amount[way]), allowance: text(o.amount.allowance_pct), share: text(o.b_per_100_a),
    cup_volume: text(o.cup?.volume_ml), cup_mass: text(o.cup?.mass_g),
    lot_a: (o.lots?.A ?? []).join("\n"), lot_b: (o.lots?.B ?? []).join("\n"), operator: o.operator ?? "", practice: o.practice === true,
  };
}

// What is asked of the plan: the order without what no target depends on.
export const planOf = ({ material, amount, cup, b_per_100_a }, station) => ({ material, amount, station, ...(cup && { cup }), ...(b_per_100_a !== undefined && { b_per_100_a }) });

// An amount in words: "300 g of A and B together, and 10 % allowance".
export function amountText(amount, card) {
  const way = wayOf(amount);
  return `${amount[way]} ${WAYS[way].unit} of ${WAYS[way].of(card)}${amount.allowance_pct ? `, and ${amount.allowance_pct} % allowance` : ""}`;
}

export function cupText(cup) {
  const known = [cup?.volume_ml !== undefined && `${cup.volume_ml} mL`, cup?.mass_g !== undefined && `${cup.mass_g} g empty`].filter(Boolean);
  return known.join(", ");
}

export const lotsText = lots => ["A", "B"].filter(p => lots?.[p]?.length).map(p => `${p} ${lots[p].join(", ")}`).join(" · ");
