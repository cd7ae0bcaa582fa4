// Undo is offered for ten seconds after Save, then goes; the server takes it a little longer, for the way there. The
// tablet's own list forgets the entry too. What is not sent yet is taken back on the tablet's result page instead.
import { forgetReceived } from "./offline/queue.js";
import { reached } from "./offline/sender.js";

function tick(form, left) {
  if ("asked" in form.dataset) return; // what comes of it is said for as long as the page is there
  if (left <= 0) {
    form.classList.add("over"); // its place stays: "Sheet" must not slide under the finger that was on its way
    return;
  }
  form.querySelector("[data-left-shown]").textContent = `${left} s`;
  setTimeout(tick, 1000, form, left - 1);
}

async function undo(event) {
  event.preventDefault();
  const form = event.currentTarget;
  form.dataset.asked = "";
  if (!(await reached())) {
    form.querySelector("[data-left-shown]").textContent = "needs the network: correct it later";
    return;
  }
  await forgetReceived((entry) => entry.id === form.dataset.entry).catch(() => undefined);
  form.submit();
}

// On this page as it was opened, or as it was shown in the place of another one.
export function offer() {
  const form = document.querySelector("form.undo:not([data-offered])");
  if (!form) return;
  form.dataset.offered = "";
  tick(form, Number(form.dataset.left));
  form.addEventListener("submit", undo);
}
offer();
