// The long profile: station against height.

import type { Card, CreekRole, Scene, Units, View } from "./api";
import { creekRoles } from "./api";
import { callouts } from "./callout";
import { el, frameOnce, set, svg } from "./dom";
import { grip, keyStep, letters, type Moves, roleNames } from "./handle";
import { at, envelope, inverse, metresPer, nearest, path, type Scale, ticks, unitName } from "./scale";

const margin = { left: 52, right: 14, top: 40, bottom: 34 };

export interface ProfileEvents extends Moves { hover(stationM: number | null): void }

export class Profile {
  private readonly root = svg("svg", { class: "profile", role: "group", "aria-label": "Long profile of the creek: distance along the creek against height" });
  private readonly still = svg("g");
  private readonly pipes = svg("g");
  private readonly cursor = svg("g", { class: "cursor", visibility: "hidden" });
  private readonly said = el("div", { class: "said-over" });
  private readonly handles = new Map<CreekRole, SVGGElement>();
  private readonly redraw = frameOnce(() => this.draw());
  private readonly redrawCard = frameOnce(() => this.drawCard());
  private x: Scale = { from: 0, to: 1, a: 0, b: 1 };
  private y: Scale = { from: 0, to: 1, a: 1, b: 0 };
  private width = 0;
  private height = 0;
  private range: [number, number] | null = null;
  private card: Card | null = null;
  private view: View | null = null;
  private units: Units = "si";

  constructor(private readonly host: HTMLElement, private readonly scene: Scene, private readonly on: ProfileEvents) {
    this.cursor.append(svg("line"), svg("circle", { r: 4 }), svg("text", { "text-anchor": "middle" }));
    this.root.append(this.still, this.pipes, this.cursor);
    for (const role of creekRoles) this.handles.set(role, this.handle(role));
    host.append(this.root, this.said);
    this.root.addEventListener("pointermove", (e) => on.hover(this.stationUnder(e)));
    this.root.addEventListener("pointerleave", () => on.hover(null));
    this.panAndZoom();
    new ResizeObserver(() => { this.measure(); this.redraw(); }).observe(host);
    matchMedia("print").addEventListener("change", () => { this.measure(); this.draw(); });
    this.measure();
  }

  private measure(): void {
    const box = this.host.getBoundingClientRect();
    this.width = Math.max(240, box.width);
    this.height = Math.max(140, box.height);
    set(this.root, { viewBox: `0 0 ${this.width} ${this.height}`, width: this.width, height: this.height });
  }

  // show draws a layout over the profile of a view.
  show(view: View, card: Card | null): void {
    const first = this.view === null || this.view.units !== view.units;
    this.view = view;
    this.units = view.units;
    this.card = card;
    if (first && !this.range && card) this.focus();
    this.redraw();
  }

  // follow draws a layout that is being moved; the ground stays as it is.
  follow(card: Card): void {
    this.card = card;
    this.redrawCard();
  }

  // focus shows the stretch with the layout, or all of the creek.
  focus(whole = false): void {
    const all = this.scene.creek.station_m, stations = (this.card?.places ?? []).flatMap((p) => (p.station_m === null ? [] : [p.station_m]));
    this.range = whole || !stations.length ? null : this.within(Math.min(...stations), Math.max(...stations), all);
    this.redraw();
  }

  private within(low: number, high: number, all: readonly number[]): [number, number] {
    const pad = Math.max(15, 0.35 * (high - low));
    return [Math.max(all[0]!, low - pad), Math.min(all.at(-1)!, high + pad)];
  }

  hover(stationM: number | null): void {
    this.cursor.setAttribute("visibility", stationM === null || stationM < this.x.from || stationM > this.x.to ? "hidden" : "visible");
    if (stationM === null || !this.view) return;
    const i = nearest(this.scene.creek.station_m, stationM), per = metresPer(this.units);
    const px = at(this.x, this.scene.creek.station_m[i]!), py = at(this.y, this.view.profile.z_m[i]!);
    const [line, dot, text] = this.cursor.children;
    set(line!, { x1: px, x2: px, y1: margin.top, y2: this.height - margin.bottom });
    set(dot!, { cx: px, cy: py });
    set(text!, { x: Math.min(this.width - 90, Math.max(110, px)), y: 14 });
    const station = this.scene.creek.station_m[i]! / per, z = this.view.profile.z_m[i]! / per;
    text!.textContent = `${station.toFixed(0)} ${unitName(this.units)} along, height ${z.toFixed(1)} ${unitName(this.units)}`;
  }

