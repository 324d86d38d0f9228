// What this display remembers for itself: sound, look; and full screen and keeping awake, where the browser has them. The
// buttons stand on the free bench only, so nothing of them is in the way of a pour.
import { keepLook, LOOKS } from "./look.js";
import { makeSound } from "./sound.js";

const SAID = { auto: "as the system", light: "light", dark: "dark", contrast: "high contrast" };

export function makeSettings(box) {
  const play = makeSound(), setLook = keepLook();
  let state = "", lock = null;
  const sounds = () => localStorage.getItem("sound") === "on", awake = () => localStorage.getItem("awake") === "on";

  function button(text, press) {
    const b = document.createElement("button");
    b.type = "button";
    b.textContent = text();
    b.onclick = async () => {
      await press();
      b.textContent = text();
    };
    box.append(b);
  }

  button(() => `Sound ${sounds() ? "on" : "off"}`, () => {
    localStorage.setItem("sound", sounds() ? "off" : "on");
    if (sounds()) play("inside"); // heard at once, and the touch that a browser asks for
  });
  button(() => `Look: ${SAID[localStorage.getItem("look") ?? "auto"]}`, () => setLook(LOOKS[(LOOKS.indexOf(localStorage.getItem("look") ?? "auto") + 1) % LOOKS.length]));
  if (document.fullscreenEnabled) button(() => (document.fullscreenElement ? "Leave full screen" : "Full screen"),
    () => (document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen()).catch(() => {}));
  if (navigator.wakeLock) {
    button(() => `Screen stays awake: ${awake() ? "yes" : "no"}`, () => {
      localStorage.setItem("awake", awake() ? "no" : "on");
      return keepAwake();
    });
    document.addEventListener("visibilitychange", keepAwake); // a hidden page loses it
    keepAwake();
  }

  async function keepAwake() {
    if (!awake()) {
      lock?.release();
      lock = null;
    } else if (document.visibilityState === "visible" && (lock === null || lock.released)) {
      lock = await navigator.wakeLock.request("screen").catch(() => null); // refused on a low battery: asked again when next seen
    }
  }

  // say(view) sounds a change of state.
  return {
    say(v) {
      if (v.state === state) return;
      state = v.state;
      if (sounds()) play(state);
    },
  };
}
