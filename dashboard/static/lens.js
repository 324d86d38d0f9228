// The lens: a round glass held upright to the cup's target line. It opens near the target and shows the window at a
// fixed size, whatever the target is: two edges, and the level as it comes up between them.
import { set, svg } from "./shapes.js";

const X = 222, R = 90, Y = 150;
const LOW = Y + 40, HIGH = Y - 40; // the window's edges
const REACH = 0.6; // how many windows below the low edge the lens opens: where the level comes into the glass

// Height of a mass in the lens, in its own units, kept inside the glass: pure. A window of no width has one edge's height.
export function heightIn(g, low, high) {
  const share = high > low ? (g - low) / (high - low) : g > high ? 1.5 : g < low ? -0.5 : 0.5;
  return Math.min(Y + R, Math.max(Y - R + 8, LOW + share * (HIGH - LOW)));
}

export function isOpen(lens) {
  return lens !== null && (lens.band !== "below" || lens.poured > lens.low - REACH * (lens.high - lens.low));
}

export function makeLens() {
  const level = svg("rect", { x: X - R, width: 2 * R, class: "lens-level" });
  const top = svg("path", { class: "lens-top" });
  const edge = y => svg("path", { class: "lens-edge", d: `M${X - R - 4} ${y - 11}L${X - R + 30} ${y}L${X - R - 4} ${y + 11}ZM${X + R + 4} ${y - 11}L${X + R - 30} ${y}L${X + R + 4} ${y + 11}Z` });
  const glass = svg("g", { class: "lens" },
    svg("clipPath", { id: "lens-inside" }, svg("circle", { cx: X, cy: Y, r: R })),
    svg("circle", { cx: X, cy: Y, r: R, class: "lens-ground" }),
    svg("g", { "clip-path": "url(#lens-inside)" }, svg("rect", { x: X - R, y: HIGH, width: 2 * R, height: LOW - HIGH, class: "lens-window" }), level, top),
    svg("circle", { cx: X, cy: Y, r: R, class: "lens-rim" }), edge(HIGH), edge(LOW));
  const ray = svg("path", { class: "lens-ray" });
  const node = svg("g", {}, ray, glass);

  function update(lens, at) {
    const open = isOpen(lens) && at !== null;
    node.classList.toggle("open", open);
    node.classList.toggle("unsure", open && !lens.provable);
    if (!open) return;
    const h = heightIn(lens.poured, lens.low, lens.high);
    set(level, "y", h);
    set(level, "height", Y + R - h);
    set(top, "d", `M${X - R} ${h}H${X + R}`);
    set(ray, "d", `M${at.x} ${at.y}L${X - R * 0.7} ${Y - R * 0.7}M${at.x} ${at.y}L${X - R * 0.7} ${Y + R * 0.7}`);
  }
  return { node, update };
}
