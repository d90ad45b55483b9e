// The panels beside the map: figures of the shown layout, the layouts found,
// the comparison, the visit and what can be taken away.

import type { Card, CreekRole, Figure, Front, Reading, View, Visit, Wish, Word } from "./api";
import { creekRoles } from "./api";
import { el, svg } from "./dom";
import { roleNames } from "./handle";

export interface PanelEvents {
  begin(pumpM: number): void;
  choose(id: string): void;
  pin(role: CreekRole, on: boolean): void;
  part(role: CreekRole, on: boolean): void;
  keep(): void;
  drop(id: string): void;
  replan(): void;
  clearPins(): void;
  read(r: Reading): void;
  forget(index: number): void;
  take(name: string): void;
  print(): void;
  save(): void;
}

const marks = { error: "✕", warning: "!", note: "·" };

export function words(list: Word[]): HTMLElement | null {
  if (!list.length) return null;
  return el("ul", { class: "words" }, ...list.map((w) =>
    el("li", { class: w.level }, el("span", { class: "mark", "aria-label": w.level }, marks[w.level]), el("span", {}, w.place ? el("b", {}, `${w.place}: `) : null, w.text, w.hint ? el("em", {}, ` ${w.hint}`) : null))));
}

function figure(f: Figure): HTMLElement {
  return el("div", { "data-key": f.key }, el("dt", {}, f.label), el("dd", {}, f.value, f.note ? el("small", {}, f.note) : null));
}

// Shown tells of the one layout on map and profile, and what is held in place.
export function shown(view: View | null, card: Card | null, wish: Wish, on: PanelEvents): Node[] {
  if (!card) return nothing(view, wish, on);
  return [
    el("div", { class: "title" }, el("h2", {}, card.title), el("span", { class: card.works ? "state" : "state off" }, card.works ? "within all limits" : "breaks a limit"), view?.screening ? el("span", { class: "state off" }, "screening only") : null),
    el("p", { class: "why" }, card.why, view?.screening ? el("span", {}, " The heights here are good for finding a place to go and look, not for buying pipe: measure first.") : null),
    el("dl", { class: "figures" }, ...card.figures.slice(0, 4).map(figure)),
    el("div", { class: "row parts" },
      ...(["settling_box", "standpipe"] as const).map((r) => el("label", {}, el("input", { type: "checkbox", "data-part": r, checked: card.places.some((p) => p.role === r), change: (e) => on.part(r, (e.target as HTMLInputElement).checked) }), `with a ${roleNames[r].toLowerCase()}`)),
      card.id === "mine" ? el("button", { type: "button", class: "quiet", "data-keep": "mine", click: () => on.keep() }, "Keep to compare") : null,
      card.id.startsWith("own-") ? el("button", { type: "button", class: "quiet", "data-keep": "own", click: () => on.drop(card.id) }, "Take away") : null),
    words(card.words.filter((w) => w.level !== "note")) ?? el("span", {}),
    pins(wish, on),
    el("details", { class: "more" }, el("summary", {}, "All figures and pipes"),
      el("dl", { class: "figures" }, ...card.figures.slice(4).map(figure)),
      card.chances.length ? el("dl", { class: "chances" }, ...card.chances.map((f) => el("div", {}, el("dt", {}, f.label), el("dd", {}, f.value)))) : null,
      el("ul", { class: "pipes" }, ...card.pipes.map((p) => el("li", { class: p.role }, el("b", {}, p.name), ` ${p.text}`))),
      words(card.words.filter((w) => w.level === "note"))),
  ];
}

// pins are the places that are held while the rest is looked for.
function pins(wish: Wish, on: PanelEvents): HTMLElement {
  const held = creekRoles.some((r) => wish.pins[r] !== undefined);
  return el("fieldset", { class: "pins" }, el("legend", {}, "Hold in place"),
    ...creekRoles.map((r) => el("label", {}, el("input", { type: "checkbox", "data-pin": r, checked: wish.pins[r] !== undefined, change: (e) => on.pin(r, (e.target as HTMLInputElement).checked) }), roleNames[r])),
    el("div", { class: "row" },
      el("button", { type: "button", class: "main", id: "replan", click: () => on.replan() }, held ? "Find the rest" : "Find the best"),
      held || wish.tank ? el("button", { type: "button", click: () => on.clearPins() }, "Let go of all") : null));
}

