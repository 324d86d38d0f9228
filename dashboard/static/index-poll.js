// What is asked of the station once a second, with doubts of its own: how old the last answer is runs on the page's clock.
import { api } from "./api.js";

const EVERY_MS = 1000, TICK_MS = 250;

// poll(path, show) calls show(answer, gap_ms, error) at each answer and four times a second; answer is null before the
// first one. gap_ms is the time since the last answer was asked for; error says why there is none, or is null.
export function poll(path, show) {
  let answer = null, asked = now(), error = null;

  async function ask() {
    const at = now();
    try {
      [answer, asked, error] = [await api("GET", path), at, null];
    } catch (e) {
      error = e;
    }
    tell();
    setTimeout(ask, EVERY_MS);
  }
  const tell = () => show(answer, since(asked), error);

  setInterval(tell, TICK_MS);
  ask();
}

// Two clocks, the larger difference: the monotonic one may stand still while the machine sleeps, the other may be set.
const now = () => ({ steady: performance.now(), wall: Date.now() });
const since = then => Math.max(performance.now() - then.steady, Date.now() - then.wall);
