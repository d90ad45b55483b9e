// The state of the page is in its address, so that a link reproduces it.

import { creekRoles, type CreekRole, type Reading, type Units, type Wish } from "./api";

export type Tab = "layouts" | "compare" | "visit" | "take";
export interface State {
  units: Units;
  tab: Tab;
  card: string; // the layout that is shown
  wish: Wish;
  trial: Wish["pins"] | null; // places of the user's own layout
  kept: Wish["pins"][]; // of the own layouts kept for comparing
}

// mostKept own layouts stand side by side.
export const mostKept = 6;

const tabs: Tab[] = ["layouts", "compare", "visit", "take"];

// write is the part after # of an address.
export function write(s: State): string {
  const q = new URLSearchParams();
  q.set("units", s.units);
  if (s.tab !== "layouts") q.set("show", s.tab);
  if (s.card) q.set("layout", s.card);
  for (const role of creekRoles) {
    const pin = s.wish.pins[role];
    if (pin !== undefined) q.set(`pin.${role}`, String(pin));
    const own = s.trial?.[role];
    if (own !== undefined) q.set(`own.${role}`, String(own));
  }
  for (const k of s.kept) q.append("keep", creekRoles.map((role) => k[role] ?? "none").join(","));
  if (s.wish.tank) q.set("tank", s.wish.tank.map((v) => v.toFixed(2)).join(","));
  for (const r of s.wish.readings) q.append("drop", [r.from, r.to, r.drop, r.sigma, r.by].join("|"));
  return q.toString();
}

function place(text: string | null): number | "none" | undefined {
  if (text === "none") return "none";
  const v = Number(text);
  return text !== null && text !== "" && Number.isFinite(v) ? v : undefined;
}

// read makes sense of what it can; the rest of a mistyped address is ignored.
export function read(hash: string, units: Units): State {
  const q = new URLSearchParams(hash.replace(/^#/, ""));
  const said = q.get("units");
  const tab = q.get("show") as Tab;
  const pins: Wish["pins"] = {}, trial: Wish["pins"] = {};
  for (const role of creekRoles as readonly CreekRole[]) {
    const pin = place(q.get(`pin.${role}`));
    if (pin !== undefined) pins[role] = pin;
    const own = place(q.get(`own.${role}`));
    if (own !== undefined) trial[role] = own;
  }
  const kept = q.getAll("keep").slice(0, mostKept).flatMap((text) => {
    const at = text.split(",").map(place);
    return at.length === creekRoles.length && at.every((v) => v !== undefined) ? [Object.fromEntries(creekRoles.map((role, k) => [role, at[k]])) as Wish["pins"]] : [];
  });
  const tank = (q.get("tank") ?? "").split(",").map(Number);
  const readings: Reading[] = q.getAll("drop").slice(0, 50).flatMap((text) => {
    const [from, to, drop, sigma, by] = text.split("|");
    return from && to && drop ? [{ from, to, drop, sigma: sigma ?? "", by: by ?? "" }] : [];
  });
  return {
    units: said === "us" || said === "si" ? said : units,
    tab: tabs.includes(tab) ? tab : "layouts",
    card: q.get("layout") ?? "",
    wish: { pins, tank: tank.length === 2 && tank.every(Number.isFinite) ? [tank[0]!, tank[1]!] : null, readings },
    trial: Object.keys(trial).length ? trial : null,
    kept,
  };
}
