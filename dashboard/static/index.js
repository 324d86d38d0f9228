// All stations, one line each: what it is doing, whether its scale is alive, and the way to its bench.
import { api } from "./api.js";
import { drawShape } from "./shapes.js";
import { potLife, view } from "./view.js";

const EVERY_MS = 2000;
const SCALE = { up: "scale alive", silent: "scale silent", down: "scale lost", manual: "readout is typed" };

// What a station is doing, as one line of text: pure.
export function lineOf(snap) {
  const v = view(snap, 0);
  const doing = snap.batch ? [v.letter, ...v.word].filter(Boolean).join(" ") : "free";
  return [doing, `${SCALE[snap.scale.link] ?? snap.scale.link} (${snap.scale.shown ?? "no reading yet"})`, potLife(snap.batch?.pot_life, Date.parse(snap.at))].filter(Boolean);
}

const rows = new Map(); // by station, kept so that the focus stays where it is

function rowOf({ station, name }) {
  if (rows.has(station)) return rows.get(station);
  const a = Object.assign(document.createElement("a"), { href: `/bench/${encodeURIComponent(station)}` });
  const li = document.createElement("li"), row = { shape: document.createElement("span"), texts: document.createElement("span"), li };
  a.append(row.shape, Object.assign(document.createElement("b"), { textContent: name }), row.texts);
  li.append(a);
  rows.set(station, row);
  return row;
}

async function refresh() {
  const alarm = document.getElementById("alarm");
  try {
    const { stations } = await api("GET", "/stations");
    for (const snap of stations) {
      const row = rowOf(snap), v = view(snap, 0);
      drawShape(row.shape, v.shape, v.drops, v.letters);
      row.texts.textContent = lineOf(snap).join(" · ");
    }
    document.getElementById("stations").replaceChildren(...stations.map(s => rows.get(s.station).li));
    alarm.hidden = true;
  } catch (e) {
    alarm.textContent = `${e.message} What stands below is old.`;
    alarm.hidden = false;
  }
  setTimeout(refresh, EVERY_MS);
}

refresh();
