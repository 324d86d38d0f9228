// A question of the station: two answers, each a third of the screen, by touch, by the keys 1 and 2, or by the pedal:
// a tap is the first, a hold the second.
import { deadForAMoment, pedalText } from "./actions.js";
import { answerText } from "./view.js";

export function makeQuestion(box, send, tell) {
  const buttons = [...box.querySelectorAll("button")];
  let from = null, asked = "";

  buttons.forEach((b, i) => (b.onclick = () => {
    buttons.forEach(deadForAMoment);
    send(from, from.batch.question.choices[i], {}, tell);
  }));
  const press = i => box.hidden || buttons[i].click(); // a disabled button takes no click
  addEventListener("keydown", e => {
    if (!e.repeat && (e.key === "1" || e.key === "2")) press(e.key - 1);
  });

  function update(snap, show, pedal) {
    box.hidden = !show;
    from = snap;
    const q = show ? snap.batch.question : null;
    const key = q ? JSON.stringify([snap.batch.id, q, pedal]) : "";
    if (key === asked) return;
    asked = key;
    if (!q) return;
    box.querySelector("#ask").textContent = q.ask;
    box.querySelector("#ask-detail").textContent = q.detail ?? "";
    buttons.forEach((b, i) => {
      b.querySelector("b").textContent = answerText(q.choices[i]);
      b.querySelector("small").textContent = `${pedalText(["tap", "hold"][i], pedal)}, or key ${i + 1}`;
      b.dataset.action = q.choices[i];
      deadForAMoment(b);
    });
  }
  return { update, press: way => press(["tap", "hold"].indexOf(way)) };
}