  private stationUnder(e: PointerEvent | WheelEvent): number | null {
    const px = e.clientX - this.root.getBoundingClientRect().left;
    const s = inverse(this.x, px);
    return s >= this.x.from && s <= this.x.to ? s : null;
  }

  private handle(role: CreekRole): SVGGElement {
    const g = svg("g", { class: `handle ${role}`, role: "slider", tabindex: 0, "aria-label": `${roleNames[role]}, along the creek`, "data-role": role });
    g.append(svg("circle", { class: "reach", r: 18, cy: -16 }), svg("line", { class: "stem" }), svg("path", { d: "M0 0L-8 -11A 11 11 0 1 1 8 -11Z", class: "pin" }), svg("text", { y: -16, "text-anchor": "middle" }));
    g.lastElementChild!.textContent = letters[role];
    let off = 0;
    const under = (e: PointerEvent) => e.clientX - this.root.getBoundingClientRect().left;
    grip(g, {
      lift: (e) => { off = at(this.x, this.card?.places.find((p) => p.role === role)?.station_m ?? 0) - under(e); },
      where: (e) => this.snap(inverse(this.x, under(e) + off)),
      move: (s) => this.on.drag(role, s),
      drop: (s) => this.on.drop(role, s),
    });
    g.addEventListener("keydown", (e) => {
      const own = this.card?.places.find((p) => p.role === role)?.station_m;
      const step = keyStep(e.key, metresPer(this.units) === 1 ? 2 : 5 * 0.3048);
      if (step === null || own === null || own === undefined) return;
      e.preventDefault();
      this.on.drag(role, this.snap(own + step));
      this.on.drop(role, this.snap(own + step));
    });
    this.root.append(g);
    return g;
  }

  private snap(stationM: number): number {
    const all = this.scene.creek.station_m;
    return all[nearest(all, Math.min(all.at(-1)!, Math.max(all[0]!, stationM)))]!;
  }

  private panAndZoom(): void {
    const clamp = (low: number, high: number) => {
      const all = this.scene.creek.station_m, span = Math.min(Math.max(high - low, 10), all.at(-1)! - all[0]!);
      const start = Math.min(Math.max(low, all[0]!), all.at(-1)! - span);
      this.range = [start, start + span];
      this.redraw();
    };
    this.root.addEventListener("wheel", (e) => {
      const s = this.stationUnder(e);
      if (s === null || !(e.ctrlKey || e.metaKey || e.shiftKey)) return; // the page itself scrolls by the plain wheel
      e.preventDefault();
      const k = Math.exp(Math.sign(e.deltaY || e.deltaX) * 0.2);
      clamp(s - (s - this.x.from) * k, s + (this.x.to - s) * k);
    }, { passive: false });
    let from: { px: number; low: number; high: number } | null = null;
    this.root.addEventListener("pointerdown", (e) => { if (e.pointerType === "mouse") from = { px: e.clientX, low: this.x.from, high: this.x.to }; });
    this.root.addEventListener("pointermove", (e) => {
      if (!from || !(e.buttons & 1)) { from = null; return; }
      const shift = ((from.px - e.clientX) / (this.x.b - this.x.a)) * (from.high - from.low);
      clamp(from.low + shift, from.high + shift);
    });
    addEventListener("pointerup", () => { from = null; });
  }

  zoom(factor: number): void {
    const mid = (this.x.from + this.x.to) / 2, half = ((this.x.to - this.x.from) / 2) * factor, all = this.scene.creek.station_m;
    this.range = [Math.max(all[0]!, mid - half), Math.min(all.at(-1)!, mid + half)];
    this.redraw();
  }

