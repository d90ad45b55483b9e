// The map page: one state, two linked views, and panels.

import "ol/ol.css";
import "./page.css";

import * as api from "./api";
import type { Card, CreekRole, Point, Scene, View } from "./api";
import { creekRoles } from "./api";
import { mostKept, read, type State, type Tab, write } from "./address";
import { byId, el, newest, settled } from "./dom";
import { SiteMap } from "./map";
import * as panels from "./panels";
import { Profile } from "./profile";
import { DeliverySection } from "./section";
import { nearest } from "./scale";
import { isDark, onChange, shade } from "./theme";

class Page {
  private state: State;
  private view: View | null = null;
  private own: Card | null = null; // the user's own layout, as it is being moved
  private kept: Card[] = []; // own layouts kept for comparing
  private point: Card | null = null; // a layout of the front
  private readonly map: SiteMap;
  private readonly profile: Profile;
  private readonly section: DeliverySection;
  private fitNext = false; // the layout that comes next is brought into view
  private starting = false; // a move began of which no answer is there yet
  private running: AbortController | null = null;
  // The panel of all layouts is drawn anew when a hand rests, not at every move.
  private readonly tabSettled = settled(120, () => {
    const start = performance.now();
    this.drawTab();
    performance.measure("route:panel", { start, end: performance.now() });
  });
  private readonly tryPlaces = newest(async (places: api.Wish["pins"], tank: Point | null) => {
    try {
      this.follow(await api.attempt(this.state.units, { ...this.state.wish, tank }, places));
    } catch (e) { this.refuse(e); }
  });

  constructor(private readonly scene: Scene) {
    this.state = this.address();
    const moves = {
      drag: (role: CreekRole, s: number) => this.move(role, s),
      drop: (role: CreekRole, s: number) => { this.move(role, s); this.remember(); },
      hover: (s: number | null) => { this.map.hover(s); this.profile.hover(s); },
    };
    this.map = new SiteMap(byId("map"), scene, {
      ...moves,
      click: (at) => void this.where(at),
      dragTank: (at) => { if (this.card()) this.tryPlaces(this.places(), at); },
      dropTank: (at) => { this.state.wish.tank = at; void this.replan(); },
    });
    this.profile = new Profile(byId("profile"), scene, moves);
    this.section = new DeliverySection(byId("section"), { slideTank: (at) => { this.state.wish.tank = at; void this.replan(); } });
    this.wire();
  }

  // address is the state in the address; without one, what the site file holds.
  private address(): State {
    const s = read(location.hash, this.scene.units);
    if (!location.hash) s.wish.pins = { ...this.scene.pins };
    return s;
  }

  private wire(): void {
    for (const button of document.querySelectorAll<HTMLButtonElement>("[data-units]")) button.addEventListener("click", () => { this.state.units = button.dataset["units"] as api.Units; void this.replan(); });
    const tabs = [...document.querySelectorAll<HTMLButtonElement>("[role=tab]")];
    tabs.forEach((tab, k) => {
      tab.addEventListener("click", () => this.open(tab.dataset["tab"] as Tab));
      tab.addEventListener("keydown", (e) => {
        const next = { ArrowRight: k + 1, ArrowLeft: k - 1 }[e.key];
        if (next === undefined) return;
        const other = tabs[(next + tabs.length) % tabs.length]!;
        other.focus();
        this.open(other.dataset["tab"] as Tab);
      });
    });
    byId("theme").addEventListener("click", () => { document.documentElement.dataset["theme"] = isDark() ? "light" : "dark"; });
    byId("stop").addEventListener("click", () => this.running?.abort());
    byId("fit-layout").addEventListener("click", () => { this.profile.focus(); const c = this.card(); if (c) this.map.fitCard(c); });
    byId("fit-all").addEventListener("click", () => { this.profile.focus(true); this.map.fitAll(); });
    byId("closer").addEventListener("click", () => this.profile.zoom(0.7));
    byId("farther").addEventListener("click", () => this.profile.zoom(1 / 0.7));
    byId("say-close").addEventListener("click", () => { byId("say").hidden = true; });
    onChange(() => { if (this.view) { this.map.recolour(this.view); this.legend(); } });
    addEventListener("hashchange", () => {
      if (write(this.state) === location.hash.slice(1)) return;
      this.state = this.address();
      this.own = null;
      void this.replan();
    });
  }

