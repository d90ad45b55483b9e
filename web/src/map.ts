// The map, in the site's own metres: hillshade and contours of its terrain,
// the creek, the land limits, the pipes and the places.

import Feature from "ol/Feature.js";
import OlMap from "ol/Map.js";
import Overlay from "ol/Overlay.js";
import View from "ol/View.js";
import { defaults as controls } from "ol/control/defaults.js";
import ScaleLine from "ol/control/ScaleLine.js";
import { boundingExtent, buffer, extend, getCenter } from "ol/extent.js";
import Circle from "ol/geom/Circle.js";
import LineString from "ol/geom/LineString.js";
import MapPoint from "ol/geom/Point.js";
import MultiLineString from "ol/geom/MultiLineString.js";
import Polygon from "ol/geom/Polygon.js";
import ImageLayer from "ol/layer/Image.js";
import VectorLayer from "ol/layer/Vector.js";
import Projection from "ol/proj/Projection.js";
import ImageStatic from "ol/source/ImageStatic.js";
import VectorSource from "ol/source/Vector.js";
import Fill from "ol/style/Fill.js";
import Stroke from "ol/style/Stroke.js";
import Style from "ol/style/Style.js";
import Text from "ol/style/Text.js";

import type { Card, CreekRole, Place, Point, Role, Scene, Units, View as PlanView, Visit } from "./api";
import { callouts } from "./callout";
import { el, frameOnce, set } from "./dom";
import { grip, keyStep, letters, type Moves, roleNames } from "./handle";
import { type Pin, turn, type Way } from "./pins";
import { metresPer, nearest } from "./scale";
import { ink, shade } from "./theme";

export interface MapEvents extends Moves {
  hover(stationM: number | null): void;
  click(at: Point): void;
  dragTank(at: Point): void;
  dropTank(at: Point): void;
}

const roles: Role[] = ["tank", "intake", "settling_box", "standpipe", "pump"];

// sides of a label that touch its place.
const sides = { up: "bottom-center", right: "center-left", down: "top-center", left: "center-right" } as const;

export class SiteMap {
  private readonly map: OlMap;
  private readonly scaleLine = new ScaleLine({ minWidth: 80 });
  private readonly handles = new Map<Role, { overlay: Overlay; element: HTMLElement; way: Way }>();
  private said: Overlay[] = [];
  private readonly creek = new VectorSource<Feature>();
  private readonly under = new VectorSource<Feature>();
  private readonly pipes = new VectorSource<Feature>();
  private readonly visits: { overlay: Overlay; way: Way }[] = [];
  private readonly dot: Overlay;
  private get creekAt(): Point[] { return this.scene.creek.at; }
  private card: Card | null = null;
  private tank: Place | undefined; // where it stands without a layout
  private units: Units = "si";
  private off: Point = [0, 0];
  private readonly redraw = frameOnce(() => this.drawCard());

  constructor(private readonly host: HTMLElement, private readonly scene: Scene, private readonly on: MapEvents) {
    const projection = new Projection({ code: "site", units: "m", extent: scene.relief.extent });
    this.map = new OlMap({
      target: host,
      controls: controls({ rotate: false, attribution: false, zoomOptions: { zoomInTipLabel: "Closer", zoomOutTipLabel: "Farther" } }).extend([this.scaleLine]),
      layers: [
        new ImageLayer({ className: "relief", source: new ImageStatic({ url: "api/relief.png", imageExtent: scene.relief.extent, projection }) }),
        this.layer(this.under, "under"),
        this.layer(this.creek, "creek"),
        this.layer(this.pipes, "pipes"),
      ],
      view: new View({ projection, center: getCenter(scene.relief.extent), resolution: 1, extent: buffer(scene.relief.extent, 200), constrainOnlyCenter: true, minResolution: 0.05, maxResolution: 200 }),
    });
    this.dot = new Overlay({ element: el("div", { class: "dot", "aria-hidden": "true" }), positioning: "center-center", stopEvent: false });
    this.map.addOverlay(this.dot);
    for (const role of roles) this.handles.set(role, this.handle(role));
    host.append(this.north());
    this.map.on("pointermove", (e) => { if (!e.dragging) on.hover(this.stationNear(e.coordinate as Point, 25)); });
    host.addEventListener("pointerleave", () => on.hover(null));
    this.map.on("moveend", () => { this.turnPins(); this.turnWords(); });
    this.map.on("singleclick", (e) => on.click(e.coordinate as Point));
    this.drawStill();
    this.fit(scene.creek.at);
    new ResizeObserver(() => this.map.updateSize()).observe(host);
  }

