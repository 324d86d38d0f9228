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

// act(snap, action, more, tell) sends an action; tell gets the reason when it is refused.
export async function act(snap, action, more, tell) {
  tell("");
  try {
    await api("POST", `/batches/${encodeURIComponent(snap.batch.id)}/actions`, bodyOf(action, snap, more));
  } catch (e) {
    tell(e.message);
  }
}

// What a button says of the pedal: "tap" and "hold" are what the foot does.
export function pedalText(way, pedal) {
  const key = pedal === "Enter" ? "Enter" : "the pedal";
  return { tap: `tap ${key}`, hold: `hold ${key}` }[way] ?? "";
}

// makeActions(box, send, tell): update(snap, list, pedal) draws a new set only when the batch's state or the set has
// changed; press("tap") and press("hold") press the button that the pedal means, if it is there and not dead.
export function makeActions(box, send, tell) {
  let drawn = "", from = null;

  function button({ action, label, confirm, by }, pedal) {
    const b = document.createElement("button"), word = document.createElement("b");
    b.type = "button";
    b.dataset.action = action;
    b.dataset.by = by ?? "";
    word.textContent = label;
    b.append(word, Object.assign(document.createElement("small"), { textContent: pedalText(by, pedal) }));
    let sure = !confirm;
    b.onclick = () => {
      deadForAMoment(b);
      if (sure) return send(from, action, confirm ? { reason: "ended at the bench display, no reason asked" } : {}, tell);
      sure = true;
      word.textContent = `${label}: tap again`;
      setTimeout(() => { sure = false; word.textContent = label; }, CONFIRM_MS);
    };
    deadForAMoment(b);
    return b;
  }

  return {
    update(snap, list, pedal) {
      const b = snap?.batch;
      const key = b ? JSON.stringify([b.id, b.phase, b.part, b.cup_no, list, pedal]) : "";
      from = snap; // the same state as drawn, or redrawn just below
      if (key === drawn) return;
      drawn = key;
      box.replaceChildren(...list.map(l => button(l, pedal)));
    },
    press(way) {
      box.querySelector(`[data-by="${way}"]`)?.click(); // a disabled button takes no click
    },
  };
}
