// A developer's page: every state of the bench display, drawn from gallery.json by the bench's own modules on the bench's
// own page. ?n=NAME or ?n=NUMBER shows one; the arrow keys go on from there. Nothing is sent anywhere.
import { makeScreen, tell } from "./screen.js";
import { makeSettings } from "./settings.js";

const read = name => fetch(`/static/${name}`);
const { cards, records, states } = await (await read("gallery.json")).json();
const page = new DOMParser().parseFromString(await (await read("bench.html")).text(), "text/html");
document.body.replaceWith(document.adoptNode(page.body));
const settings = makeSettings(document.getElementById("settings"));

// laid(base, over): over laid upon base, objects field by field, lists of one length item by item; everything else
// replaces what was there.
function laid(base, over) {
  if (Array.isArray(base) && Array.isArray(over) && base.length === over.length) return base.map((item, i) => laid(item, over[i]));
  if (base === null || over === null || typeof base !== "object" || typeof over !== "object" || Array.isArray(over)) return over;
  return { ...base, ...Object.fromEntries(Object.entries(over).map(([k, v]) => [k, k in base ? laid(base[k], v) : v])) };
}

const whole = new Map(); // by name
for (const s of states) whole.set(s.name, laid(whole.get(s.from) ?? {}, s));

const outside = {
  send: (snap, action, more, tell) => tell(`Nothing is sent from the gallery: ${action} ${JSON.stringify(more)}`),
  record: async id => records[id] ?? { plan: null },
  card: id => cards[id],
  last: async () => records.last,
  again: id => tell(`Nothing is sent from the gallery: again ${id}`),
};
const screen = makeScreen("bench-1", outside);

// gallery.draw(n) shows a state by its name or number and gives its view, gallery.say(n) sounds it as well.
const names = [...whole.keys()];
let at = 0;
function draw(n) {
  at = names.includes(n) ? names.indexOf(n) : (Number(n) + names.length) % names.length;
  const { snapshot, gap_ms = 0, retry_ms = null } = whole.get(names[at]);
  return screen.show(snapshot, gap_ms, retry_ms, { pedal: "Enter", name: "Casting bench" });
}
addEventListener("keydown", e => { if (e.key === "ArrowRight" || e.key === "ArrowLeft") draw(at + (e.key === "ArrowRight" ? 1 : -1)); });
draw(new URLSearchParams(location.search).get("n") ?? 0);
window.gallery = { names, draw, snapshot: n => whole.get(n).snapshot, show: screen.show, press: screen.press, say: n => settings.say(draw(n)) };
