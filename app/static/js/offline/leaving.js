// Signing out on a shared tablet. Entries that wait are not left behind unseen, and no page of this person stays.
import * as queue from "./queue.js";
import { el, many } from "./dom.js";
import { reached, send } from "./sender.js";
import { forgetPages } from "./shift.js";

export function guardSignOut(person) {
  const form = document.querySelector('form[data-leave="sign-out"]');
  form?.addEventListener("submit", async (event) => {
    event.preventDefault();
    if ((await queue.waiting(person)).length) await refuse(form, person);
    else await leave(form, person);
  });
}

async function refuse(form, person) {
  document.querySelector("[data-leaving]")?.remove();
  const n = (await queue.waiting(person)).length;
  const now = el("button", { type: "button", class: "button main" }, "Send now, then sign out");
  const hand = el("button", { type: "button", class: "button" }, "Leave them here for the next person to send");
  const stay = el("button", { type: "button", class: "button" }, "Stay signed in");
  const says = el("p", { role: "status" });
  const box = el("div", { class: "summary", role: "alertdialog", "aria-labelledby": "leaving", tabindex: "-1", "data-leaving": true },
    el("h2", { id: "leaving" }, `Not signed out: ${many(n, "entry of yours is", "entries of yours are")} not at the server yet`),
    el("p", {}, "What you leave here stays yours: it is sent under your name, whoever holds the tablet, and shown as waiting until then. Nobody has been told of it yet."),
    el("p", { class: "acts" }, now, hand, el("a", { class: "button", href: "/tablet/entries#text" }, "Show them as text"), stay), says);
  now.addEventListener("click", async () => {
    says.textContent = "Sending…";
    await send();
    const left = (await queue.waiting(person)).length;
    if (left) says.textContent = `${many(left, "entry is", "entries are")} still here. Try where the network reaches, or leave them here.`;
    else await leave(form, person);
  });
  hand.addEventListener("click", () => leave(form, person));
  stay.addEventListener("click", () => box.remove());
  document.getElementById("content").before(box);
  box.focus();
}

async function leave(form, person) {
  if (!(await reached())) return say("Signing out needs the server, and it cannot be reached. Nothing has changed: you are still signed in.");
  await forgetPages();
  await queue.forgetReceived((entry) => entry.person === person);
  await queue.forgetShift(person);
  form.submit();
}
function say(text) {
  document.querySelector("[data-leaving]")?.remove();
  const box = el("p", { class: "summary", role: "alert", tabindex: "-1", "data-leaving": true }, text);
  document.getElementById("content").before(box);
  box.focus();
}
