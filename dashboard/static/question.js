// A question of the station: two answers, each a third of the screen, by touch or by the keys 1 and 2.
import { act, deadForAMoment } from "./actions.js";
import { answerText } from "./view.js";

export function makeQuestion(box, tell) {
  const buttons = [...box.querySelectorAll("button")];
  let from = null, asked = "";

  buttons.forEach((b, i) => (b.onclick = () => {
    buttons.forEach(deadForAMoment);
    act(from, from.batch.question.choices[i], {}, tell);
  }));
  addEventListener("keydown", e => {
    const b = buttons[Number(e.key) - 1];
    if (!box.hidden && !e.repeat && b) b.click(); // a disabled button takes no click
  });

  return function update(snap, show) {
    box.hidden = !show;
    from = snap;
    const q = show ? snap.batch.question : null;
    const key = q ? JSON.stringify([snap.batch.id, q]) : "";
    if (key === asked) return;
    asked = key;
    if (!q) return;
    box.querySelector("#ask").textContent = q.ask;
    box.querySelector("#ask-detail").textContent = q.detail ?? "";
    buttons.forEach((b, i) => {
      b.textContent = `${i + 1}  ${answerText(q.choices[i])}`;
      b.dataset.action = q.choices[i];
      deadForAMoment(b);
    });
  };
}
