// Any form that this tablet does not keep itself (a greasing, a handover, an answer to a flag) goes only where the server
// answers. Elsewhere the browser would put its own page in the place of this one, and what was typed would be gone.
import { el } from "./dom.js";
import { reached } from "./sender.js";
import { moved } from "../taps.js";

const SLOW_MS = 700;
const ASKING = "Asking whether the server can be reached…";
const NOT_SENT = "Not sent: the server cannot be reached from here, and nothing is stored. This page stays as it is, with "
  + "what you typed. Leave it open and send it again where the network is.";
let goes = null;
const asking = new WeakSet();

export function holdForms() {
  document.addEventListener("submit", (event) => {
    const { target: form, submitter: button } = event;
    const method = button?.getAttribute("formmethod") ?? form.getAttribute("method"); // a reading's own "method" hides form.method
    if (event.defaultPrevented || form === goes || method !== "post") return;
    event.preventDefault();
    if (!asking.has(form)) goWhereReached(form, button);
  });
}

async function goWhereReached(form, button) {
  asking.add(form);
  const slow = setTimeout(tell, SLOW_MS, form, ASKING);
  const there = await reached();
  clearTimeout(slow);
  asking.delete(form);
  if (!there && button?.dataset.unreached) return onHere(form, button.dataset.unreached);
  if (!there) return tell(form, NOT_SENT).focus();
  goes = form;
  form.requestSubmit(button);
  goes = null;
  return undefined;
}

// The page that the server would have led to is on this tablet.
function onHere(form, address) {
  const typed = form.elements.seen_at?.value.trim();
  if (typed) sessionStorage.setItem("said", `You wrote ${typed} under “When”. Write it again here.`);
  location.assign(address);
}

function tell(form, says) {
  document.querySelector("[data-held]")?.remove();
  const box = el("p", { class: "summary", role: "alert", tabindex: "-1", "data-held": true }, says);
  (form.closest(".bar, tr, nav") ?? form).before(box); // where there is room for a sentence
  moved();
  return box;
}
