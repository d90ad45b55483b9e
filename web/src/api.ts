// What the server says and how it is asked. Every printed number comes from the
// server in words; the page turns heights and places into pixels and computes
// nothing else.

export type Units = "us" | "si";
export type Point = [number, number]; // easting, northing in metres of the site's frame
export type Role = "intake" | "settling_box" | "standpipe" | "pump" | "tank";

// Roles along the creek, upstream first.
export const creekRoles = ["intake", "settling_box", "standpipe", "pump"] as const;
export type CreekRole = (typeof creekRoles)[number];

export interface Figure { key: string; label: string; value: string; note: string }

export interface Place { role: Role; name: string; at: Point; station_m: number | null; z_m: number; text: string }

export interface Vertex { at: Point; along_m: number; station_m: number | null; ground_m: number | null; invert_m: number | null; grade_m: number | null }

export interface Pipe { role: "supply" | "drive" | "delivery"; name: string; text: string; path: Vertex[] }

export interface Word { level: "note" | "warning" | "error"; text: string; hint: string; place: string; station_m: number | null; at: Point }

// A card is one layout, ready to be shown.
export interface Card {
  id: string;
  title: string;
  why: string;
  mine: boolean; // put together by the user, not found by the search
  works: boolean;
  figures: Figure[];
  places: Place[];
  pipes: Pipe[];
  chances: Figure[]; // of each test by itself
  limits: { drive_m: number; drive_text: string; standpipe_top_m: number | null; standpipe_text: string } | null;
  standpipe: { station_m: number; foot_m: number; top_m: number; running_m: number } | null;
  words: Word[];
}

// A FrontPoint is shown by the card of its id.
export interface FrontPoint { id: string; cost: number; water: number; cost_text: string; water_text: string; text: string }

export interface Front { cost_label: string; water_label: string; demand: number | null; demand_text: string; points: FrontPoint[] }

export interface Reach { from_m: number; to_m: number; water: number | null; text: string }

export interface Visit { rank: number; text: string; name: string; from: Place; to: Place; how: string; worth: string; entry: { from: string; to: string; unit: string; sigma: string; by: string } }

export interface Reading { from: string; to: string; drop: string; sigma: string; by: string }

export interface Step { text: string; gain: string; cost: string }

export interface View {
  units: Units;
  answer: string;
  screening: boolean; // the heights are good for finding a place only
  tank: Place;
  misses: { text: string; where: string; station_m: number | null }[]; // why no layout works
  cards: Card[];
  front: Front | null;
  reaches: { label: string; top: number; top_text: string; list: Reach[] };
  visits: Visit[];
  readings: string[]; // already entered on the page, in words
  steps: Step[]; // what to buy next
  stages: Step[]; // the first layout bought in parts
  words: Word[];
  files: { name: string; what: string }[];
  profile: { z_m: number[]; low_m: number[]; high_m: number[]; raw_m: (number | null)[] };
  creek: Creek | null; // where it is not that of the scene
}

export interface Creek { station_m: number[]; at: Point[] }

export interface Scene {
  name: string;
  units: Units;
  north_degrees: number; // clockwise from up
  relief: { extent: [number, number, number, number] };
  contours: Record<Units, { text: string; index: boolean; lines: Point[][] }[]>;
  creek: Creek;
  flags: { from_m: number; to_m: number; name: string; text: string }[];
  land: { role: string; rings: Point[][] }[];
  writable: boolean;
  pins: Wish["pins"];
}

export interface Spot { text: string[]; copy: string; station_m: number | null; why: string }

// Wish is what the user has put in place: it is what the address holds.
export interface Wish {
  pins: Partial<Record<CreekRole, number | "none">>;
  tank: Point | null;
  readings: Reading[];
}

export class Refusal extends Error {
  constructor(text: string, readonly hint: string) { super(text); }
}

async function ask<T>(path: string, init: RequestInit = {}): Promise<T> {
  let response: Response;
  try {
    response = await fetch(path, init);
  } catch (e) {
    if (e instanceof DOMException && e.name === "AbortError") throw e;
    throw new Refusal("The program does not answer.", "Is route map still running in its window? Start it again and reload this page.");
  }
  if (response.ok) return (await response.json()) as T;
  const said = (await response.json().catch(() => null)) as { error?: { text: string; hint: string } } | null;
  throw new Refusal(said?.error?.text ?? `The program answered ${response.status}.`, said?.error?.hint ?? "");
}

function body(value: unknown, signal?: AbortSignal): RequestInit {
  return { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(value), signal: signal ?? null };
}

export const scene = () => ask<Scene>("api/scene");
export const plan = (units: Units, wish: Wish, signal: AbortSignal) => ask<View>("api/plan", body({ units, wish }, signal));
export const attempt = (units: Units, wish: Wish, places: Wish["pins"]) => ask<Card>("api/try", body({ units, wish, places }));
export const frontCard = (units: Units, wish: Wish, point: number) => ask<Card>("api/front", body({ units, wish, point }));
export const spot = (units: Units, wish: Wish, at: Point) => ask<Spot>("api/spot", body({ units, wish, at }));
export const save = (units: Units, wish: Wish) => ask<{ text: string }>("api/save", body({ units, wish }));

// file fetches a hand-off file of the present state and hands it to the browser.
export async function file(name: string, units: Units, wish: Wish): Promise<void> {
  const response = await fetch(`files/${encodeURIComponent(name)}`, body({ units, wish }));
  if (!response.ok) {
    const said = (await response.json().catch(() => null)) as { error?: { text: string; hint: string } } | null;
    throw new Refusal(said?.error?.text ?? `The program answered ${response.status}.`, said?.error?.hint ?? "");
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await response.blob());
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

export interface Progress { step: string; done: number; total: number; busy: boolean }
export const progress = () => ask<Progress>("api/progress");
