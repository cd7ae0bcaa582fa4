// Counts down to the server's instant by the server's clock. The tablet's own clock may be wrong, be put right in the
// middle of it, or stop while the tablet sleeps: whenever its two clocks disagree, the server is asked again. The answer
// is the server's to give. Without the network it may say "not before", never "yes".
const kept = document.documentElement.dataset.kept; // the page came from the tablet: its yes is of another moment
const YES_HOLDS_S = kept ? 0 : 60; // another crew may have started it meanwhile
let answer = document.querySelector("[data-answer]");
let told, wall, steady; // the server's now as told with the answer, and the tablet's two clocks at that moment
let asking = false, ended = false, timer;

const began = () => {
  told = Date.parse(answer.dataset.now);
  wall = Date.now();
  steady = performance.now();
  ended = false;
};
const passed = () => {
  const byWall = Date.now() - wall, bySteady = performance.now() - steady;
  if (Math.abs(byWall - bySteady) > 2000) ask();
  return Math.max(0, Math.min(byWall, bySteady)); // while they disagree: the longer wait
};
const words = (left) => {
  const hours = left >= 3600 ? `${Math.floor(left / 3600)} h ` : "";
  return `${hours}${Math.floor((left % 3600) / 60)} min ${String(left % 60).padStart(2, "0")} s left`;
};

async function ask() {
  if (asking) return;
  asking = true;
  try {
    const reply = await fetch(location.href, { cache: "no-store" });
    if (!reply.ok || reply.redirected) return location.reload();
    const page = new DOMParser().parseFromString(await reply.text(), "text/html");
    const newer = page.querySelector("[data-answer]");
    if (!newer) return location.reload();
    for (const name of ["[data-answer]", "[data-condition]"]) {
      document.querySelector(name).replaceWith(document.adoptNode(page.querySelector(name)));
    }
    answer = document.querySelector("[data-answer]");
    began();
  } catch {
    // No network: the count goes on, and what it ends in is a question, not a yes.
  } finally {
    asking = false;
  }
}

function tick() {
  clearTimeout(timer);
  const gone = passed();
  const word = answer.querySelector("[data-word]"), left = answer.querySelector("[data-countdown]");
  if (answer.dataset.answer === "not before") {
    const rest = Math.ceil((Date.parse(answer.dataset.notBefore) - told - gone) / 1000);
    if (rest > 0) {
      left.textContent = words(rest);
      answer.querySelector("[data-as-of]").hidden = true;
    } else {
      left.textContent = "Time is up here; the server has not answered. Ask again before you start.";
      ask();
    }
  } else if (answer.dataset.answer === "yes" && gone >= YES_HOLDS_S * 1000 && !ended) {
    ended = true;
    answer.classList.replace("go", "wait");
    word.textContent = kept ? "Not known without the network: ask the control room"
        : "Ask again: this answer is over a minute old";
  }
  timer = setTimeout(tick, 1000 - (gone % 1000));
}

if (answer) {
  began();
  tick();
  const back = () => !document.hidden && ask().then(tick);
  document.addEventListener("visibilitychange", back);
  addEventListener("pageshow", (event) => event.persisted && ask().then(tick));
}
