// Pins that stand close together point in different directions, so that each
// can be read and taken hold of.

export type Way = "up" | "right" | "down" | "left";

// Where the head of a pin is from its tip, in pixels.
const head = 22, size = 31;
const offsets: Record<Way, [number, number]> = { up: [0, -head], right: [head, 0], down: [0, head], left: [-head, 0] };

export interface Pin { at: [number, number]; way: Way; fixed: boolean }

// turn gives each pin the way that hides least of the others; a pin that stands
// well stays as it is.
export function turn(pins: Pin[]): void {
  const heads: [number, number][] = pins.filter((p) => p.fixed).map((p) => [p.at[0] + offsets[p.way][0], p.at[1] + offsets[p.way][1]]);
  for (const pin of pins) {
    if (pin.fixed) continue;
    let best = Infinity, chosen = pin.way, spot: [number, number] = pin.at;
    for (const way of ["up", "right", "down", "left"] as const) {
      const at: [number, number] = [pin.at[0] + offsets[way][0], pin.at[1] + offsets[way][1]];
      let hides = way === pin.way ? 0 : 4 + (way === "up" ? 0 : 1);
      for (const h of heads) hides += 3 * Math.max(0, size - Math.hypot(h[0] - at[0], h[1] - at[1]));
      for (const other of pins) if (other !== pin) hides += Math.max(0, 0.7 * size - Math.hypot(other.at[0] - at[0], other.at[1] - at[1]));
      if (hides < best) { best = hides; chosen = way; spot = at; }
    }
    pin.way = chosen;
    heads.push(spot);
  }
}
