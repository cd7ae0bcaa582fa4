// Takes along what a shift needs: the ticket, the walk, and its pages. Asked for with the sheet, and when the shift or
// the person is another one than the tablet knows.
import * as queue from "./queue.js";
import { over } from "./walk.js";

const FRESH_MS = 10 * 60000, AGAIN_MS = 5000;

export async function takeAlong(person, onSheet) {
  const known = await queue.shiftOf(person);
  const fresh = known && !over(known) && Date.now() - known.at < FRESH_MS && known.release === document.documentElement.dataset.release;
  if (fresh && !onSheet) return known;
  let shift;
  try {
    const answer = await fetch("/tablet/shift", { headers: { Accept: "application/json" }, redirect: "error", cache: "no-store" });
    if (!answer.ok) return known;
    shift = { ...(await answer.json()), at: Date.now() };
  } catch {
    return known;
  }
  if (shift.person !== person) return known; // somebody else signed in on another page of this tablet
  await queue.keepShift(shift);
  await queue.note("contact", { ok: true, at: Date.now() });
  if (shift.open) await preparePages(shift);
  queue.tell();
  return shift;
}

let wanted = null;
async function preparePages(shift) {
  wanted = shift;
  const worker = (await navigator.serviceWorker?.ready)?.active;
  worker?.postMessage({ do: "prepare", whose: shift.whose, stamp: shift.stamp, at: shift.at });
}

// Asked once the sheet is opened; the answer is shown, never relied on.
export async function storage() {
  if (!navigator.storage?.persist) return null;
  const kept = (await navigator.storage.persisted()) || (await navigator.storage.persist());
  const { usage, quota } = await navigator.storage.estimate();
  return { kept, usedPercent: quota ? Math.round((100 * usage) / quota) : null };
}

export async function registerWorker() {
  if (!("serviceWorker" in navigator)) return;
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.ask === "release") event.ports[0].postMessage(document.documentElement.dataset.release);
    if (!event.data?.pages) return;
    queue.tell(); // the pages are all here, or could not be fetched: the line says which
    if (event.data.pages === "whole") return;
    console.warn(`the round's pages: ${event.data.pages}`);
    setTimeout(() => wanted && preparePages(wanted), AGAIN_MS);
  });
  try {
    await navigator.serviceWorker.register("/sw.js", { scope: "/", updateViaCache: "none" });
  } catch (error) {
    await queue.note("worker", { failed: String(error) });
  }
}

// Takes one person's pages off the tablet. What waits to be sent stays, with its ticket.
export async function forgetPages() {
  if (!("caches" in globalThis)) return;
  for (const name of await caches.keys()) if (name.startsWith("pages-")) await caches.delete(name);
}
