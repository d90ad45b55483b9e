// The way of the delivery pipe, from the pump up to the tank. The tank slides
// along it.

import type { Card, Point, Units } from "./api";
import { frameOnce, set, svg } from "./dom";
import { grip, letters } from "./handle";
import { at, inverse, nearest, path, type Scale, ticks, unitName } from "./scale";

const margin = { left: 46, right: 16, top: 26, bottom: 34 };

export class DeliverySection {
  private readonly root = svg("svg", { class: "profile", role: "group", "aria-label": "The delivery pipe: distance from the pump against height" });
  private readonly drawn = svg("g");
  private readonly tank = svg("g", { class: "handle tank", role: "slider", tabindex: -1, "aria-label": "Tank, along the delivery pipe", "data-role": "tank" });
  private readonly redraw = frameOnce(() => this.draw());
  private card: Card | null = null;
  private units: Units = "si";
  private x: Scale = { from: 0, to: 1, a: 0, b: 1 };

  constructor(private readonly host: HTMLElement, on: { slideTank(at: Point): void }) {
    this.tank.append(svg("circle", { class: "reach", r: 18, cy: -16 }), svg("path", { d: "M0 0L-8 -11A 11 11 0 1 1 8 -11Z", class: "pin" }), svg("text", { y: -16, "text-anchor": "middle" }));
    this.tank.lastElementChild!.textContent = letters.tank;
    this.root.append(this.drawn, this.tank);
    host.append(this.root);
    grip(this.tank, { where: (e) => this.along(e.clientX), move: (s) => this.slide(s), drop: (s) => { const p = this.point(s); if (p) on.slideTank(p); } });
    this.tank.addEventListener("keydown", (e) => {
      const line = this.line(), step = { ArrowLeft: -1, ArrowDown: -1, PageDown: -5 }[e.key];
      if (!line || step === undefined) return;
      e.preventDefault();
      const p = this.point(line.at(-1)!.along_m + 5 * step);
      if (p) on.slideTank(p);
    });
    new ResizeObserver(() => this.redraw()).observe(host);
    matchMedia("print").addEventListener("change", () => this.draw()); // paper waits for no frame
  }

  private line() { return this.card?.pipes.find((p) => p.role === "delivery")?.path; }

  private along(clientX: number): number | null {
    const line = this.line();
    return line ? Math.min(line.at(-1)!.along_m, Math.max(0, inverse(this.x, clientX - this.root.getBoundingClientRect().left))) : null;
  }

  private point(alongM: number): Point | null {
    const line = this.line();
    return line ? line[nearest(line.map((v) => v.along_m), alongM)]!.at : null;
  }

  private slide(alongM: number): void {
    const line = this.line();
    if (!line) return;
    const i = nearest(line.map((v) => v.along_m), alongM);
    set(this.tank, { transform: `translate(${at(this.x, line[i]!.along_m)} ${margin.top + 14})` });
  }

  show(card: Card | null, units: Units): void { this.card = card; this.units = units; this.redraw(); }

  private draw(): void {
    const box = this.host.getBoundingClientRect(), w = Math.max(180, box.width), h = Math.max(140, box.height), line = this.line();
    set(this.root, { viewBox: `0 0 ${w} ${h}`, width: w, height: h });
    this.tank.setAttribute("visibility", line ? "visible" : "hidden");
    this.tank.setAttribute("tabindex", line ? "0" : "-1");
    if (!line || line.length < 2) {
      const none = svg("text", { x: w / 2, y: h / 2, "text-anchor": "middle" });
      none.textContent = "no delivery pipe";
      this.drawn.replaceChildren(none);
      return;
    }
    const heights = line.flatMap((v) => [v.ground_m, v.invert_m]).filter((v): v is number => v !== null), low = Math.min(...heights), high = Math.max(...heights), pad = Math.max(0.5, 0.1 * (high - low));
    const x = (this.x = { from: 0, to: line.at(-1)!.along_m, a: margin.left, b: w - margin.right }), y: Scale = { from: low - pad, to: high + pad, a: h - margin.bottom, b: margin.top };
    const runs = (key: "ground_m" | "invert_m" | "grade_m"): [number, number][][] => [line.filter((v) => v[key] !== null).map((v) => [at(x, v.along_m), at(y, v[key]!)])];
    const axes = svg("g", { class: "axes" }), label = (text: string, props: Record<string, string | number>) => { const t = svg("text", props); t.textContent = text; axes.append(t); };
    for (const t of ticks(y.from, y.to, this.units, h / 45)) { axes.append(svg("line", { x1: x.a, x2: x.b, y1: at(y, t.m), y2: at(y, t.m) })); label(t.text, { x: x.a - 6, y: at(y, t.m) + 4, "text-anchor": "end" }); }
    for (const t of ticks(x.from, x.to, this.units, w / 80)) label(t.text, { x: at(x, t.m), y: y.a + 15, "text-anchor": "middle" });
    label(`${unitName(this.units)} from the pump to the tank`, { class: "title", x: (x.a + x.b) / 2, y: h - 3, "text-anchor": "middle" });
    const ground = runs("ground_m")[0]!;
    this.drawn.replaceChildren(axes, svg("path", { class: "earth", d: path([[...ground, [x.b, y.a], [x.a, y.a]]]) + "Z" }), svg("path", { class: "pipe delivery", d: path(runs("invert_m")) }));
    const end = line.at(-1)!;
    set(this.tank, { transform: `translate(${at(x, end.along_m)} ${at(y, end.ground_m ?? high)})`, "aria-valuemin": 0, "aria-valuemax": Math.round(end.along_m), "aria-valuenow": Math.round(end.along_m), "aria-valuetext": this.card?.places.find((p) => p.role === "tank")?.text ?? "" });
  }
}
