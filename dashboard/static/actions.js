// Buttons that say something to a batch. Each carries the snapshot, phase and part it was drawn from, and is dead for a
// moment after it was drawn, so that a second tap of the same hand never lands on what came up under the finger.
import { api } from "./api.js";

const DEAD_MS = 700, CONFIRM_MS = 4000;

// Body of an action as meant by a person who saw this snapshot: pure.
export function bodyOf(action, snap, more = {}) {
  const { phase, part } = snap.batch;
  return { action, seq: snap.seq, phase, ...(part === null ? {} : { part }), ...more };
}

// Disabled, and not merely deaf, so that it can be seen and waited for.
export function deadForAMoment(button) {
  button.disabled = true;
  setTimeout(() => (button.disabled = false), DEAD_MS);
}

export async function act(snap, action, more, tell) {
  tell("");
  try {
    await api("POST", `/batches/${encodeURIComponent(snap.batch.id)}/actions`, bodyOf(action, snap, more));
  } catch (e) {
    tell(e.message);
  }
}

// makeActions(box, tell): update(snap, list) draws a new set only when the batch's state or the set has changed.
export function makeActions(box, tell) {
  let drawn = "", from = null;

  function button({ action, label, confirm }) {
    const b = document.createElement("button");
    b.type = "button";
    b.dataset.action = action;
    b.textContent = label;
    let sure = !confirm;
    b.onclick = () => {
      deadForAMoment(b);
      if (sure) return act(from, action, confirm ? { reason: "ended at the bench display, no reason asked" } : {}, tell);
      sure = true;
      b.textContent = `${label}: tap again`;
      setTimeout(() => { sure = false; b.textContent = label; }, CONFIRM_MS);
    };
    deadForAMoment(b);
    return b;
  }

  return function update(snap, list) {
    const b = snap?.batch;
    const key = b ? JSON.stringify([b.id, b.phase, b.part, b.cup_no, list]) : "";
    from = snap; // the same state as drawn, or redrawn just below
    if (key === drawn) return;
    drawn = key;
    box.replaceChildren(...list.map(button));
  };
}
