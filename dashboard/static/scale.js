// What comes from the scales of a station: the value as it is now, the lines behind it, and finding out how a scale speaks.
import { makeIdentify } from "./scale-identify.js";
import { makeLines } from "./scale-lines.js";
import { live } from "./live.js";
import { view } from "./view.js";

const station = decodeURIComponent(location.pathname.split("/")[2] ?? "");
const $ = id => document.getElementById(id);
const set = (node, text) => { if (node.textContent !== text) node.textContent = text; };

const LINKS = { up: "read", silent: "silent", down: "not connected", manual: "typed by hand", lost: "this display has lost the station" };

// How old a value is, in words that stand still while values come.
export function ageText(ms) {
  if (ms === null) return "";
  return ms < 1000 ? "less than a second old" : `${Math.floor(ms / 1000)} s old`;
}

const scales = new Map(); // by id
const identify = makeIdentify($("identify"), station);

function show(snap, gap_ms) {
  if (!snap) {
    if (gap_ms > 2000) alarm("This display has not reached the station yet and keeps trying.");
    return;
  }
  const v = view(snap, gap_ms), { scale } = snap;
  document.body.dataset.link = v.link;
  $("reading").dataset.ground = v.struck ? "lost" : "plain";
  set($("reading-name"), `Scale ${scale.id}`);
  set($("value"), v.shown);
  $("value").classList.toggle("struck", v.struck);
  set($("link"), `${LINKS[v.link] ?? v.link}:`);
  set($("age"), [v.struck ? "last good value" : v.motion, scale.age_ms === null ? "" : ageText(scale.age_ms + gap_ms)].filter(Boolean).join(", ") || "no reading yet");
  set($("advice"), v.struck ? "" : v.warning ?? "");
  $("advice").hidden = !$("advice").textContent;
  alarm(v.alarm ?? "");
  for (const { id } of snap.scales) {
    if (!scales.has(id)) scales.set(id, makeLines($("scales"), station, id));
    scales.get(id).heard(v.link !== "lost");
  }
  identify.free(!snap.batch && v.link !== "lost", snap.batch ? "A batch is on this station: not before it has been lifted." : "");
}

function alarm(text) {
  set($("alarm"), text);
  $("alarm").hidden = !text;
}

document.title = `Scale of ${station}`;
$("bench").href = `/bench/${encodeURIComponent(station)}`;
live(`/api/v1/stations/${encodeURIComponent(station)}/live`, show);
