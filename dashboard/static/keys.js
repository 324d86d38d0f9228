// Tells a scanner from a pedal from a person who types. All three are keyboards to the page.
//   scanner  a burst of characters, each within 50 ms of the last, ended by Enter just as fast
//   pedal    one key, named as in KeyboardEvent.key (W3C UI Events): a tap is its release, a hold a second of it
//   typing   whatever else goes into a field; it is left alone
const BURST_MS = 50, HOLD_MS = 1000;
const SHORTEST = 3; // characters of a code; no hand types three and Enter that fast
const CONTROLS = "input, select, textarea, button, a, summary";

// makeBurst() follows characters and their times (ms): pure. add(key, at) says how many stand in the burst now;
// end(at), at an Enter, gives the code, "" for a burst that is none, null when no burst was on its way.
export function makeBurst() {
  let text = "", last = -Infinity;
  const fast = at => at - last <= BURST_MS;
  return {
    add(key, at) {
      text = (fast(at) ? text : "") + key;
      last = at;
      return text.length;
    },
    end(at) {
      const code = fast(at) ? (text.length < SHORTEST ? "" : text) : null;
      text = "";
      last = -Infinity;
      return code;
    },
  };
}

// keys({pedal, onScan(code), onTap(), onHold()}): pedal may be left out (Enter), and so may each answer. A code that is
// scanned into a field is taken out of it again: what it is decides where it belongs. Enter on a control that the
// keyboard has reached is that control's own.
export function keys({ pedal = "Enter", onScan, onTap, onHold }) {
  const burst = makeBurst();
  let field = null, before = "", hold = 0;

  // A scanner sends GS, the separator in GS1 codes, as Ctrl and ] (common practice, no source).
  const character = e => (e.ctrlKey && e.key === "]" ? "\x1d" : e.key.length === 1 && !e.ctrlKey && !e.metaKey ? e.key : "");

  function scanned(code) {
    if (field) {
      field.value = before;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    if (code) onScan?.(code);
  }

  function release() {
    clearTimeout(hold);
    hold = 0;
  }

  addEventListener("keydown", e => {
    const c = character(e);
    if (c && !e.repeat) {
      const typed = e.target.matches?.("input, textarea") ? e.target : null, value = typed?.value;
      const n = burst.add(c, e.timeStamp);
      if (n === 1) [field, before] = [typed, value];
      else if (n > 2 && !typed || c === "\x1d") e.preventDefault(); // a blank of the code presses no button
    }
    if (e.key === "Enter" && !e.repeat) {
      const code = burst.end(e.timeStamp);
      if (code || code === "" && !field) { // in a field two quick keys and Enter are a person's
        e.preventDefault();
        e.stopPropagation();
        return scanned(code);
      }
    }
    if (e.key !== pedal || pedal === "Enter" && e.target.closest?.(CONTROLS)) return;
    e.preventDefault();
    if (!e.repeat && !hold) hold = setTimeout(() => { hold = -1; onHold?.(); }, HOLD_MS);
  }, true);

  addEventListener("keyup", e => {
    if (e.key !== pedal || !hold) return;
    const held = hold === -1;
    release();
    if (!held) onTap?.();
  }, true);
  addEventListener("blur", release);
  // A button that a finger has pressed gives the focus back: the pedal is not its second tap.
  addEventListener("click", e => { if (e.detail > 0) e.target.closest?.("button")?.blur(); });
}
