// The plain start form on the empty bench. It stays in the page while a batch runs, so the last job is still in it.
import { allMaterials, api } from "./api.js";
import { sdsText } from "./card.js";

const ALWAYS = ["Gloves and eye protection on, ventilation running."];

// An amount as typed, in grams or millilitres: pure. A comma could mean thousands or decimals, so it is asked about.
export function amountOf(text) {
  const t = text.trim();
  if (t.includes(",")) throw new Error("Write the amount with a point for decimals and nothing for thousands: 1500 or 1.5");
  if (!/^(\d+\.?\d*|\.\d+)$/.test(t) || !(Number(t) > 0)) throw new Error("Type how much, as a number above zero.");
  return Number(t);
}

// makeStart(form, station): {show(visible), card(id)}; cards are read again each time the form comes up.
export function makeStart(form, station) {
  const { material, amount } = form.elements;
  const fault = form.querySelector(".fault"), button = form.querySelector("#start-button");
  let cards = new Map(), visible = false;
  const asked = new Set(); // cards that were not there yet: read again once

  async function load() {
    try {
      cards = new Map((await allMaterials()).map(c => [c.id, c]));
      const kept = material.value;
      material.replaceChildren(...[...cards.values()].map(c => new Option(c.name, c.id)));
      if (cards.has(kept)) material.value = kept;
      fault.textContent = cards.size ? "" : "No material cards yet: import one first.";
    } catch (e) {
      fault.textContent = e.message;
      setTimeout(load, 2000);
    }
    describe();
  }

  function describe() {
    const card = cards.get(material.value);
    form.querySelector("#amount-unit").textContent = form.elements.kind.value === "volume_ml" ? "mL" : "g";
    form.querySelector("#ratio-sentence").textContent = card ? capital(card.sentence) : "";
    const sds = card ? sdsText(card) : "";
    const list = [...ALWAYS, ...(card?.cautions ?? []), `Follow the SDS and local rules. ${sds ? `SDS ${sds}` : "The card names no SDS: find each part's before you pour."}`];
    form.querySelector("#cautions").replaceChildren(...list.map(t => Object.assign(document.createElement("li"), { textContent: t })));
  }

  const capital = text => text[0].toUpperCase() + text.slice(1) + ".";

  form.onchange = describe;
  form.onsubmit = async e => {
    e.preventDefault();
    fault.textContent = "";
    button.disabled = true;
    try {
      await api("POST", `/stations/${encodeURIComponent(station)}/batches`, { material: material.value, amount: { [form.elements.kind.value]: amountOf(amount.value) } });
    } catch (err) {
      fault.textContent = err.message;
    }
    button.disabled = false;
  };

  load();
  return {
    show(now) {
      if (now && !visible) load();
      form.hidden = !(visible = now);
    },
    card(id) {
      if (id && cards.size && !cards.has(id) && !asked.has(id)) { asked.add(id); load(); }
      return cards.get(id);
    },
  };
}
