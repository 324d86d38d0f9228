// The cup from the side, straight-walled so that height is volume: A fills, B lies on top, the target is a line across.
import { set, svg } from "./shapes.js";

const LEFT = 12, WIDTH = 100, TOP = 16, FLOOR = 286;
const FULL = 0.78; // of the cup's height, for the whole plan

const y = share => FLOOR - share * FULL * (FLOOR - TOP);

// Heights of what is in the cup as shares of the plan's whole volume: pure. Without both densities the shares are
// of mass, and byVolume is false so that the page can say so.
export function levels(batch, density) {
  const known = { A: density?.a, B: density?.b };
  const own = batch.parts.find(p => p.part === batch.part && p.vessel !== "cup");
  const parts = own ? [own] : batch.parts.filter(p => p.vessel === "cup"); // what is in the vessel that stands there
  const byVolume = parts.every(p => known[p.part] > 0);
  const volume = (part, g) => (byVolume ? g / known[part] : g);
  const target = p => (p.part === batch.part ? batch.target_g : p.accepted ? p.poured_g : p.target_g);
  const poured = p => (p.part === batch.part ? batch.poured_g : p.poured_g);
  const whole = parts.reduce((sum, p) => sum + volume(p.part, Math.max(target(p), poured(p))), 0) || 1;
  let top = 0;
  const layers = parts.map(p => ({ part: p.part, from: top, to: (top += Math.max(0, volume(p.part, poured(p))) / whole) }));
  const now = parts.find(p => p.part === batch.part);
  return { byVolume, layers, line: now ? top + volume(now.part, target(now) - poured(now)) / whole : null };
}

// makeCup() gives the drawing and its update; where the target line meets the wall is handed on to the lens.
export function makeCup() {
  const layer = part => {
    const letter = part === "A" || part === "B" ? part : "+";
    return { box: svg("rect", { x: LEFT, width: WIDTH, class: `liquid-${letter === "+" ? "other" : part}` }), name: svg("text", { x: LEFT + WIDTH / 2, class: "liquid-name" }, letter) };
  };
  const layers = { A: layer("A"), B: layer("B") };
  const line = svg("path", { class: "target-line" });
  const clip = svg("clipPath", { id: "cup-inside" }, svg("path", { d: `M${LEFT} 0V${FLOOR - 16}Q${LEFT} ${FLOOR} ${LEFT + 16} ${FLOOR}H${LEFT + WIDTH - 16}Q${LEFT + WIDTH} ${FLOOR} ${LEFT + WIDTH} ${FLOOR - 16}V0Z` }));
  const hatch = svg("pattern", { id: "hatch-B", width: 14, height: 14, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
    svg("rect", { width: 14, height: 14, class: "hatch-ground" }), svg("rect", { width: 6, height: 14, class: "hatch-stripe" }));
  const wall = svg("path", { class: "cup-wall", d: `M${LEFT - 7} ${TOP - 8}Q${LEFT} ${TOP - 8} ${LEFT} ${TOP}V${FLOOR - 16}Q${LEFT} ${FLOOR} ${LEFT + 16} ${FLOOR}H${LEFT + WIDTH - 16}Q${LEFT + WIDTH} ${FLOOR} ${LEFT + WIDTH} ${FLOOR - 16}V${TOP}Q${LEFT + WIDTH} ${TOP - 8} ${LEFT + WIDTH + 7} ${TOP - 8}` });
  const inside = svg("g", { "clip-path": "url(#cup-inside)" }, layers.A.box, layers.B.box);
  const node = svg("g", {}, svg("defs", {}, clip, hatch), inside, layers.A.name, layers.B.name, wall, line);

  function update(batch, density) {
    const l = levels(batch, density);
    for (const part in layers) if (!l.layers.some(now => now.part === part)) { // of another batch, another vessel
      set(layers[part].box, "height", 0);
      layers[part].name.classList.add("thin");
    }
    for (const { part, from, to } of l.layers) {
      if (!layers[part]) { // an addition
        layers[part] = layer(part);
        inside.append(layers[part].box);
        inside.after(layers[part].name);
      }
      const { box, name } = layers[part];
      set(box, "y", y(to));
      set(box, "height", y(from) - y(to));
      set(name, "y", (y(from) + y(to)) / 2 + 11);
      name.classList.toggle("thin", y(from) - y(to) < 34);
    }
    set(line, "d", l.line === null ? "" : `M${LEFT - 8} ${y(l.line)}H${LEFT + WIDTH + 8}`);
    return { byVolume: l.byVolume, at: l.line === null ? null : { x: LEFT + WIDTH + 8, y: y(l.line) } };
  }
  return { node, update };
}
