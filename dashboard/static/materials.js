// The list of material cards.
import { allMaterials } from "./api.js";
import { el } from "./record-text.js";

const $ = id => document.getElementById(id);

async function load() {
  try {
    const cards = await allMaterials();
    $("cards").replaceChildren(...cards.map(c => el("li", {}, el("a", { href: `/materials/${encodeURIComponent(c.id)}` },
      el("b", { className: "told" }, c.name), el("span", {}, c.ratio_text), el("span", {}, `revision ${c.revision}`)))));
    $("none").hidden = cards.length > 0;
    $("alarm").hidden = true;
  } catch (e) {
    $("alarm").textContent = `${e.message} It is asked again by itself.`;
    $("alarm").hidden = false;
    setTimeout(load, 2000);
  }
}

addEventListener("pageshow", load);