// nothing is what is said where no layout keeps all limits.
function nothing(view: View | null, wish: Wish, on: PanelEvents): Node[] {
  const misses = view?.misses ?? [];
  return [el("div", { class: "title" }, el("h2", {}, "No layout"), el("span", { class: "state off" }, "none keeps all limits")),
    view ? el("p", { class: "answer" }, view.answer) : null,
    misses.length ? el("ul", { class: "misses" }, ...misses.map((m) => el("li", {}, m.text, el("small", {}, m.where),
      m.station_m === null ? null : el("button", { type: "button", "data-begin": m.station_m, click: () => on.begin(m.station_m!) }, "Put a pump there")))) : null,
    el("p", { class: "why" }, "A click on the creek tells why not there. A pump put there shows what it would give and which limit it breaks; then move its parts."),
    Object.keys(wish.pins).length || wish.tank ? pins(wish, on) : null].filter((n): n is HTMLElement => n !== null);
}

// layouts are the ranked layouts and the user's own as cards.
export function layouts(view: View, cards: Card[], chosen: string, on: PanelEvents): Node[] {
  return [
    cards.length ? el("p", { class: "answer" }, view.answer) : el("span", {}),
    el("div", { class: "cards", role: "group", "aria-label": "Layouts" }, ...cards.map((c) =>
      el("button", { type: "button", class: c.mine ? "card mine" : "card", "aria-pressed": String(c.id === chosen), "data-card": c.id, click: () => on.choose(c.id) },
        el("span", { class: "name" }, c.title),
        el("span", { class: "big" }, c.figures[0]?.value ?? ""),
        ...c.figures.slice(1, 4).map((f) => el("span", { class: "line" }, `${f.label} `, el("b", {}, f.value))),
        c.works ? null : el("span", { class: "line off" }, "breaks a limit")))),
    words(view.words) ?? el("span", {}),
  ];
}

// compare is the table of all layouts, rows that differ first, and the front.
export function compare(view: View, cards: Card[], chosen: string, on: PanelEvents): Node[] {
  const keys = [...new Set(cards.flatMap((c) => c.figures.map((f) => f.key)))];
  const rows = keys.map((key) => {
    const cells = cards.map((c) => c.figures.find((f) => f.key === key));
    return { label: cells.find((f) => f)!.label, cells, differs: new Set(cells.map((f) => f?.value ?? "")).size > 1 };
  }).sort((a, b) => Number(b.differs) - Number(a.differs));
  const table = el("table", {}, el("caption", {}, "Layouts side by side; what differs comes first"),
    el("thead", {}, el("tr", {}, el("td", {}), ...cards.map((c) => el("th", { scope: "col", class: c.id === chosen ? "chosen" : "" }, c.title)))),
    el("tbody", {}, ...rows.map((r) => el("tr", { class: r.differs ? "differs" : "same" }, el("th", { scope: "row" }, r.label), ...r.cells.map((f, k) => el("td", { class: cards[k]!.id === chosen ? "chosen" : "" }, f?.value ?? "–"))))));
  return [
    view.front ? el("section", {}, el("h3", {}, "Cost against water"), front(view.front, chosen, on)) : el("span", {}),
    el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Comparison" }, table),
    steps(view),
  ];
}

// steps are what to buy next, and how to buy the first layout in parts.
function steps(view: View): HTMLElement {
  const list = (title: string, what: View["steps"]) => (what.length ? el("section", {}, el("h3", {}, title),
    el("ul", { class: "steps" }, ...what.map((s) => el("li", {}, s.text, " ", el("b", {}, s.gain), s.cost ? ` ${s.cost}` : "")))) : null);
  return el("div", {}, list("The next step from layout A", view.steps), list("Bought in parts", view.stages));
}

