// Colours come from the style sheet, so that the canvas of the map and the
// drawing of the profile follow light and dark alike.

export type Ink = "ink" | "soft" | "rule" | "paper" | "water" | "supply" | "drive" | "delivery" | "heed" | "keep-out" | "contour" | "halo";

let cached: CSSStyleDeclaration | null = null;

export function ink(name: Ink): string {
  cached ??= getComputedStyle(document.documentElement);
  return cached.getPropertyValue(`--${name}`).trim();
}

// Water at the tank by pump place: lightness alone tells more from less, so
// that it reads without colour (steps of lightness from ochre-grey to deep blue
// on light ground, to pale blue on dark).
type RGB = [number, number, number];
const ramps: { light: [RGB, RGB]; dark: [RGB, RGB] } = { light: [[0xd9, 0xc2, 0x7a], [0x0a, 0x3f, 0x7f]], dark: [[0x6b, 0x55, 0x22], [0xb4, 0xdf, 0xff]] };

export function shade(share: number): string {
  const t = Math.min(1, Math.max(0, share)), [dry, wet] = isDark() && !matchMedia("print").matches ? ramps.dark : ramps.light;
  return `rgb(${dry.map((v, k) => Math.round(v + t * (wet[k]! - v))).join(",")})`;
}

export function isDark(): boolean {
  const chosen = document.documentElement.dataset["theme"];
  return chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
}

// onChange calls back after the colours have changed.
export function onChange(then: () => void): void {
  const again = () => { cached = null; then(); };
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  matchMedia("print").addEventListener("change", again);
  new MutationObserver(again).observe(document.documentElement, { attributeFilter: ["data-theme"] });
}
