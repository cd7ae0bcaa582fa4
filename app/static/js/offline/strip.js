// One line under the menu: done, waiting, not seen; and what stands in the way of keeping things here. Always in view on
// the pages of the walk, which come with its place; elsewhere only while something waits here.
import * as queue from "./queue.js";
import { moved } from "../taps.js";
import { become, clock, el, many } from "./dom.js";
import { old, over, walk } from "./walk.js";

const FULL_PERCENT = 80;

export async function drawStrip(line, person, storage) {
  const known = await walk(person), contact = await queue.noted("contact"), here = await roundHere(known.shift);
  const before = line.offsetHeight;
  fill(line, known, { contact, here, storage, person });
  if (!line.hidden) keepPlace(line, before);
  if (line.offsetHeight !== before) moved();
}

// A line that became shorter keeps its place on this page; the next page gives it as much as its words need now
// (line_place.js).
function keepPlace(line, before) {
  line.style.minHeight = "0";
  const needs = line.offsetHeight;
  line.style.minHeight = before > needs ? `${before}px` : "";
  try {
    sessionStorage.setItem("line", String(needs));
  } catch {
    // a browser that keeps nothing
  }
}

function fill(line, known, { contact, here, storage, person }) {
  const onWalk = line.dataset.onTablet === "walk", waiting = known.waiting.length;
  const mine = onWalk && known.shift && !over(known.shift);
  line.hidden = !onWalk && !waiting && !known.attention.length;
  if (line.hidden) return;
  const oldest = known.waiting[0], asks = known.waiting.find((e) => e.problem?.status === 401);
  become(line,
    ...(mine ? [count(known.done, "done")] : []),
    ...(mine && known.skipped ? [count(known.skipped, "skipped")] : []),
    el("a", { href: "/tablet/entries", class: waiting ? "waits" : "" }, el("b", {}, String(waiting)), " waiting",
      oldest ? `, oldest ${clock(oldest.madeAt)}` : ""),
    ...(mine ? [count(known.left, "not seen")] : []),
    mine && here ? el("span", { class: "sub" }, "round on this tablet") : "",
    ...notes({ known, contact, waiting, asks, storage, person, here: !mine || here }).map((text) => el("span", { class: "note" }, text)));
}
// Whether every page of the shift is here: true, false, or null where this browser keeps no pages.
async function roundHere(shift) {
  if (!shift || !("caches" in globalThis) || !navigator.serviceWorker) return null;
  return (await caches.keys()).some((name) => name.endsWith(`-${shift.stamp}-whole`));
}
const count = (n, word) => el("span", {}, el("b", {}, String(n)), ` ${word}`);

function notes({ known, contact, waiting, asks, storage, person, here }) {
  const told = [];
  if (known.attention.length) {
    told.push(el("a", { href: "/tablet/entries" }, `${many(known.attention.length, "entry needs", "entries need")} attention`));
  }
  if (asks) told.push(el("a", { href: "/sign-in" }, `${asks.name} must sign in to send`));
  else if (waiting && contact?.ok === false) told.push(`no server since ${clock(contact.at)}`);
  if (known.waiting.some((e) => old(e))) told.push("waiting for over 12 h: show it as text and pass it on");
  if (here === false && isSecureContext) told.push("round not yet on this tablet: wait for it");
  if (person && !isSecureContext) told.push("offline use needs https: here entries are kept only while this page stays open");
  if (storage?.usedPercent >= FULL_PERCENT) told.push(`this tablet's storage is ${storage.usedPercent} % full`);
  if (waiting && storage && !storage.kept) told.push("this browser may clear its storage: send soon");
  return told;
}

// On the sheet: what was entered here since the page was made, motor by motor, and the next one that is left.
export async function drawSheet(person) {
  const rows = document.querySelector("table.sheet");
  if (!rows || !location.pathname.match(/^\/(sheet)?$/)) return;
  const known = await walk(person), before = rows.offsetHeight;
  for (const motor of known.motors.filter((m) => m.entry)) {
    const link = rows.querySelector(`a[href="${motor.url}"]`), row = link?.closest("tr");
    const already = row?.querySelector(`a[href="/entries/${motor.entry.id}"]`);
    if (!row || already) continue;
    const cells = [...row.querySelectorAll("td")], stands = motor.entry.state === queue.RECEIVED
      ? `received ${clock(motor.entry.receivedAt)}`
      : motor.entry.state === queue.ATTENTION ? "needs attention" : "on this tablet";
    const says = motor.entry.body.skip_reason ? `skipped: ${motor.entry.body.skip_reason}` : motor.entry.body.state;
    cells[0]?.before(el("td", { colspan: "8", class: "here" },
      el("a", { href: `/tablet/entries#${motor.entry.id}` }, `${says}, ${clock(motor.entry.body.taken_at)}`), ` · ${stands}`));
    cells.forEach((cell) => cell.remove());
    row.classList.remove("next");
  }
  if (known.motors.some((m) => m.entry && rows.querySelector(`a[href="/tablet/entries#${m.entry.id}"]`))) drawCounts(known);
  if (rows.offsetHeight !== before) moved();
}
// The page's own figures are of when it was made: they must not contradict its rows.
function drawCounts(known) {
  const due = known.done + known.skipped + known.left, right = document.querySelector(".strip .right");
  right?.replaceChildren(el("b", {}, `${known.done} of ${due}`), el("br"), el("span", { class: "sub" }, `${known.left} to go`));
  for (const part of document.querySelectorAll(".count > span")) {
    const [, word] = part.textContent.trim().match(/^\d+ (done|skipped|not seen)$/) ?? [];
    if (word) part.querySelector("b").textContent = { done: known.done, skipped: known.skipped, "not seen": known.left }[word];
  }
  const next = known.motors.find((m) => m.status === "left"), button = document.querySelector(".bar a.main");
  if (!button) return;
  button.href = next?.url ?? "/tablet/entries";
  button.textContent = next ? `Go to ${next.tag}` : "Every motor seen or skipped: what is on this tablet";
}
