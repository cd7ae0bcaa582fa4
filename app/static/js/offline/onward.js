// From the result to the next motor: its page is fetched while the result is read, and shown in its place at the press.
import { pageOf, put } from "./in_place.js";

const PAGE_WITHIN_MS = 6000, FRESH_MS = 20000;
const MOTOR = /^\/motors\/\d+\/entry$/;
// Only where the scripts of a motor's page are running.
const atMotor = () => document.querySelector('script[src$="/js/entry.js"]') !== null;
let ahead = null, going = false, here = null;

export function lookAhead() {
  const link = document.querySelector(".bar a.main");
  ahead = link && onward(link) ? { address: link.pathname, at: Date.now(), page: pageOf(link.pathname, PAGE_WITHIN_MS) } : null;
}
const onward = (link) => atMotor() && MOTOR.test(link.pathname) && !link.search;

async function go(address) {
  const fresh = ahead?.address === address && Date.now() - ahead.at < FRESH_MS;
  const page = await (fresh ? ahead.page : pageOf(address, PAGE_WITHIN_MS));
  ahead = null;
  if (!page) return location.assign(address);
  history.pushState(null, "", address);
  here = address;
  put(page);
  return document.dispatchEvent(new Event("at-motor")); // whatever serves a motor's form begins with this one
}

document.addEventListener("click", async (event) => {
  const link = event.target.closest(".bar a.main");
  if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey || !onward(link)) return;
  event.preventDefault();
  if (going) return;
  going = true;
  try {
    await go(link.pathname);
  } finally {
    going = false;
  }
});
// Back: the page behind this address is opened as ever.
addEventListener("popstate", () => { if (here && location.pathname !== here) location.reload(); });
