// Light, dark or high contrast: the system's wish unless this display has one of its own. It stands as data-look at the
// root, where the style sheet finds it.
export const LOOKS = ["auto", "light", "dark", "contrast"];

const dark = matchMedia("(prefers-color-scheme: dark)"), contrast = matchMedia("(prefers-contrast: more)");

// keepLook() draws the look that is wished now and whenever the wish changes; its answer sets one.
export function keepLook() {
  const draw = () => {
    const own = localStorage.getItem("look") ?? "auto";
    document.documentElement.dataset.look = own !== "auto" ? own : contrast.matches ? "contrast" : dark.matches ? "dark" : "light";
  };
  for (const wish of [dark, contrast]) wish.addEventListener("change", draw);
  draw();
  return look => {
    localStorage.setItem("look", look);
    draw();
  };
}
