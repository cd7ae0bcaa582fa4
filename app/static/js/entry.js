// At the motor: says what was understood of each typed figure before it is saved, and drops what the state hides.
// The server reads every figure again by the same rule; without this script nothing is lost but the early word.

// As app/rules/numbers.py reads: one comma or one point, nothing guessed.
export function understood(text) {
  const typed = text.trim().replace("\u2212", "-").replaceAll("\u00a0", "");
  if (!typed) return { blank: true };
  if (typed.length > 12) return { says: "too long for a number" };
  if ((typed.match(/[.,]/g) || []).length > 1) return { says: "more than one comma or point" };
  if (!/^[-+]?(\d+([.,]\d*)?|[.,]\d+)$/.test(typed)) return { says: "not a number" };
  if (/^[-+]?[1-9]\d{0,2}[.,]\d{3}$/.test(typed)) return { says: "can be read two ways" };
  return { value: Number(typed.replace(",", ".")) };
}

function echo(box) {
  const told = box.parentElement.querySelector("output");
  if (!told) return;
  const read = understood(box.value);
  told.classList.toggle("field-error", Boolean(read.says));
  told.textContent = read.blank ? "" : read.says ? read.says : `understood as ${read.value}`;
}

// A second touch on the same choice or Save within 300 ms is a wet glove, not a wish. Never on figures.
function guardTaps(form) {
  const touched = (event) => event.target.closest("label.pick, button");
  let last = { target: null, at: 0 };
  let again = false;
  form.addEventListener("pointerdown", (event) => {
    const target = touched(event);
    again = target !== null && target === last.target && event.timeStamp - last.at < 300;
    if (!again) last = { target, at: event.timeStamp };
  }, true);
  // A tap on a label makes a second click on its input: both belong to one touch.
  form.addEventListener("click", (event) => {
    if (again && touched(event) === last.target) event.preventDefault();
  }, true);
}

// What the chosen state hides is not sent: it was not observed in that state.
function dropHidden(form) {
  form.addEventListener("submit", () => {
    for (const field of form.querySelectorAll(".after-state input, .after-state textarea")) {
      if (field.closest("details:not([open])")) continue;
      field.disabled = field.offsetParent === null;
    }
  });
  addEventListener("pageshow", () => form.querySelectorAll(":disabled").forEach((field) => { field.disabled = false; }));
}

const form = globalThis.document?.querySelector("form.entry");
if (form) {
  for (const box of form.querySelectorAll("input.num[inputmode=decimal]")) {
    box.addEventListener("input", () => echo(box));
    echo(box);
  }
  guardTaps(form);
  dropHidden(form);
}
