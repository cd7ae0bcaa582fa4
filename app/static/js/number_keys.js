// Number keys of our own, for a gloved thumb. They come up where a finger touches a figure and the device is set to
// them; a keyboard, a mouse or the tablet's own keys type as ever. No guard against quick touches here: 77 is two.
let pad = null;
const FIGURE = "form.entry input.num[inputmode]";
const wanted = (box) => touched && !box.dataset.system && document.documentElement.dataset.keys !== "tablet";
let field = null;
let touched = false;

export function figures() {
  return [...document.querySelectorAll(FIGURE)].filter((box) => box.offsetParent);
}

function open(box) {
  field = box;
  pad.hidden = false;
  document.documentElement.classList.add("typing");
  pad.querySelector(".keys-for").textContent = nameOf(box);
  pad.querySelector("[data-key=next]").textContent = following() ? "Next" : "Done";
  show();
  box.scrollIntoView({ block: "nearest" });
}

function close() {
  field = null;
  pad.hidden = true;
  document.documentElement.classList.remove("typing");
}

function nameOf(box) {
  return box.getAttribute("aria-label") || box.labels[0]?.textContent || "";
}

function show() {
  pad.querySelector(".keys-shows").textContent = field.value || "–";
  pad.querySelector(".keys-says").textContent = field.parentElement.querySelector(".unit-of")?.textContent ?? "";
}

// The next figure of the page that is still empty, in walking order.
function following() {
  const all = figures();
  return all.slice(all.indexOf(field) + 1).find((box) => !box.value);
}

function type(key) {
  if (key === "tablet") return systemKeys();
  if (key === "next") {
    const next = following();
    field.blur();
    if (!next) return undefined;
    next.inputMode = "none";
    next.focus();
    return undefined;
  }
  const { selectionStart: from, selectionEnd: to, value } = field;
  if (key === "back") field.setRangeText("", from === to ? Math.max(from - 1, 0) : from, to, "end");
  else if (key === "-") field.value = value.startsWith("-") ? value.slice(1) : `-${value}`;
  else field.setRangeText(key, from, to, "end");
  field.dispatchEvent(new InputEvent("input", { bubbles: true }));
  return show();
}

// For once the tablet's own keyboard: the field is left and entered again, so that it comes up.
function systemKeys() {
  const box = field;
  box.blur();
  box.inputMode = "decimal";
  box.dataset.system = "1";
  box.focus();
}

function begin() {
  pad = document.querySelector(".number-keys");
  field = null;
  document.documentElement.classList.remove("typing");
  // A key must not take the focus from the figure that it types into.
  pad?.addEventListener("mousedown", (event) => event.preventDefault());
  pad?.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]")?.dataset.key;
    if (key && field) type(key);
  });
}
begin();
document.addEventListener("at-motor", begin);

if (pad) {
  // Before the focus comes: later, the tablet's own keyboard would already be on its way.
  document.addEventListener("pointerdown", ({ pointerType, target }) => {
    touched = pointerType !== "mouse";
    if (target.matches?.(FIGURE)) target.inputMode = wanted(target) ? "none" : "decimal";
  }, true);
  document.addEventListener("keydown", () => { touched = false; }, true);
  document.addEventListener("focusin", ({ target }) => {
    if (target.matches(FIGURE) && wanted(target)) open(target);
  });
  // After the touch that took the focus has done its work: nothing may move under a finger.
  document.addEventListener("focusout", ({ target }) => {
    if (target === field) setTimeout(() => { if (document.activeElement !== field) close(); });
  });
  document.addEventListener("input", ({ target }) => { if (target === field) show(); });
}