// front plots what more money buys; each point is a buildable layout.
function front(f: Front, chosen: string, on: PanelEvents): Element {
  const w = 340, h = 210, left = 14, right = 14, top = 14, bottom = 34;
  const costs = f.points.map((p) => p.cost), waters = f.points.map((p) => p.water);
  const span = (v: number[]): [number, number] => { const lo = Math.min(...v), hi = Math.max(...v), pad = (hi - lo || 1) * 0.12; return [lo - pad, hi + pad]; };
  const [c0, c1] = span(costs), [w0, w1] = span(f.demand === null ? waters : [...waters, f.demand]);
  const x = (v: number) => left + ((v - c0) / (c1 - c0)) * (w - left - right), y = (v: number) => h - bottom - ((v - w0) / (w1 - w0)) * (h - top - bottom);
  const picture = svg("svg", { class: "front", viewBox: `0 0 ${w} ${h}`, role: "group", "aria-label": "Cost against water a day, one point a layout" });
  picture.append(svg("path", { class: "axis", d: `M${left} ${top}V${h - bottom}H${w - right}` }));
  if (f.demand !== null) picture.append(svg("path", { class: "demand", d: `M${left} ${y(f.demand)}H${w - right}` }));
  picture.append(svg("path", { class: "stairs", d: f.points.map((p, k) => (k ? `H${x(p.cost)}V${y(p.water)}` : `M${x(p.cost)} ${y(p.water)}`)).join("") }));
  const label = (text: string, px: number, py: number, anchor: string) => { const t = svg("text", { x: px, y: py, "text-anchor": anchor }); t.textContent = text; picture.append(t); };
  const first = f.points[0]!, last = f.points.at(-1)!;
  label(`${f.cost_label}: ${first.cost_text} to ${last.cost_text}`, w / 2, h - 6, "middle");
  label(f.water_label, left + 6, top + 2, "start");
  label(first.water_text, x(first.cost) + 12, y(first.water) + 14, "start");
  label(last.water_text, x(last.cost) - 14, y(last.water) + 4, "end");
  if (f.demand !== null) label(f.demand_text, w - right, y(f.demand) - 5, "end");
  const said = el("p", { class: "said", "aria-live": "polite" }, "Each point is a layout of its own; choose one to see it.");
  const now = f.points.find((p) => p.id === chosen);
  if (now) said.textContent = now.text;
  for (const p of f.points) {
    const g = svg("g", { class: p.id === chosen ? "point chosen-point" : "point", "data-point": p.id, role: "button", tabindex: 0, "aria-label": p.text, transform: `translate(${x(p.cost)} ${y(p.water)})` }, svg("circle", { class: "reach", r: 13 }), svg("circle", { r: 5.5 }));
    const act = () => { said.textContent = p.text; on.choose(p.id); };
    g.addEventListener("click", act);
    g.addEventListener("focus", () => { said.textContent = p.text; });
    g.addEventListener("pointerenter", () => { said.textContent = p.text; });
    g.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); act(); } });
    picture.append(g);
  }
  return el("div", {}, picture as unknown as Node, said);
}

// visit is what to measure first, with a place to enter each reading.
export function visit(view: View, on: PanelEvents): Node[] {
  const parts: Node[] = view.visits.length
    ? [el("p", {}, "Readings on site that would decide most, the most telling for its hours first. Enter what was measured and the plan follows.")]
    : [el("p", {}, "No reading on site is worth its hours for choosing between the layouts. Before buying, check the key levels all the same.")];
  if (view.readings.length) parts.push(el("h3", {}, "Entered"), el("ul", { class: "entered" }, ...view.readings.map((text, k) => el("li", {}, text, " ", el("button", { type: "button", class: "quiet", click: () => on.forget(k) }, "Take out")))));
  parts.push(el("ol", { class: "visits" }, ...view.visits.map((v) => el("li", {}, el("h3", {}, v.name), el("p", {}, v.text), el("p", { class: "soft" }, v.how, " ", v.worth), entry(v, on)))));
  return parts;
}

function entry(v: Visit, on: PanelEvents): HTMLElement {
  const input = el("input", { id: `drop-${v.rank}`, inputmode: "decimal", autocomplete: "off", size: 7, required: true, pattern: "\\s*-?[0-9]+([.,][0-9]+)?\\s*" });
  return el("form", { class: "entry", submit: (e) => {
    e.preventDefault();
    on.read({ from: v.entry.from, to: v.entry.to, drop: `${input.value.trim().replace(",", ".")} ${v.entry.unit}`, sigma: v.entry.sigma, by: v.entry.by });
  } }, el("label", { for: `drop-${v.rank}` }, "Measured drop"), input, el("span", {}, v.entry.unit), el("button", { type: "submit" }, "Enter"));
}

export function take(view: View, writable: boolean, on: PanelEvents): Node[] {
  return [
    el("p", {}, "Files of the layouts as they stand on this page."),
    el("ul", { class: "files" }, ...view.files.map((f) => el("li", {}, el("button", { type: "button", "data-file": f.name, click: () => on.take(f.name) }, f.name), el("span", {}, f.what)))),
    el("div", { class: "row" },
      el("button", { type: "button", click: () => on.print() }, "Print this page"),
      writable ? el("button", { type: "button", id: "save", click: () => on.save() }, "Save to the site file") : null),
    el("p", { class: "soft" }, "The address of this page holds what you have put in place: a link to it shows the same on this computer."),
  ];
}