  private layer(source: VectorSource<Feature>, className: string): VectorLayer<VectorSource<Feature>> {
    return new VectorLayer({ source, className: `ol-layer ${className}`, updateWhileAnimating: true, updateWhileInteracting: true });
  }

  private north(): HTMLElement {
    const arrow = el("div", { class: "north", role: "img", "aria-label": "North" }, el("span", {}, "▲"), el("span", {}, "N"));
    arrow.style.transform = `rotate(${this.scene.north_degrees.toFixed(2)}deg)`;
    return arrow;
  }

  // drawStill draws what does not change while places are moved.
  private drawStill(): void {
    const features: Feature[] = [];
    for (const land of this.scene.land) {
      const out = land.role === "keep_out", line = land.role === "crossing";
      const f = new Feature(line ? new MultiLineString(land.rings) : new Polygon(land.rings));
      f.setStyle(new Style({ stroke: new Stroke({ color: ink(out ? "keep-out" : "soft"), width: out ? 1.5 : 2, lineDash: out ? [] : [8, 5] }), ...(out ? { fill: new Fill({ color: ink("keep-out") + "2e" }) } : {}) }));
      features.push(f);
    }
    for (const contour of this.scene.contours[this.units]) {
      const f = new Feature(new MultiLineString(contour.lines)), line = new Style({ stroke: new Stroke({ color: ink("contour"), width: contour.index ? 1.1 : 0.5 }) });
      if (contour.index) line.setText(new Text({ text: contour.text, placement: "line", font: "11px system-ui, sans-serif", fill: new Fill({ color: ink("soft") }), stroke: new Stroke({ color: ink("halo"), width: 3 }), repeat: 300 }));
      f.setStyle(line);
      features.push(f);
    }
    for (const flag of this.scene.flags) {
      const f = new Feature(new LineString(this.between(flag.from_m, flag.to_m)));
      f.setStyle(new Style({ stroke: new Stroke({ color: ink("heed"), width: 12, lineCap: "butt" }) }));
      features.push(f);
    }
    this.under.clear();
    this.under.addFeatures(features);
  }

  // recolour is for a change between light and dark.
  recolour(view: PlanView): void {
    this.drawStill();
    this.drawCreek(view);
    this.drawCard();
    if (!matchMedia("print").matches) return;
    // Nothing is drawn later on paper, and the sheet has its own shape.
    this.map.updateSize();
    if (this.card) this.fitCard(this.card);
    this.map.renderSync();
    this.turnPins();
  }

  private between(fromM: number, toM: number): Point[] {
    const all = this.scene.creek.station_m, a = nearest(all, fromM), b = Math.max(a + 1, nearest(all, toM));
    return this.creekAt.slice(a, b + 1);
  }

  private drawCreek(view: PlanView): void {
    const halo = new Feature(new LineString(this.creekAt));
    halo.setStyle(new Style({ stroke: new Stroke({ color: ink("halo"), width: 7 }) }));
    const parts = view.reaches.list.map((r) => {
      const f = new Feature(new LineString(this.between(r.from_m, r.to_m)));
      f.setStyle(new Style({ stroke: r.water === null ? new Stroke({ color: ink("soft"), width: 2, lineDash: [3, 6] }) : new Stroke({ color: shade(r.water / Math.max(view.reaches.top, 1e-9)), width: 4.5 }) }));
      return f;
    });
    if (!parts.length) {
      const f = new Feature(new LineString(this.creekAt));
      f.setStyle(new Style({ stroke: new Stroke({ color: ink("water"), width: 3 }) }));
      parts.push(f);
    }
    this.creek.clear();
    this.creek.addFeatures([halo, ...parts]);
  }

  show(view: PlanView, card: Card | null): void {
    if (this.units !== view.units) { this.units = view.units; this.drawStill(); }
    this.scaleLine.setUnits(view.units === "us" ? "us" : "metric");
    this.drawCreek(view);
    this.drawVisits(view.visits);
    this.card = card;
    this.tank = view.tank;
    this.redraw();
  }

  follow(card: Card): void {
    this.card = card;
    this.redraw();
  }

