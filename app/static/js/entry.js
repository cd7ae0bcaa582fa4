// At the motor: says what was understood of each typed figure before it is saved. The server reads every figure again
// by the same rule; without this script nothing is lost but the early word.
import "./last.js";
import "./number_keys.js";
import { saying, understood } from "./understood.js";

export { understood };

function echo(box) {
  const told = box.form.querySelector(`output[for="${box.id}"]`);
  if (!told) return;
  const read = understood(box.value);
  told.classList.toggle("field-error", Boolean(read.says));
  told.textContent = read.blank ? "" : saying(box, read.says ?? `understood as ${read.value}`);
}

function begin() {
  for (const box of document.querySelectorAll("form.entry input.num[inputmode=decimal]")) {
    box.addEventListener("input", () => echo(box));
    echo(box);
  }
}
begin();
document.addEventListener("at-motor", begin);