  // cards are the layouts found, one of the front and the user's own.
  private cards(): Card[] { return [...(this.view?.cards ?? []), ...(this.point ? [this.point] : []), ...this.kept, ...(this.own ? [this.own] : [])]; }

  private card(): Card | null { const all = this.cards(); return all.find((c) => c.id === this.state.card) ?? all[0] ?? null; }

  // places of the layout that is shown, from which a move starts.
  private places(): api.Wish["pins"] {
    const at: api.Wish["pins"] = {};
    for (const role of creekRoles) at[role] = this.card()?.places.find((p) => p.role === role)?.station_m ?? "none";
    return at;
  }

  private move(role: CreekRole, stationM: number): void {
    this.change({ [role]: stationM });
  }

  // change tries the shown layout with other places; the first change of a
  // layout that was found makes it the user's own.
  private change(some: api.Wish["pins"]): void {
    const goingOn = this.state.trial !== null && (this.card()?.id === "mine" || this.starting);
    const trial = { ...(goingOn ? this.state.trial : this.places()), ...some };
    this.starting = true; // until the first answer is there
    this.state.trial = trial;
    for (const role of creekRoles) if (some[role] !== undefined && this.state.wish.pins[role] !== undefined) this.state.wish.pins[role] = some[role];
    this.tryPlaces(trial, this.state.wish.tank);
  }

  // follow shows the user's own layout as the server has worked it out.
  private follow(card: Card): void {
    const start = performance.now();
    this.starting = false;
    this.own = card;
    this.state.card = card.id;
    if (typeof this.state.trial?.intake !== "number") { this.state.trial = this.places(); this.remember(); }
    this.map.follow(card);
    this.profile.follow(card);
    this.section.show(card, this.state.units);
    if (this.fitNext) { this.fitNext = false; this.map.fitCard(card); this.profile.focus(); }
    this.drawShown();
    if (this.state.tab === "layouts" || this.state.tab === "compare") this.tabSettled();
    performance.measure("route:follow", { start, end: performance.now() });
  }

  // drawShown tells of the shown layout, and above the map what is wrong with it.
  private drawShown(): void {
    const card = this.card(), focus = (document.activeElement as HTMLElement | null)?.dataset;
    const open = byId("shown").querySelector("details")?.open ?? false;
    byId("broken").textContent = !card || card.works ? "" : card.words.filter((w) => w.level === "error").map((w) => (w.place ? `${w.place}: ${w.text}` : w.text)).join(" ");
    byId("shown").replaceChildren(...panels.shown(this.view, card, this.state.wish, this.events));
    const details = byId("shown").querySelector("details");
    if (details) details.open = open;
    for (const key of ["pin", "part", "keep"]) if (focus?.[key] !== undefined) byId("shown").querySelector<HTMLElement>(`[data-${key}="${focus[key]}"]`)?.focus();
  }

  private remember(): void { history.replaceState(null, "", "#" + write(this.state)); }

  private readonly events: panels.PanelEvents = {
    begin: (pumpM) => { this.move("pump", pumpM); this.fitNext = true; },
    choose: (id) => {
      this.state.card = id;
      this.starting = false;
      if (id.startsWith("front-") && this.point?.id !== id) { void this.frontCard(id).then(() => this.events.choose(id)); return; }
      this.remember();
      this.draw();
      const c = this.card();
      if (c) this.map.fitCard(c);
      this.profile.focus();
    },
    pin: (role, on) => {
      if (on) this.state.wish.pins[role] = this.places()[role] ?? "none"; else delete this.state.wish.pins[role];
      this.remember();
      this.drawShown();
    },
    part: (role, on) => { this.change({ [role]: on ? this.between(role) : "none" }); this.remember(); },
    keep: () => {
      if (!this.own || !this.state.trial || this.state.kept.length >= mostKept) return;
      this.state.kept.push(this.state.trial);
      this.kept.push(this.named(this.own, this.kept.length));
      this.own = null;
      this.state.trial = null;
      this.state.card = this.kept.at(-1)!.id;
      this.remember();
      this.draw();
    },
    drop: (id) => {
      const k = this.kept.findIndex((c) => c.id === id);
      if (k < 0) return;
      this.kept.splice(k, 1);
      this.state.kept.splice(k, 1);
      this.kept = this.kept.map((c, i) => this.named(c, i));
      this.state.card = "";
      this.remember();
      this.draw();
    },
    replan: () => { this.state.trial = null; this.state.card = ""; void this.replan(); },
    clearPins: () => { this.state.wish.pins = {}; this.state.wish.tank = null; this.state.trial = null; this.state.card = ""; void this.replan(); },
    read: (r) => { this.state.wish.readings.push(r); void this.replan(); },
    forget: (k) => { this.state.wish.readings.splice(k, 1); void this.replan(); },
    take: (name) => void api.file(name, this.state.units, this.state.wish).catch((e) => this.refuse(e)),
    print: () => print(),
    save: () => void this.save(),
  };

