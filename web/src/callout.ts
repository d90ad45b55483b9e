// Callouts say at its place what breaks a limit.

import type { Card, Point } from "./api";
import { el } from "./dom";

export interface Callout { station_m: number; at: Point; element: HTMLElement }

// callouts are one box for each place of a card at which a limit is broken.
export function callouts(card: Card | null): Callout[] {
  const found = new Map<number, Callout>();
  for (const w of card?.words ?? []) {
    if (w.level !== "error" || w.station_m === null) continue;
    const box = found.get(w.station_m) ?? { station_m: w.station_m, at: w.at, element: el("div", { class: "callout", "aria-hidden": "true" }, el("b", {}, w.place)) };
    if (box.element.childElementCount < 3) box.element.append(el("span", {}, w.text));
    found.set(w.station_m, box);
  }
  return [...found.values()];
}
