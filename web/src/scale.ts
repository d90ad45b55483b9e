// Axes: round steps in the user's unit, and paths that stay short however many
// points they have.

import type { Units } from "./api";

export const metresPer = (units: Units): number => (units === "us" ? 0.3048 : 1);
export const unitName = (units: Units): string => (units === "us" ? "ft" : "m");

// ticks are round values in the unit between two heights or distances in metres.
export function ticks(fromM: number, toM: number, units: Units, about: number): { m: number; text: string }[] {
  const per = metresPer(units), from = fromM / per, to = toM / per;
  const rough = (to - from) / Math.max(1, about);
  if (!(rough > 0)) return [];
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = ten * (rough / ten <= 1 ? 1 : rough / ten <= 2 ? 2 : rough / ten <= 5 ? 5 : 10);
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const list = [];
  for (let k = Math.ceil(from / step - 1e-9); k * step <= to + step * 1e-9; k++) list.push({ m: k * step * per, text: (k * step).toFixed(digits) });
  return list;
}

export interface Scale { from: number; to: number; a: number; b: number }

export const at = (s: Scale, v: number): number => s.a + ((v - s.from) / (s.to - s.from)) * (s.b - s.a);
export const inverse = (s: Scale, px: number): number => s.from + ((px - s.a) / (s.b - s.a)) * (s.to - s.from);

// nearest is the index of the value nearest to v in a rising list.
export function nearest(values: readonly number[], v: number): number {
  let low = 0, high = values.length - 1;
  while (high - low > 1) {
    const mid = (low + high) >> 1;
    if (values[mid]! < v) low = mid; else high = mid;
  }
  return high > low && Math.abs(values[high]! - v) < Math.abs(values[low]! - v) ? high : low;
}

// envelope keeps, of many points, the first, lowest, highest and last in each
// column of pixels: the drawing is the same and its size is bounded.
export function envelope(xs: readonly number[], ys: readonly (number | null)[], x: Scale, y: Scale): [number, number][][] {
  const runs: [number, number][][] = [];
  let run: [number, number][] = [], column = NaN, held: [number, number][] = [];
  const flush = () => {
    if (!held.length) return;
    let low = 0, high = 0;
    held.forEach((p, k) => { if (p[1] > held[low]![1]) low = k; if (p[1] < held[high]![1]) high = k; });
    for (const k of [...new Set([0, low, high, held.length - 1])].sort((p, q) => p - q)) run.push(held[k]!);
    held = [];
  };
  const first = Math.max(0, nearest(xs, x.from) - 1), last = Math.min(xs.length - 1, nearest(xs, x.to) + 1);
  for (let i = first; i <= last; i++) {
    const h = ys[i];
    if (h === null || h === undefined || !Number.isFinite(h)) {
      flush();
      if (run.length) runs.push(run);
      run = []; column = NaN;
      continue;
    }
    const px = at(x, xs[i]!);
    if (Math.floor(px) !== column) { flush(); column = Math.floor(px); }
    held.push([px, at(y, h)]);
  }
  flush();
  if (run.length) runs.push(run);
  return runs;
}

export const path = (runs: [number, number][][]): string =>
  runs.map((run) => "M" + run.map(([px, py]) => `${px.toFixed(1)} ${py.toFixed(1)}`).join("L")).join("");
