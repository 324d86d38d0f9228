// The shape beside the part's letter, one for each state: drawn for this project, in a box 100 high.
const SVG = "http://www.w3.org/2000/svg";

// svg("path", {d: "…"}, child, …) makes one element.
export function svg(name, attributes = {}, ...children) {
  const e = document.createElementNS(SVG, name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

// set changes an attribute only where it changes: a page that is told the same 25 times a second has nothing to draw.
export function set(e, name, value) {
  if (e.getAttribute(name) !== String(value)) e.setAttribute(name, value);
}

const line = (d, width = 10) => svg("path", { d, fill: "none", stroke: "currentColor", "stroke-width": width, "stroke-linecap": "round", "stroke-linejoin": "round" });
const solid = d => svg("path", { d, fill: "currentColor" });
const text = (x, y, size, s) => svg("text", { x, y, "font-size": size, "text-anchor": "middle", fill: "currentColor" }, s);
const drop = (x, y, r) => solid(`M${x} ${y - 2 * r}C${x} ${y - 2 * r} ${x - r} ${y - r * 0.7} ${x - r} ${y}A${r} ${r} 0 0 0 ${x + r} ${y}C${x + r} ${y - r * 0.7} ${x} ${y - 2 * r} ${x} ${y - 2 * r}Z`);
// A mark of the window: a wedge at each side, pointing inwards.
const mark = y => solid(`M2 ${y - 11}L26 ${y}L2 ${y + 11}ZM98 ${y - 11}L74 ${y}L98 ${y + 11}Z`);

const SHAPES = {
  cup: () => [line("M16 14L27 90H73L84 14")],
  drop: () => [drop(50, 64, 31)],
  thread: () => [line("M50 6V52", 9), drop(50, 75, 21)],
  square: () => [solid("M8 8H92V92H8Z")],
  lines: () => [line("M10 34H90", 14), line("M10 66H90", 14)],
  drops: n => [[50], [30, 70], [20, 50, 80], [30, 70, 30, 70], [20, 50, 80, 35, 65]][n - 1].map((x, i) => drop(x, n < 4 ? 60 : i < (n === 4 ? 2 : 3) ? 36 : 86, 12)),
  inside: () => [mark(22), mark(78), line("M8 50H92", 15)],
  above: () => [mark(54), mark(88), line("M8 16H92", 15)],
  below: () => [mark(12), mark(46), line("M8 84H92", 15)],
  unproven: () => [mark(50), line("M22 88L78 12", 12)],
  rings: (_, [done, next]) => [svg("circle", { cx: 50, cy: 50, r: 42, fill: "none", stroke: "currentColor", "stroke-width": 10 }), text(50, 66, 46, done),
    line("M132 12.500A42 42 0 1 0 168 12.500"), text(150, 66, 46, next)],
  halves: () => [solid("M6 14H46V86H6Z"), line("M58 18H90V82H58Z", 8)],
  broken: () => [line("M4 50H30L40 26"), line("M60 74L70 50H96")],
  dots: () => [16, 50, 84].map(x => svg("circle", { cx: x, cy: 50, r: 11, fill: "currentColor" })),
  plus: () => [line("M50 8C50 8 16 44 16 62A34 34 0 0 0 84 62C84 44 50 8 50 8Z", 8), line("M50 46V78M34 62H66", 9)],
  beside: () => [line("M8 20L16 80H46L54 20"), line("M66 88H94", 12), line("M8 88H58", 4)],
  stick: () => [line("M16 30L27 90H73L84 30"), line("M44 72L66 6", 9)],
  ring: () => [svg("circle", { cx: 50, cy: 50, r: 38, fill: "none", stroke: "currentColor", "stroke-width": 13 })],
  field: () => [line("M6 22H94V78H6Z", 8), line("M26 36V64", 9)],
  crossed: () => [line("M12 12H88V88H12ZM32 32L68 68M68 32L32 68")],
  weightdown: () => [line("M50 8V58M28 38L50 60L72 38", 12), line("M10 88H90", 12)],
  weightup: () => [line("M50 62V12M28 32L50 10L72 32", 12), line("M10 88H90", 12)],
};

// drops: how many, of the shape drops; letters: of the part that is in and of the next one, of the shape rings.
export function drawShape(box, name, drops, letters = ["A", "B"]) {
  const key = name === "drops" ? name + drops : name === "rings" ? name + letters : name;
  if (box.dataset.shape === key) return;
  box.dataset.shape = key;
  box.replaceChildren(svg("svg", { viewBox: name === "rings" ? "0 0 200 100" : "0 0 100 100", "aria-hidden": "true" }, ...SHAPES[name](drops, letters)));
}
