// Small pieces of the page, made as the server's own templates make them.
import { moved } from "../taps.js";

export function el(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...parts(inside));
  return made;
}
const parts = (inside) => inside.flat(Infinity).filter((part) => part !== null && part !== undefined && part !== false && part !== "");

// What a place shows from now on, changed only where it differs: a link or a button under a finger stays the one that was
// touched. Where one of them went elsewhere, no touch is taken for a moment. A button that is shown again just as it was
// keeps what it did when it was first made: it carries, or stands in what carries, the id of what it acts on.
export function become(place, ...inside) {
  const before = spots(place);
  turnInto(place, parts(inside));
  if ([...spots(place)].some(([control, spot]) => before.has(control) && before.get(control) !== spot)) moved();
}
const spots = (place) => new Map([...place.querySelectorAll("a, button, summary")].map((control) => {
  const { left, top } = control.getBoundingClientRect();
  return [control, `${Math.round(left + scrollX)} ${Math.round(top + scrollY)}`];
}));

function turnInto(place, wanted) {
  const there = [...place.childNodes], now = wanted.map((part) => (part instanceof Node ? part : document.createTextNode(part)));
  now.forEach((node, i) => {
    const old = there[i];
    if (!old) place.append(node);
    else if (old.isEqualNode(node)) return;
    else if (alike(old, node)) turnInto(old, [...node.childNodes]);
    else old.replaceWith(node);
  });
  there.slice(now.length).forEach((old) => old.remove());
}
// What a button does is not to be seen on it: it is the same as a whole, or another one.
const alike = (old, node) => old instanceof Element && old.nodeName !== "BUTTON" && old.cloneNode(false).isEqualNode(node.cloneNode(false));

const SHAPES = {
  "act now": { d: "M7.5 1h9L23 7.5v9L16.5 23h-9L1 16.5v-9z", fill: "currentColor" },
  "this shift": { d: "M12 2 23 22H1z", fill: "currentColor" },
  watch: { d: "M12 2 22 12 12 22 2 12z", fill: "none", stroke: "currentColor", "stroke-width": "3" },
};
const CLASSES = { "act now": "act", "this shift": "shift", watch: "watch" };
export const classOf = (priority) => CLASSES[priority];
export function shape(priority) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  for (const [key, value] of Object.entries(SHAPES[priority])) path.setAttribute(key, value);
  svg.append(path);
  return svg;
}
export const capital = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
export const words = (rule) => rule.replaceAll("_", " ");
export const END = { DE: "coupling end (DE)", ODE: "fan end (ODE)" };
export const many = (n, one, more = `${one}s`) => `${n} ${n === 1 ? one : more}`;

// 07:12 in the unit's own zone, and the day where it is not today's.
export function clock(when, zone = document.documentElement.dataset.zone) {
  const at = new Date(when), local = (date, options) =>
    new Intl.DateTimeFormat("en-GB", { timeZone: zone || undefined, hourCycle: "h23", ...options }).format(date);
  const day = { day: "numeric", month: "short" };
  const time = local(at, { hour: "2-digit", minute: "2-digit" });
  return local(at, day) === local(new Date(), day) ? time : `${local(at, day)}, ${time}`;
}
// 24 Nov 2026, 07:12 (America/Chicago): for whoever reads it elsewhere, on another day.
export function whole(when, zone = document.documentElement.dataset.zone) {
  const format = new Intl.DateTimeFormat("en-GB", { timeZone: zone || undefined, hourCycle: "h23", day: "numeric",
    month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" });
  return `${format.format(new Date(when))} (${format.resolvedOptions().timeZone})`;
}
export const seconds = (when, zone) => new Intl.DateTimeFormat("en-GB", {
  timeZone: zone || document.documentElement.dataset.zone || undefined, hourCycle: "h23", hour: "2-digit",
  minute: "2-digit", second: "2-digit" }).format(new Date(when));
