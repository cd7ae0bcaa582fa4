// Wet gloves touch twice. A second touch on the same control within 300 ms is none, and one that falls through to the
// page after it is none either. Never on number keys, where 77 is typed by two quick touches.
const TOO_SOON_MS = 300;
const GUARDED = "label.pick, button:not(.key), a.button, summary";
const now = () => performance.timeOrigin + performance.now();

let last = { target: null, at: -Infinity };
let again = false;

document.addEventListener("pointerdown", (event) => {
  const target = event.target.closest(GUARDED);
  again = target !== null && target === last.target && event.timeStamp - last.at < TOO_SOON_MS;
  if (!again) last = { target, at: event.timeStamp };
  if (target) remember();
}, true);

// A tap on a label makes a second click on its input: both belong to one touch.
document.addEventListener("click", (event) => {
  if (!again || !event.detail || event.target.closest(GUARDED) !== last.target) return; // detail 0: the keyboard
  event.preventDefault();
  event.stopImmediatePropagation();
}, true);

function remember() {
  try {
    sessionStorage.setItem("touched", String(now()));
  } catch {
    // a browser that keeps nothing: the guard of this page is left
  }
}

// For a moment nothing on this page answers.
let deaf = 0;
function deafFor(ms) {
  const show = (by) => document.documentElement.classList.toggle("settling", (deaf += by) > 0);
  show(1);
  setTimeout(() => show(-1), ms);
}

// The page moved by itself: a touch that was on its way is meant for what stood there before.
export const moved = () => deafFor(TOO_SOON_MS);

// The touch that brought us here may bounce: until it is over, nothing on this page answers. Asked for again where a
// page is shown in the place of another one.
export function settle() {
  let touched = -Infinity;
  try {
    touched = Number(sessionStorage.getItem("touched") ?? -Infinity);
  } catch {
    return;
  }
  const left = TOO_SOON_MS - (now() - touched);
  if (left > 0 && left <= TOO_SOON_MS) deafFor(left);
}
settle();