  // replan asks for the layouts around what is held in place. One planning
  // runs at a time; asking again stops the last.
  async replan(): Promise<void> {
    this.running?.abort();
    const mine = (this.running = new AbortController());
    const watch = setInterval(() => void api.progress().then((p) => { if (this.running === mine) this.busy(p.step, p.done, p.total); }, () => undefined), 250);
    this.busy("planning", 0, 0);
    try {
      this.view = await api.plan(this.state.units, this.state.wish, mine.signal);
      if (this.view.creek) this.scene.creek = this.view.creek;
      await this.refresh();
      this.remember();
      this.draw();
    } catch (e) {
      if (!(e instanceof DOMException && e.name === "AbortError")) this.refuse(e);
      else if (this.running === mine) this.say(["Stopped. The layouts are those from before."]);
    } finally {
      clearInterval(watch);
      if (this.running === mine) { this.running = null; this.busy(null, 0, 0); }
    }
  }

  // refresh works out anew what stands beside the layouts found.
  private async refresh(): Promise<void> {
    const { units, wish, trial, kept, card } = this.state;
    this.kept = [];
    for (const places of kept) this.kept.push(this.named(await api.attempt(units, wish, places), this.kept.length));
    this.own = trial ? await api.attempt(units, wish, trial) : null;
    this.point = null;
    if (card.startsWith("front-")) await this.frontCard(card);
  }

  private named(card: Card, k: number): Card { return { ...card, id: `own-${k + 1}`, title: `Own ${k + 1}` }; }

  // frontCard fetches a layout of the front; without one, the best is shown.
  private async frontCard(id: string): Promise<void> {
    try {
      this.point = await api.frontCard(this.state.units, this.state.wish, Number(id.slice("front-".length)) || 0);
    } catch (e) {
      this.state.card = "";
      this.refuse(e);
    }
  }

  // between is where a part that is added first stands: half-way between its
  // neighbours along the creek.
  private between(role: CreekRole): number {
    const at = this.places(), k = creekRoles.indexOf(role);
    const known = (list: readonly CreekRole[]) => list.map((r) => at[r]).find((v): v is number => typeof v === "number");
    const above = known(creekRoles.slice(0, k).reverse()) ?? 0, below = known(creekRoles.slice(k + 1)) ?? above;
    const all = this.scene.creek.station_m;
    return all[nearest(all, (above + below) / 2)]!;
  }

  private busy(step: string | null, done: number, total: number): void {
    byId("busy").hidden = step === null;
    document.body.toggleAttribute("data-busy", step !== null);
    if (step === null) return;
    byId("busy-step").textContent = total ? `${step}: ${Math.round((100 * done) / total)} %` : `${step} …`;
    const bar = byId<HTMLProgressElement>("busy-bar");
    if (total) { bar.max = total; bar.value = done; } else bar.removeAttribute("value");
  }

  private async where(at: Point): Promise<void> {
    try {
      const s = await api.spot(this.state.units, this.state.wish, at);
      const actions: HTMLElement[] = [el("button", { type: "button", click: () => void navigator.clipboard.writeText(s.copy) }, "Copy the coordinates")];
      if (s.station_m !== null) {
        const station = s.station_m;
        actions.unshift(el("button", { type: "button", click: () => { this.fitNext = !this.card(); this.move("pump", station); this.remember(); } }, "Put the pump here"));
      }
      this.say([...s.text, s.why].filter(Boolean), actions);
    } catch (e) { this.refuse(e); }
  }

