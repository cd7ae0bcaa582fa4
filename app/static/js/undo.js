// Undo is offered for ten seconds after Save, then goes; the server takes it a little longer, for the way there. The
// tablet's own list forgets the entry too. What is not sent yet is taken back on the tablet's result page instead.
import { forgetReceived } from "./offline/queue.js";

const form = document.querySelector("form.undo");
const shown = form?.querySelector("[data-left-shown]");
let left = Number(form?.dataset.left ?? 0);

function tick() {
  if (left <= 0) {
    form.remove();
    return;
  }
  shown.textContent = `${left} s`;
  left -= 1;
  setTimeout(tick, 1000);
}

async function undo(event) {
  event.preventDefault();
  if (!navigator.onLine) {
    shown.textContent = "needs the network: correct it later";
    return;
  }
  await forgetReceived((entry) => entry.id === form.dataset.entry).catch(() => undefined);
  form.submit();
}

if (form) {
  tick();
  form.addEventListener("submit", undo);
}