  // scales fits the heights of what is to be seen.
  private scales(): void {
    const { station_m } = this.scene.creek, v = this.view!.profile;
    const [from, to] = this.range ?? [station_m[0]!, station_m.at(-1)!];
    let low = Infinity, high = -Infinity;
    for (let i = nearest(station_m, from); i <= nearest(station_m, to); i++) {
      low = Math.min(low, v.low_m[i]!);
      high = Math.max(high, v.high_m[i]!, v.raw_m[i] ?? -Infinity);
    }
    const sp = this.card?.standpipe;
    if (sp && sp.station_m >= from && sp.station_m <= to) high = Math.max(high, sp.top_m, this.card?.limits?.standpipe_top_m ?? -Infinity);
    const pad = Math.max(0.3, 0.08 * (high - low));
    this.x = { from, to, a: margin.left, b: this.width - margin.right };
    this.y = { from: low - pad, to: high + pad, a: this.height - margin.bottom, b: margin.top };
  }

  private draw(): void {
    if (!this.view) return;
    this.scales();
    const { station_m } = this.scene.creek, v = this.view.profile, { x, y } = this;
    const low = envelope(station_m, v.low_m, x, y).flat(), high = envelope(station_m, v.high_m, x, y).flat();
    const clip = svg("clipPath", { id: "plot" }, svg("rect", { x: x.a, y: margin.top - 4, width: x.b - x.a, height: y.a - margin.top + 4 }));
    const inside = svg("g", { "clip-path": "url(#plot)" },
      ...this.flagged(),
      svg("path", { class: "band", d: path([[...high, ...low.reverse()]]) + "Z" }),
      svg("path", { class: "raw", d: path(envelope(station_m, v.raw_m, x, y)) }),
      svg("path", { class: "ground", d: path(envelope(station_m, v.z_m, x, y)) }));
    this.still.replaceChildren(clip, this.axes(), inside);
    this.drawCard();
  }

  private flagged(): SVGGElement[] {
    return this.scene.flags.filter((f) => f.to_m >= this.x.from && f.from_m <= this.x.to).map((f) => {
      const a = at(this.x, f.from_m), b = Math.max(a + 2, at(this.x, f.to_m));
      const g = svg("g", { class: "flag" }, svg("rect", { x: a, y: margin.top - 4, width: b - a, height: this.y.a - margin.top + 4 }), svg("title"));
      g.lastElementChild!.textContent = f.text;
      if (b - a > 40) {
        const name = svg("text", { x: (a + b) / 2, y: this.y.a - 6, "text-anchor": "middle" });
        name.textContent = f.name;
        g.append(name);
      }
      return g;
    });
  }

  private axes(): SVGGElement {
    const g = svg("g", { class: "axes" }), unit = unitName(this.units);
    for (const t of ticks(this.y.from, this.y.to, this.units, this.height / 45)) {
      const py = at(this.y, t.m), text = svg("text", { x: this.x.a - 6, y: py + 4, "text-anchor": "end" });
      text.textContent = t.text;
      g.append(svg("line", { x1: this.x.a, x2: this.x.b, y1: py, y2: py }), text);
    }
    for (const t of ticks(this.x.from, this.x.to, this.units, this.width / 90)) {
      const px = at(this.x, t.m), text = svg("text", { x: px, y: this.y.a + 15, "text-anchor": "middle" });
      text.textContent = t.text;
      g.append(svg("line", { class: "tick", x1: px, x2: px, y1: this.y.a, y2: this.y.a + 4 }), text);
    }
    const along = svg("text", { class: "title", x: (this.x.a + this.x.b) / 2, y: this.height - 3, "text-anchor": "middle" });
    along.textContent = `${unit} along the creek, downstream to the right`;
    const up = svg("text", { class: "title", x: 4, y: 12 });
    up.textContent = `Height, ${unit}`;
    g.append(along, up);
    return g;
  }