  // save writes the site file and starts again from it.
  private async save(): Promise<void> {
    try {
      const { text } = await api.save(this.state.units, this.state.wish);
      const after = { ...this.state, wish: { pins: this.state.wish.pins, tank: null, readings: [] } };
      history.replaceState(null, "", "#" + write(after));
      sessionStorage.setItem("said", text);
      location.reload();
    } catch (e) { this.refuse(e); }
  }

  private say(lines: string[], actions: HTMLElement[] = []): void {
    byId("say-text").replaceChildren(...lines.map((l) => el("p", {}, l)), el("div", { class: "row" }, ...actions));
    byId("say").hidden = false;
  }

  private refuse(e: unknown): void {
    this.say(e instanceof api.Refusal ? [e.message, e.hint].filter(Boolean) : [`The page stumbled: ${e instanceof Error ? e.message : String(e)}`]);
  }

  open(tab: Tab): void {
    this.state.tab = tab;
    this.remember();
    this.drawTab();
  }

  private drawTab(): void {
    for (const tab of document.querySelectorAll<HTMLButtonElement>("[role=tab]")) {
      const on = tab.dataset["tab"] === this.state.tab;
      tab.setAttribute("aria-selected", String(on));
      tab.tabIndex = on ? 0 : -1;
    }
    const view = this.view, id = this.card()?.id ?? "";
    if (!view) return;
    const panel = byId("panel"), focus = (document.activeElement as HTMLElement | null)?.dataset["card"];
    panel.setAttribute("aria-labelledby", `tab-${this.state.tab}`);
    panel.replaceChildren(...{
      layouts: () => panels.layouts(view, this.cards(), id, this.events),
      compare: () => panels.compare(view, this.cards(), id, this.events),
      visit: () => panels.visit(view, this.events),
      take: () => panels.take(view, this.scene.writable, this.events),
    }[this.state.tab]());
    if (focus) panel.querySelector<HTMLElement>(`[data-card="${focus}"]`)?.focus();
  }

  private draw(): void {
    if (!this.view) return;
    const card = this.card();
    for (const b of document.querySelectorAll<HTMLButtonElement>("[data-units]")) b.setAttribute("aria-pressed", String(b.dataset["units"] === this.state.units));
    this.drawShown();
    this.legend();
    this.map.show(this.view, card);
    this.profile.show(this.view, card);
    this.section.show(card, this.state.units);
    this.drawTab();
    document.body.setAttribute("data-ready", "");
  }

  private legend(): void {
    const { label, top_text } = this.view!.reaches, legend = byId("legend");
    legend.hidden = !this.view!.reaches.list.length;
    legend.replaceChildren(el("span", {}, label), el("span", { class: "ramp", "aria-hidden": "true" }, ...[0, 0.25, 0.5, 0.75, 1].map((t) => {
      const step = el("i");
      step.style.background = shade(t);
      return step;
    })), el("span", {}, `0 to ${top_text}`), el("span", { class: "none" }, "no layout"));
    if (!this.view!.reaches.top) legend.replaceChildren(el("span", { class: "none" }, label));
  }

  // greet says what was saved before the page began again.
  greet(): void {
    const said = sessionStorage.getItem("said");
    sessionStorage.removeItem("said");
    if (said) this.say([said]);
  }

  fit(): void { const c = this.card(); if (c) this.map.fitCard(c); }
}

async function start(): Promise<void> {
  try {
    const scene = await api.scene();
    document.title = `${scene.name}: where the pump stands`;
    byId("name").textContent = scene.name;
    const page = new Page(scene);
    await page.replan();
    page.fit();
    page.greet();
  } catch (e) {
    byId("busy").hidden = true;
    byId("say-text").replaceChildren(...[e instanceof Error ? e.message : String(e), e instanceof api.Refusal ? e.hint : ""].filter(Boolean).map((t) => el("p", {}, t)));
    byId("say").hidden = false;
  }
}

void start();
