// The display over one bench: the live view, the scanner, the pedal and the daemon behind one screen.
import { act } from "./actions.js";
import { api } from "./api.js";
import { makeDemo } from "./demo.js";
import { keys } from "./keys.js";
import { live } from "./live.js";
import { makeScreen, tell } from "./screen.js";
import { makeSettings } from "./settings.js";
import { ON_SCALE } from "./view.js";

const station = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const path = `/stations/${encodeURIComponent(station)}`;
document.title = `Bench ${station}`;

let cards = new Map(), asked = ""; // read anew with each batch, and after it
function card(id) {
  const key = `${id} ${snapshot?.batch?.id ?? ""}`;
  if (id && key !== asked) {
    asked = key;
    api("GET", `/materials/${encodeURIComponent(id)}`).then(c => cards.set(id, c), e => e.status === 404 || (asked = ""));
  }
  return cards.get(id);
}

async function last() {
  const { batches } = await api("GET", `/batches?station=${encodeURIComponent(station)}&limit=1`);
  return batches[0] ?? null;
}

async function again(id) {
  tell("");
  try {
    await api("POST", `${path}/batches`, { again: id });
  } catch (e) {
    tell(e.message);
  }
}

const screen = makeScreen(station, { send: act, record: id => api("GET", `/batches/${encodeURIComponent(id)}`), card, last, again });
const settings = makeSettings(document.getElementById("settings"));

const bench = { pedal: "Enter", name: station };
let version = null, old = false, leaving = false, snapshot = null, heard = false;
function show(snap, gap_ms, retry_ms) {
  snapshot = snap;
  if (old && !leaving && snap && !(snap.batch && ON_SCALE.includes(snap.batch.phase))) {
    leaving = true; // asked again before it has happened, it would begin again; until then the page goes on
    location.reload();
  }
  const v = screen.show(snap, gap_ms, retry_ms, bench);
  if (v) settings.say(v);
}

// What the live view doesn't say, asked at each new connection: a daemon that was restarted may be another version, and
// this page is then the old one's.
async function meet() {
  try {
    const s = await api("GET", path);
    version ??= s.version;
    old = version !== s.version;
    Object.assign(bench, { pedal: s.keys.pedal, name: s.name });
    if (heard) return;
    heard = true;
    keys({ pedal: bench.pedal, onScan: scanned, onTap: () => screen.press("tap"), onHold: () => screen.press("hold") });
    if (!s.demo) return;
    makeDemo(document.getElementById("demo"), tell);
    document.getElementById("demo").hidden = false;
  } catch (e) {
    if (e.status === 404) return tell(e.message);
    setTimeout(meet, 2000);
  }
}

function scanned(code) {
  if (snapshot?.batch) return act(snapshot, "scanned", { code }, tell);
  tell("Nothing is on this bench: scan on the start page, or have the last again.");
}

live(`/api/v1${path}/live`, show, meet);
