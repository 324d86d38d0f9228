// A number pad for a gloved finger. It types into a field, and the field keeps the focus: a keyboard goes on as it was.
const KEYS = ["1", "2", "3", "Delete", "4", "5", "6", "0", "7", "8", "9", "."];
const NAMES = { Delete: "Delete the last", ".": "Point" };
const FACES = { Delete: "⌫" };

// makeKeypad(): {node, to(field)}. What is selected in the field is replaced.
export function makeKeypad() {
  const node = Object.assign(document.createElement("div"), { className: "keypad" });
  node.setAttribute("role", "group");
  node.setAttribute("aria-label", "Number keys");
  let field = null;

  function press(key) {
    let { selectionStart: from, selectionEnd: to } = field;
    if (key === "Delete" && from === to) from = Math.max(0, from - 1);
    field.setRangeText(key === "Delete" ? "" : key, from, to, "end");
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  for (const key of KEYS) {
    const b = Object.assign(document.createElement("button"), { type: "button", tabIndex: -1, textContent: FACES[key] ?? key });
    if (NAMES[key]) b.setAttribute("aria-label", NAMES[key]);
    b.dataset.key = key;
    b.onpointerdown = e => e.preventDefault();
    b.onclick = () => press(key);
    node.append(b);
  }
  return { node, to: f => (field = f) };
}
