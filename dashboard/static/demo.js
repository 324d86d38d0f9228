// The demo's two ways to pour: tip the jug oneself (hold a button, or the space bar), or let the simulated hand do it.
import { api } from "./api.js";

export function makeDemo(bar, tell) {
  let sent = Promise.resolve(), held = null;
  const send = body => { // one after the other, so that "rest" never overtakes "tip"
    sent = sent.then(() => api("POST", "/demo/hand", body)).catch(e => tell(e.message));
  };

  function tip(button) {
    if (held) return;
    held = button;
    button.classList.add("held");
    send({ do: "tip", tip: Number(button.dataset.tip) });
  }
  function rest() {
    if (!held) return;
    held.classList.remove("held");
    held = null;
    send({ do: "rest" });
  }

  const tips = bar.querySelectorAll("[data-tip]");
  for (const b of tips) {
    b.onpointerdown = e => { b.setPointerCapture(e.pointerId); tip(b); };
    b.onpointerup = b.onpointercancel = b.onlostpointercapture = rest;
    b.oncontextmenu = e => e.preventDefault();
    b.onkeydown = e => { if (e.key === "Enter" && !e.repeat) tip(b); };
    b.onkeyup = e => { if (e.key === "Enter") rest(); };
  }
  for (const b of bar.querySelectorAll("[data-do]")) b.onclick = () => { b.blur(); send({ do: b.dataset.do }); };

  const typing = e => e.target.closest("input, select, textarea, button:not([data-tip]), a");
  addEventListener("keydown", e => {
    if (e.key !== " " || typing(e)) return;
    e.preventDefault();
    if (!e.repeat && !bar.hidden) tip(e.target.closest("[data-tip]") ?? tips[0]);
  });
  addEventListener("keyup", e => { if (e.key === " ") rest(); });
  addEventListener("blur", rest);
  document.addEventListener("visibilitychange", rest);
}
