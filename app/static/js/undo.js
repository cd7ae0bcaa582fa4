// Undo is offered for ten seconds after Save, then goes; the server takes it a little longer, for the way there.
// What is not sent yet is taken back on the tablet: whoever keeps it may stop the event and do so.
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

form?.addEventListener("submit", (event) => {
  const asked = new CustomEvent("undo", { bubbles: true, cancelable: true, detail: { action: form.action } });
  if (!form.dispatchEvent(asked)) event.preventDefault();
});
if (form) tick();
