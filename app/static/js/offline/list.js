// "On this tablet": every entry made here and where it stands, what the server refused with the way to put it right,
// and all of it as text, for the day when nothing else works.
import * as queue from "./queue.js";
import { become, clock, el, many, whole, words } from "./dom.js";
import { show, stands, understood } from "./result.js";
import { send } from "./sender.js";

const WHAT = { readings: "reading", starts: "start", stops: "stop", trips: "trip", greasings: "greasing" };
const nameOf = (entry) => (entry.body.skip_reason ? "skipped" : WHAT[entry.kind]);

let sending = false, told = false; // what was asked of this page stays so when it is drawn again
const sure = new Set();

export async function drawList(place, person) {
  const key = location.hash.slice(1), entries = await queue.all();
  const asked = entries.find((e) => e.id === key);
  if (asked) return show(asked);
  told ||= key.startsWith("text");
  const open = entries.filter((e) => e.state !== queue.RECEIVED), had = entries.filter((e) => e.state === queue.RECEIVED);
  const text = person && told && open.length;
  become(place,
    text ? asText(open) : null,
    el("p", { class: "acts" }, open.length ? sendNow() : null, open.length && person && !text ? tellAsText() : null),
    open.length ? el("h2", {}, `${many(open.length, "entry", "entries")} not at the server`) : el("h2", {}, "Nothing waits here"),
    el("ul", { class: "kept" }, open.map((entry) => line(entry, person))),
    had.length ? el("h2", {}, "Received") : null,
    el("ul", { class: "kept" }, had.reverse().slice(0, 100).map((e) => line(e, person))));
}

// A button that says something else once it was pressed says so itself, as it is drawn from then on: it stays the one that
// has the focus, and that a wet glove touches twice.
function act(says, attributes, does) {
  const button = el("button", { type: "button", class: "button", ...attributes }, says);
  button.addEventListener("click", does);
  return button;
}
const SENDING = "Sending…";
const sendNow = () => act(sending ? SENDING : "Send now", { class: "button main" }, async (event) => {
  sending = true;
  event.currentTarget.textContent = SENDING;
  await send();
  sending = false;
  queue.tell();
});
const tellAsText = () => act("Show as text", {}, () => {
  told = true;
  queue.tell();
});

function line(entry, person) {
  const what = `${entry.motor.tag}, ${nameOf(entry)}, ${clock(entry.madeAt)}, ${entry.name}`, refused = entry.state === queue.ATTENTION;
  return el("li", { "data-entry": entry.id, "data-state": entry.state },
    person ? el("a", { href: `/tablet/entries#${entry.id}` }, what) : what, ` · ${stands(entry)}`,
    refused || entry.problem?.status === 401 ? el("p", { class: refused ? "field-error" : "hint" }, entry.problem.detail) : null,
    refused && person ? el("p", { class: "acts" }, el("a", { class: "button", href: `/tablet/entries#${entry.id}` }, "Put it right"),
      drop(entry)) : null);
}
// Only what the server refused, and only after a second look: it is gone then.
const SURE = "Remove it for good?";
const drop = (entry) => act(sure.has(entry.id) ? SURE : "Remove from this tablet", {}, async (event) => {
  if (sure.has(entry.id)) return queue.takeBack(entry.id);
  sure.add(entry.id);
  event.currentTarget.textContent = SURE;
});

function asText(entries) {
  const text = entries.map(textOf).join("\n\n");
  return el("div", { class: "as-text" },
    el("p", { class: "acts" }, el("a", { class: "button", download: "entries-on-this-tablet.txt",
      href: `data:text/plain;charset=utf-8,${encodeURIComponent(text)}` }, "Keep it as a file")),
    el("pre", { tabindex: "0", "aria-label": "Entries as text" }, text));
}
export function textOf(entry) {
  const pairs = understood(entry).map((part) => part.textContent);
  const told = pairs.reduce((lines, part, i) => (i % 2 ? [...lines.slice(0, -1), `${lines.at(-1)}: ${part}`] : [...lines, part]), []);
  return [`${entry.motor.tag} ${entry.motor.service ?? ""}`.trim(), `${nameOf(entry)} by ${entry.name}, ${
    whole(entry.body.taken_at ?? entry.body.at)}`, ...told,
  ...(entry.findings ?? []).map((f) => `${f.priority}: ${words(f.rule)}: ${f.says}`), `id ${entry.id}`].join("\n");
}
