// What the server found is shown in the place of the form: its own page of the entry, without opening a page anew, for
// an operator with a glove on waits for each. Where that page does not come, the tablet's own result stands for it.
import { settle } from "../taps.js";
import { show } from "./result.js";

const PAGE_WITHIN_MS = 1500;

export async function showReceived(entry) {
  const address = `/entries/${entry.id}`, page = await pageOf(address);
  if (!page) return show(entry);
  document.activeElement?.blur(); // the number keys go with their figure
  history.replaceState(null, "", address);
  document.title = page.title;
  document.querySelector(".strip").replaceWith(page.querySelector(".strip"));
  for (const part of between(document)) part.remove();
  const main = document.getElementById("content");
  main.before(...between(page));
  main.replaceChildren(...page.getElementById("content").childNodes);
  settle();
  const heading = document.querySelector("h1");
  heading.tabIndex = -1;
  heading.focus();
  scrollTo(0, 0);
  if (document.querySelector("form.undo")) await import("../undo.js");
}

// The page as the server makes it, or null: no network, somebody else signed in, an answer that is no such page.
async function pageOf(address) {
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" }, redirect: "error", cache: "no-store",
      signal: AbortSignal.timeout(PAGE_WITHIN_MS) });
    const page = answer.ok ? new DOMParser().parseFromString(await answer.text(), "text/html") : null;
    const ours = page?.documentElement.dataset.release === document.documentElement.dataset.release;
    return ours && page.querySelector(".strip h1") && page.querySelector("#content .bar") ? page : null;
  } catch {
    return null;
  }
}

// Banners and said sentences, which stand between the head of the page and its content.
function between(page) {
  const parts = [];
  for (let part = page.querySelector("header.top").nextElementSibling; part && part.id !== "content"; part = part.nextElementSibling) {
    parts.push(part);
  }
  return parts;
}
