// One page shown in the place of another, without opening it anew: a tablet takes a tenth of a second to open a page,
// at every motor twice. Only pages of this release and this person; for anything else the caller opens the address.
import { settle } from "../taps.js";

// The page as the server makes it, or as the tablet has kept it. Null: none of them, signed out, another release.
export async function pageOf(address, withinMs) {
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" }, cache: "no-store", signal: AbortSignal.timeout(withinMs) });
    if (!answer.ok || answer.redirected) return null;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    return fits(page) ? page : null;
  } catch {
    return null;
  }
}
function fits(page) {
  const [theirs, ours] = [page, document].map((each) => each.documentElement.dataset);
  const whole = ["header.top .strip h1", "#content .bar", "footer"].every((part) => page.querySelector(part));
  return whole && ["release", "person", "theme", "sizes", "hand", "keys"].every((name) => theirs[name] === ours[name]);
}

// The menu and the line under it stay: what listens to them goes on listening.
export function put(page) {
  document.activeElement?.blur(); // the number keys go with their figure
  document.title = page.title;
  const { kept } = page.documentElement.dataset;
  if (kept) document.documentElement.dataset.kept = kept;
  else delete document.documentElement.dataset.kept;
  document.querySelector("header.top .strip").replaceWith(page.querySelector("header.top .strip"));
  for (const part of between(document)) part.remove();
  document.getElementById("content").before(...between(page));
  document.getElementById("content").replaceChildren(...page.getElementById("content").childNodes);
  document.querySelector("footer").replaceWith(page.querySelector("footer"));
  for (const part of ["script[type='application/json']", "form[data-leave] [name=next]"]) renew(part, page);
  atTop();
}
function renew(part, page) {
  const [before, now] = [document, page].map((each) => [...each.querySelectorAll(part)]);
  if (part.startsWith("form")) before.forEach((field, i) => { field.value = now[i]?.value ?? ""; });
  else {
    for (const data of before) data.remove();
    document.body.append(...now);
  }
}

// As a page that was opened: at its top, its name read out, and deaf to the touch that brought it.
export function atTop() {
  settle();
  const heading = document.querySelector("h1");
  heading.tabIndex = -1;
  heading.focus();
  scrollTo(0, 0);
}

// Banners and sentences, which stand between the head of a page and its content.
function between(page) {
  const parts = [];
  for (let part = page.querySelector("header.top").nextElementSibling; part && part.id !== "content"; part = part.nextElementSibling) {
    parts.push(part);
  }
  return parts;
}
