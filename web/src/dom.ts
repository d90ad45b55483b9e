// Small helpers to make elements: text is always set as text, never as markup.

type Child = Node | string | null | undefined | false;
type Props = Record<string, string | number | boolean | ((e: Event) => void) | null | undefined>;

function fill(element: Element, props: Props, children: Child[]): void {
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") element.addEventListener(name, value as EventListener);
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children) if (child) element.append(child);
}

export function el<K extends keyof HTMLElementTagNameMap>(name: K, props: Props = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(name);
  fill(element, props, children);
  return element;
}

export function svg<K extends keyof SVGElementTagNameMap>(name: K, props: Props = {}, ...children: Child[]): SVGElementTagNameMap[K] {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  fill(element, props, children);
  return element;
}

export const set = (element: Element, props: Record<string, string | number>): void => {
  for (const [name, value] of Object.entries(props)) element.setAttribute(name, String(value));
};

export const byId = <T extends HTMLElement = HTMLElement>(id: string): T => document.getElementById(id) as T;

// settled runs something when it has not been asked for again for a while.
export function settled(ms: number, run: () => void): () => void {
  let timer = 0;
  return () => {
    clearTimeout(timer);
    timer = setTimeout(run, ms) as unknown as number;
  };
}

// frameOnce runs a drawing at most once a frame, with the latest call.
export function frameOnce<A extends unknown[]>(draw: (...args: A) => void): (...args: A) => void {
  let waiting = 0, latest: A;
  return (...args) => {
    latest = args;
    waiting ||= requestAnimationFrame(() => {
      waiting = 0;
      const start = performance.now();
      draw(...latest);
      performance.measure("route:frame", { start, end: performance.now() });
    });
  };
}

// newest sends at most one request at a time and, when that is answered, the
// latest of those that came meanwhile.
export function newest<A extends unknown[]>(send: (...args: A) => Promise<void>): (...args: A) => void {
  let busy = false, waiting: A | null = null;
  const run = async (args: A): Promise<void> => {
    busy = true;
    try { await send(...args); } finally {
      busy = false;
      if (waiting) { const next = waiting; waiting = null; void run(next); }
    }
  };
  return (...args) => { if (busy) waiting = args; else void run(args); };
}
