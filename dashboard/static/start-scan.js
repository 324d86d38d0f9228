// What a scanned code means on the start page. Pure.
import { takesAllowance } from "./start-order.js";

const AMOUNT = /^amount:(total_g|part_a_g|part_b_g|volume_ml):(\d+(?:\.\d+)?)(?::(\d+(?:\.\d+)?))?$/;

// meaning(code, cards, chosen) is one of {material}, {way, quantity, allowance}, {again}, {start}, {container: card, part},
// {lot}, or {refuse: why}. chosen is the id of the material on the page, or "". A container of another material than the
// chosen one changes nothing: it may be the wrong jug.
export function meaning(code, cards, chosen) {
  if (code.startsWith("twocup:")) return command(code.slice("twocup:".length), cards);
  const found = cards.flatMap(card => ["a", "b"].filter(p => card.codes?.[p]?.includes(code)).map(p => ({ container: card, part: p.toUpperCase() })));
  if (!found.length) return { lot: code };
  const own = found.find(f => f.container.id === chosen);
  if (own) return own;
  if (chosen) return { refuse: `That is a container of ${found.map(f => f.container.name).join(" or of ")}, and another material is chosen. Put it back, or choose the material anew.` };
  if (found.length > 1) return { refuse: `That container is of ${found.map(f => f.container.name).join(" and of ")}: choose the material first.` };
  return found[0];
}

function command(text, cards) {
  if (text === "again" || text === "start") return { [text]: true };
  const id = /^material:(.*)$/.exec(text)?.[1], amount = AMOUNT.exec(text);
  if (id !== undefined) return cards.some(c => c.id === id) ? { material: id } : { refuse: `There is no material ${id} here.` };
  if (amount?.[3] && !takesAllowance(amount[1])) return { refuse: "An allowance goes with a total or a mould's volume: what is in hand is in hand." };
  if (amount) return { way: amount[1], quantity: amount[2], allowance: amount[3] ?? "" };
  return { refuse: `twocup:${text} says nothing here: it is for the bench, or no code of a start.` };
}
