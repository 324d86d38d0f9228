// A bench with nothing on it: which it is, what its scale shows, and the two ways to a batch.
import { deadForAMoment, pedalText } from "./actions.js";
import { massText, micrograms, stepOf } from "./mass.js";

// makeFree(box, {last, again}): last() promises the newest record of this station or null, again(id) starts it once more.
export function makeFree(box, station, { last, again }) {
  const button = box.querySelector("#again"), heading = box.querySelector("h1");
  const [shows, motion] = [box.querySelector("p b"), box.querySelector("p i")];
  let shown = false, record = null;

  heading.textContent = station;
  const other = box.querySelector("a");
  other.href = `/start/${encodeURIComponent(station)}`;
  button.onclick = () => {
    deadForAMoment(button);
    again(record.id);
  };

  async function look() {
    try {
      record = await last();
    } catch {
      record = null; // the way to the start page stays
    }
  }

  function update(snap, v, show, { pedal, name, card }) {
    if (show && !shown) {
      look();
      deadForAMoment(button);
    }
    shown = show;
    box.hidden = !show;
    if (!show) return;
    heading.textContent = name ?? station;
    shows.textContent = v.shown;
    shows.classList.toggle("struck", v.struck);
    motion.textContent = v.motion;
    const step = stepOf(snap.scale);
    button.hidden = !record;
    other.textContent = record ? "Something else" : "Start a batch";
    button.querySelector("span").textContent = record ? `${card(record.material)?.name ?? record.material}, ${massText(micrograms(record.plan.batch_total_g), step)} ${step?.unit ?? "g"}` : "";
    button.querySelector("small").textContent = pedalText("tap", pedal);
  }
  return { update, press: way => way === "tap" && !box.hidden && !button.hidden && button.click() };
}