  private drawVisits(visits: Visit[]): void {
    for (const v of this.visits.splice(0)) this.map.removeOverlay(v.overlay);
    for (const v of visits) {
      const o = new Overlay({ element: el("div", { class: "visit", title: v.name }, String(v.rank)), position: v.from.at, stopEvent: false });
      this.visits.push({ overlay: o, way: "right" });
      this.map.addOverlay(o);
    }
  }

  private drawCard(): void {
    const features: Feature[] = [];
    for (const pipe of this.card?.pipes ?? []) {
      const f = new Feature(new LineString(pipe.path.map((p) => p.at)));
      f.setStyle([new Style({ stroke: new Stroke({ color: ink("halo"), width: pipe.role === "drive" ? 8 : 6 }) }),
        new Style({ stroke: new Stroke({ color: ink(pipe.role), width: pipe.role === "drive" ? 4.5 : 2.5, ...(pipe.role === "delivery" ? { lineDash: [9, 5] } : {}) }) })]);
      features.push(f);
    }
    const pump = this.place("pump"), limits = this.card?.limits;
    if (pump && limits) {
      const ring = new Feature(new Circle(pump.at, limits.drive_m));
      ring.setStyle(new Style({ stroke: new Stroke({ color: ink("drive"), width: 1, lineDash: [2, 5] }) }));
      const name = new Feature(new MapPoint([pump.at[0] + 0.72 * limits.drive_m, pump.at[1] - 0.72 * limits.drive_m]));
      name.setStyle(new Style({ text: new Text({ text: limits.drive_text, font: "11px system-ui, sans-serif", textAlign: "left", offsetY: 7, fill: new Fill({ color: ink("drive") }), stroke: new Stroke({ color: ink("halo"), width: 3 }) }) }));
      features.push(ring, name);
    }
    this.pipes.clear(true);
    this.pipes.addFeatures(features);
    for (const [role, { overlay, element }] of this.handles) {
      const p = this.place(role);
      overlay.setPosition(p?.at);
      element.tabIndex = p ? 0 : -1;
      if (p) set(element, { "aria-valuetext": p.text, "aria-valuenow": Math.round(p.station_m ?? 0) });
    }
    this.turnPins();
    for (const o of this.said) this.map.removeOverlay(o);
    this.said = callouts(this.card).map((c) => new Overlay({ element: c.element, position: c.at, stopEvent: false, className: "said-holder" }));
    for (const o of this.said) this.map.addOverlay(o);
    this.turnWords();
  }

  // turnWords keeps the words at a place inside the map.
  private turnWords(): void {
    const size = this.map.getSize();
    for (const o of this.said) {
      const at = o.getPosition(), px = at && this.map.getPixelFromCoordinate(at);
      if (!px || !size) continue;
      const right = px[0]! > size[0]! / 2, low = px[1]! > size[1]! / 2;
      o.setPositioning(right ? (low ? "bottom-right" : "top-right") : low ? "bottom-left" : "top-left");
      o.setOffset([right ? -46 : 46, 0]);
    }
  }

  // turnPins keeps pins that stand close together apart.
  private turnPins(): void {
    const pins: { pin: Pin; role: Role }[] = [];
    for (const [role, h] of this.handles) {
      const p = this.place(role), px = p && (this.map.getPixelFromCoordinate(p.at) as [number, number] | null);
      if (px) pins.push({ role, pin: { at: px, way: h.way, fixed: h.element.classList.contains("held") } });
    }
    const visits = this.visits.flatMap((v) => {
      const at = v.overlay.getPosition(), px = at && (this.map.getPixelFromCoordinate(at) as [number, number] | null);
      return px ? [{ v, pin: { at: px, way: v.way, fixed: false } }] : [];
    });
    turn([...pins, ...visits].map((p) => p.pin));
    for (const { role, pin } of pins) this.point(this.handles.get(role)!, pin.way);
    for (const { v, pin } of visits) {
      v.way = pin.way;
      v.overlay.setPositioning(sides[pin.way]);
      v.overlay.setOffset(pin.way === "right" ? [9, 0] : pin.way === "left" ? [-9, 0] : [0, pin.way === "up" ? -9 : 9]);
    }
  }

  private point(h: { overlay: Overlay; element: HTMLElement; way: Way }, way: Way): void {
    h.way = way;
    h.element.dataset["way"] = way;
    h.overlay.setPositioning(sides[way]);
  }

  hover(stationM: number | null): void {
    this.dot.setPosition(stationM === null ? undefined : this.creekAt[nearest(this.scene.creek.station_m, stationM)]);
  }

