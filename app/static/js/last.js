// After the value, the change: asked for only once the new figure is in and the field is left. Then also the question
// whether it is meant. Without script the server asks the same and tells the change after saving.
import { asks } from "./doubt.js";
import { saying, understood } from "./understood.js";

let form = null, known = null;

// Field -> its last and its usual figure. Asked once a page; a page without a network has what the tablet kept.
function past() {
  known ??= fetch(form.dataset.last, { headers: { Accept: "application/json" } })
    .then((answer) => (answer.ok ? answer.json() : Promise.reject(new Error(String(answer.status)))))
    .then((told) => told.figures)
    .catch(() => { known = null; return {}; });
  return known;
}

const plain = (value, places = 2) => String(Number(value.toFixed(places)));
const unitOf = (box) => box.parentElement.querySelector(".unit-of").textContent;

function changeWords(value, last) {
  const change = Number((value - last).toFixed(2));
  const words = change ? `change ${change > 0 ? "+" : "\u2212"}${plain(Math.abs(change))}` : "no change";
  return `last ${plain(last)}, ${words}`;
}

export async function tell(box) {
  const read = understood(box.value);
  const text = box.value.trim();
  if (read.value === undefined) return clear(box);
  const figure = (await past())[box.name];
  if (!figure || box.value.trim() !== text) return undefined;
  const told = form.querySelector(`output[for="${box.id}"]`);
  const same = figure.last === null ? "" : `, ${changeWords(read.value, figure.last)}`;
  told.textContent = saying(box, `understood as ${read.value}${same}`);
  return ask(box, text, read.value, figure);
}

function clear(box) {
  form.querySelector(`.question[data-of="${box.id}"]`)?.remove();
}

function ask(box, text, value, figure) {
  const there = form.querySelector(`.question[data-of="${box.id}"]`);
  if (there && [...there.querySelectorAll("input")].some((pick) => pick.value.startsWith(`kept ${text} as `))) return;
  clear(box);
  if (form.dataset.correcting && box.defaultValue.trim() === text) return; // as it was stored
  const unit = unitOf(box);
  const doubt = asks(value, unit, figure.usual, figure.from_plate);
  if (!doubt) return;
  const meant = `${plain(doubt.meant, 3)} ${unit}`;
  const offered = doubt.unit ? `${text} ${doubt.unit} (= ${meant})` : meant;
  const beside = figure.from_plate ? `the plate says ${plain(figure.usual)} ${unit}` : `${plain(figure.usual)} ${unit} is usual`;
  const place = form.querySelector(`output[for="${box.id}"]`);
  place.after(question(box, text, `${text} ${unit}, where ${beside}. Did you mean ${offered}?`, [
    [`meant ${text} as ${plain(doubt.meant, 6)} ${doubt.unit ?? ""}`.trim(), offered],
    [`kept ${text} as ${offered}`, `No, ${text} ${unit}`]]));
}

function question(box, text, says, picks) {
  const group = Object.assign(document.createElement("div"), { className: "question" });
  group.dataset.of = box.id;
  group.setAttribute("role", "group");
  group.setAttribute("aria-labelledby", `${box.id}-asked`);
  group.append(Object.assign(document.createElement("p"), { id: `${box.id}-asked`, textContent: says }));
  for (const [value, words] of picks) {
    const pick = Object.assign(document.createElement("label"), { className: "pick" });
    pick.append(Object.assign(document.createElement("input"), { type: "radio", name: `sure_${box.name}`, value }),
      Object.assign(document.createElement("span"), { textContent: words }));
    group.append(pick);
  }
  group.setAttribute("aria-live", "polite");
  return group;
}

// Save waits for an answer: the question comes into view instead.
function unanswered(event) {
  const open = [...form.querySelectorAll(".question")].find((group) => !group.querySelector(":checked"));
  if (!open || open.offsetParent === null) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  open.scrollIntoView({ block: "center" });
  open.querySelector("input").focus();
}

function begin() {
  form = document.querySelector("form.entry[data-last]");
  known = null;
  if (!form) return;
  form.addEventListener("focusout", ({ target }) => { if (target.matches("input.num[inputmode]")) tell(target); });
  form.addEventListener("submit", unanswered, true);
}
begin();
document.addEventListener("at-motor", begin);