  private drawCard(): void {
    if (!this.view) return;
    const { x, y } = this, card = this.card, parts: SVGElement[] = [];
    for (const pipe of card?.pipes ?? []) {
      if (pipe.role === "delivery") continue;
      const on = pipe.path.filter((p) => p.station_m !== null);
      const line = (key: "invert_m" | "grade_m") => path([on.filter((p) => p[key] !== null).map((p) => [at(x, p.station_m!), at(y, p[key]!)] as [number, number])]);
      if (pipe.role === "supply") parts.push(svg("path", { class: "grade", d: line("grade_m") }));
      parts.push(svg("path", { class: `pipe ${pipe.role}`, d: line("invert_m") }));
    }
    if (card?.standpipe) {
      const s = card.standpipe, px = at(x, s.station_m);
      parts.push(svg("rect", { class: "standpipe", x: px - 3, width: 6, y: at(y, s.top_m), height: Math.max(0, at(y, s.foot_m) - at(y, s.top_m)) }),
        svg("line", { class: "level", x1: px - 7, x2: px + 7, y1: at(y, s.running_m), y2: at(y, s.running_m) }));
    }
    const top = card?.limits?.standpipe_top_m ?? null;
    if (card?.standpipe && top !== null) {
      const px = at(x, card.standpipe.station_m), py = at(y, top), near = px > this.width - 160, name = svg("text", { class: "limit", x: near ? px - 15 : px + 15, y: py + 4, "text-anchor": near ? "end" : "start" });
      name.textContent = card.limits!.standpipe_text;
      parts.push(svg("path", { class: "limit", d: `M${px - 12} ${py}H${px + 12}M${px} ${py}V${at(y, card.standpipe.foot_m)}` }), name);
    }
    this.pipes.setAttribute("clip-path", "url(#plot)");
    this.pipes.replaceChildren(...parts);
    const heads: [number, number][] = [];
    for (const [role, g] of this.handles) {
      const p = card?.places.find((q) => q.role === role);
      const visible = p && p.station_m !== null && p.station_m >= x.from && p.station_m <= x.to;
      g.setAttribute("visibility", visible ? "visible" : "hidden");
      g.setAttribute("tabindex", visible ? "0" : "-1");
      if (!visible) continue;
      const px = at(x, p.station_m!), py = at(y, p.z_m);
      let up = 0; // a pin too near to another stands on a stem
      while (up < 60 && heads.some((h) => Math.hypot(h[0] - px, h[1] - (py - up)) < 24)) up += 6;
      heads.push([px, py - up]);
      for (const part of g.children) part.setAttribute("transform", part.classList.contains("stem") ? "" : `translate(0 ${-up})`);
      set(g.querySelector(".stem")!, { x1: 0, x2: 0, y1: 0, y2: -up });
      set(g, { transform: `translate(${px.toFixed(1)} ${py.toFixed(1)})`, "aria-valuenow": Math.round(p.station_m!), "aria-valuemin": 0, "aria-valuemax": Math.round(this.scene.creek.station_m.at(-1)!), "aria-valuetext": p.text });
    }
    this.say();
  }

  // say puts the limits that are broken in words at their places.
  private say(): void {
    const boxes = callouts(this.card).filter((c) => c.station_m >= this.x.from && c.station_m <= this.x.to).sort((a, b) => a.station_m - b.station_m);
    // Each box ends where the next begins, and leaves room for those to come.
    const room = Math.min(300, (this.width - 8) / Math.max(1, boxes.length));
    const lefts = boxes.map((c, k) => Math.max(4, Math.min(at(this.x, c.station_m) - 60, this.width - 4 - room * (boxes.length - k))));
    boxes.forEach((c, k) => {
      if (k) lefts[k] = Math.max(lefts[k]!, lefts[k - 1]! + Math.min(room, 90));
      c.element.style.cssText = `left: ${lefts[k]!.toFixed(0)}px`;
    });
    boxes.forEach((c, k) => { c.element.style.maxWidth = `${Math.max(40, (lefts[k + 1] ?? this.width) - lefts[k]! - 4).toFixed(0)}px`; });
    this.said.replaceChildren(...boxes.map((c) => c.element));
  }
}
