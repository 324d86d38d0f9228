// The live snapshot, with doubts of its own: its age runs on the page's clock, and a socket that says nothing is
// taken for dead.
const FIRST_WAIT = 250, LONGEST_WAIT = 5000, DEAD_MS = 5000;

// live(path, show, met) calls show(snapshot, gap_ms, retry_ms) at each message and four times a second; snapshot is null
// before the first, retry_ms is the time to the next try while there is no connection, else null. It calls met() with the
// first message of each connection. It reconnects for ever: after 0.25 s, then twice that up to 5 s, and at once when the
// page comes back to sight or the network does.
export function live(path, show, met) {
  let socket = null, snapshot = null, timer = 0, wait = FIRST_WAIT, next = 0, first = true;
  let heard = now(), tried = now();

  function open() {
    clearTimeout(timer);
    timer = 0;
    drop();
    first = true;
    tried = now();
    socket = new WebSocket(location.origin.replace(/^http/, "ws") + path);
    socket.onmessage = m => {
      const message = JSON.parse(m.data);
      show(message, 0, null);
      snapshot = message; // only now: a message that can't be shown counts as none, and the page grows stale
      heard = now();
      wait = FIRST_WAIT;
      if (first) met?.();
      first = false;
    };
    socket.onclose = retry;
  }
  function drop() {
    if (!socket) return;
    socket.onmessage = socket.onclose = null;
    socket.close();
    socket = null;
  }
  function retry() {
    drop();
    timer = setTimeout(open, wait);
    next = performance.now() + wait;
    wait = Math.min(wait * 2, LONGEST_WAIT);
  }
  function wake() {
    if (document.visibilityState === "visible" && since(heard) > 2000) open();
  }

  document.addEventListener("visibilitychange", wake);
  addEventListener("online", wake);
  setInterval(() => {
    if (!timer && Math.min(since(heard), since(tried)) > DEAD_MS) retry();
    show(snapshot, since(heard), timer ? Math.max(0, next - performance.now()) : null);
  }, 250);
  open();
}

// Two clocks, the larger difference: the monotonic one may stand still while the machine sleeps, the other may be set.
function now() {
  return { steady: performance.now(), wall: Date.now() };
}
function since(then) {
  return Math.max(performance.now() - then.steady, Date.now() - then.wall);
}