  // fit brings points into view.
  fit(points: Point[]): void {
    const size = this.map.getSize();
    if (points.length) this.map.getView().fit(buffer(boundingExtent(points), 12), { padding: size && size[0]! > 500 ? [50, 60, 50, 60] : [30, 30, 30, 30], maxZoom: 30 });
  }

  fitCard(card: Card): void {
    this.fit([...card.places.map((p) => p.at), ...card.pipes.flatMap((p) => p.path.map((v) => v.at))]);
  }

  fitAll(): void {
    const e = boundingExtent(this.creekAt);
    if (this.card) extend(e, boundingExtent(this.card.places.map((p) => p.at)));
    this.map.getView().fit(buffer(e, 20), { padding: [40, 40, 40, 40] });
  }

  private stationNear(at: Point, px: number): number | null {
    const within = px * (this.map.getView().getResolution() ?? 1);
    let best = within * within, found: number | null = null;
    this.creekAt.forEach((p, i) => {
      const d = (p[0] - at[0]) ** 2 + (p[1] - at[1]) ** 2;
      if (d < best) { best = d; found = i; }
    });
    return found === null ? null : this.scene.creek.station_m[found]!;
  }

  // lift remembers how far the pointer is from the place that it takes hold of.
  private lift(role: Role, e: PointerEvent): void {
    this.off = [0, 0];
    const under = this.pointer(e), at = this.place(role)?.at;
    if (under && at) this.off = [at[0] - under[0], at[1] - under[1]];
  }

  private pointer(e: PointerEvent): Point | null {
    const box = this.host.getBoundingClientRect();
    const at = this.map.getCoordinateFromPixel([e.clientX - box.left, e.clientY - box.top]) as Point | null;
    return at && [at[0] + this.off[0], at[1] + this.off[1]];
  }

  private handle(role: Role): { overlay: Overlay; element: HTMLElement; way: Way } {
    const element = el("div", { class: `marker ${role}`, role: "slider", tabindex: -1, "aria-label": role === "tank" ? "Tank, over the ground" : `${roleNames[role]}, along the creek`, "aria-valuemin": 0, "aria-valuemax": Math.round(this.scene.creek.station_m.at(-1)!), "data-role": role }, el("span", {}, letters[role]));
    const overlay = new Overlay({ element, stopEvent: true, className: "marker-holder" });
    this.map.addOverlay(overlay);
    if (role === "tank") this.gripTank(element); else this.gripCreek(element, role as CreekRole);
    const made = { overlay, element, way: "up" as Way };
    this.point(made, role === "pump" ? "down" : "up");
    return made;
  }

  private gripCreek(element: HTMLElement, role: CreekRole): void {
    grip(element, {
      lift: (e) => this.lift(role, e),
      where: (e) => { const p = this.pointer(e); return p && this.stationNear(p, 1e6); },
      move: (s) => this.on.drag(role, s),
      drop: (s) => this.on.drop(role, s),
    });
    element.addEventListener("keydown", (e) => {
      const own = this.place(role)?.station_m, step = keyStep(e.key, metresPer(this.units) === 1 ? 2 : 5 * 0.3048), all = this.scene.creek.station_m;
      if (step === null || own === null || own === undefined) return;
      e.preventDefault();
      e.stopPropagation();
      const s = all[nearest(all, Math.min(all.at(-1)!, Math.max(all[0]!, own + step)))]!;
      this.on.drag(role, s);
      this.on.drop(role, s);
    });
  }

  private gripTank(element: HTMLElement): void {
    let latest: Point | null = null;
    grip(element, {
      lift: (e) => this.lift("tank", e),
      where: (e) => { latest = this.pointer(e); return latest && latest[0] * 1e3 + latest[1]; },
      move: () => this.on.dragTank(latest!),
      drop: () => this.on.dropTank(latest!),
    });
    element.addEventListener("keydown", (e) => {
      const shift = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[e.key], own = this.place("tank");
      if (!shift || !own) return;
      e.preventDefault();
      e.stopPropagation();
      const step = (e.shiftKey ? 10 : 2) * (metresPer(this.units) === 1 ? 1 : 5 * 0.3048 / 2);
      this.on.dropTank([own.at[0] + shift[0]! * step, own.at[1] + shift[1]! * step]);
    });
  }

  private place(role: Role): Place | undefined {
    return this.card ? this.card.places.find((p) => p.role === role) : role === "tank" ? this.tank : undefined;
  }

}
