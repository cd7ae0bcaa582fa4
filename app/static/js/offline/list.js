// "On this tablet": every entry made here and where it stands, what the server refused with the way to put it right,
// and all of it as text, for the day when nothing else works.
import * as queue from "./queue.js";
import { clock, el, many, words } from "./dom.js";
import { show, stands, understood } from "./result.js";
import { send } from "./sender.js";

const WHAT = { readings: "reading", starts: "start", stops: "stop", trips: "trip", greasings: "greasing" };
const nameOf = (entry) => (entry.body.skip_reason ? "skipped" : WHAT[entry.kind]);

export async function drawList(place, person) {
  const key = location.hash.slice(1), entries = await queue.all();
  const asked = entries.find((e) => e.id === key);
  if (asked) return show(asked);
  const open = entries.filter((e) => e.state !== queue.RECEIVED), had = entries.filter((e) => e.state === queue.RECEIVED);
  const now = el("button", { type: "button", class: "button main" }, "Send now");
  now.addEventListener("click", async () => {
    now.textContent = "Sending…";
    await send();
    now.textContent = "Send now";
  });
  place.replaceChildren(
    el("p", { class: "acts" }, open.length ? now : null, open.length && person ? asText(open) : null),
    open.length ? el("h2", {}, `${many(open.length, "entry", "entries")} not at the server`) : el("h2", {}, "Nothing waits here"),
    el("ul", { class: "kept" }, open.map((entry) => line(entry, person))),
    had.length ? el("h2", {}, "Received") : null, el("ul", { class: "kept" }, had.reverse().slice(0, 100).map((e) => line(e, person))));
  if (key.startsWith("text")) place.querySelector("[data-text]")?.click();
}

function line(entry, person) {
  const what = `${entry.motor.tag}, ${nameOf(entry)}, ${clock(entry.madeAt)}, ${entry.name}`, refused = entry.state === queue.ATTENTION;
  return el("li", { "data-entry": entry.id, "data-state": entry.state },
    person ? el("a", { href: `/tablet/entries#${entry.id}` }, what) : what, ` · ${stands(entry)}`,
    refused || entry.problem?.status === 401 ? el("p", { class: refused ? "field-error" : "hint" }, entry.problem.detail) : null,
    refused && person ? el("p", { class: "acts" }, el("a", { class: "button", href: `/tablet/entries#${entry.id}` }, "Put it right"),
      drop(entry)) : null);
}
// Only what the server refused, and only after a second look: it is gone then.
function drop(entry) {
  const button = el("button", { type: "button", class: "button" }, "Remove from this tablet");
  button.addEventListener("click", async () => {
    if (button.dataset.sure) await queue.takeBack(entry.id);
    else {
      button.dataset.sure = "yes";
      button.textContent = "Remove it for good?";
    }
  });
  return button;
}

function asText(entries) {
  const button = el("button", { type: "button", class: "button", "data-text": true }, "Show as text");
  button.addEventListener("click", () => {
    const text = entries.map(textOf).join("\n\n");
    const file = el("a", { class: "button", download: "entries-on-this-tablet.txt",
      href: `data:text/plain;charset=utf-8,${encodeURIComponent(text)}` }, "Keep it as a file");
    button.closest(".room").prepend(el("div", { class: "as-text" }, el("p", { class: "acts" }, file),
      el("pre", { tabindex: "0", "aria-label": "Entries as text" }, text)));
    button.remove();
  });
  return button;
}
export function textOf(entry) {
  const pairs = understood(entry).map((part) => part.textContent);
  const told = pairs.reduce((lines, part, i) => (i % 2 ? [...lines.slice(0, -1), `${lines.at(-1)}: ${part}`] : [...lines, part]), []);
  return [`${entry.motor.tag} ${entry.motor.service ?? ""}`.trim(), `${nameOf(entry)} by ${entry.name}, seen ${
    new Date(entry.body.taken_at ?? entry.body.at).toISOString()}`, ...told,
  ...(entry.findings ?? []).map((f) => `${f.priority}: ${words(f.rule)}: ${f.says}`), `id ${entry.id}`].join("\n");
}
