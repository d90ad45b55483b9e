// A handle is one of the places as a person meets it on the map or in the
// profile: dragged by pointer or finger, moved by arrow keys, and spoken by
// screen readers as a slider.

import type { CreekRole, Role } from "./api";

export const roleNames: Record<Role, string> = { intake: "Intake", settling_box: "Settling box", standpipe: "Standpipe", pump: "Pump", tank: "Tank" };
export const letters: Record<Role, string> = { intake: "I", settling_box: "B", standpipe: "S", pump: "P", tank: "T" };

export interface Moves {
  // drag is called while a place is moved along the creek, drop when it is left there.
  drag(role: CreekRole, stationM: number): void;
  drop(role: CreekRole, stationM: number): void;
}

// steps are how far keys move a place along the creek, in metres downstream.
export function keyStep(key: string, stepM: number): number | null {
  switch (key) {
    case "ArrowRight": case "ArrowDown": return stepM;
    case "ArrowLeft": case "ArrowUp": return -stepM;
    case "PageDown": return 10 * stepM;
    case "PageUp": return -10 * stepM;
    case "Home": return -Infinity;
    case "End": return Infinity;
    default: return null;
  }
}

// grip makes an element draggable. where(e) turns a pointer into whatever the
// view moves by, and null where it means nothing; lift is told when a drag
// begins, so that a place does not jump to the finger.
export function grip(element: Element, by: { lift?(e: PointerEvent): void; where(e: PointerEvent): number | null; move(v: number): void; drop(v: number): void }): void {
  let last: number | null = null, held = false;
  const target = element as HTMLElement;
  target.addEventListener("pointerdown", (e) => {
    if (e.button !== 0) return;
    held = true; last = null;
    target.setPointerCapture(e.pointerId);
    target.classList.add("held");
    e.stopPropagation();
    e.preventDefault();
    target.focus();
    by.lift?.(e);
  });
  target.addEventListener("pointermove", (e) => {
    if (!held) return;
    e.stopPropagation();
    const v = by.where(e);
    if (v === null || v === last) return;
    last = v;
    by.move(v);
  });
  const end = (e: PointerEvent) => {
    if (!held) return;
    held = false;
    target.classList.remove("held");
    e.stopPropagation();
    if (last !== null) by.drop(last);
  };
  target.addEventListener("pointerup", end);
  target.addEventListener("pointercancel", end);
}
