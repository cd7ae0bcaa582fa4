// Counts down to the server's instant by the server's clock. The tablet's own clock may be wrong, be put right in the
// middle of it, or stop while the tablet sleeps: whenever its two clocks disagree, the server is asked again. The answer
// is the server's to give. Without the server this page says what offline/not_before.js may say, and never "yes".
import { clockAhead, earliest, enteredHere, inWords, startFactsOf, wallTime } from "./offline/not_before.js";
import { oneAtATime } from "./offline/turns.js";
import { moved } from "./taps.js";

const YES_HOLDS_S = 60; // another crew may have started it meanwhile
const ASK_AGAIN_S = 20; // while the server does not answer
let answer = document.querySelector("[data-answer]");
let facts = startFactsOf(document);
let kept = document.documentElement.dataset.kept; // the page came from the tablet, made then by the tablet's clock
let told, wall, steady; // the server's now as told with the answer, and the tablet's two clocks at that moment
let asking = false, alone = false, lastAsked = 0, entered = [], timer;

const began = (then = kept ? Date.parse(kept) : Date.now()) => {
  told = Date.parse(answer.dataset.now);
  wall = then;
  steady = performance.now() - (Date.now() - wall);
};
const passed = () => {
  const byWall = Date.now() - wall, bySteady = performance.now() - steady;
  if (Math.abs(byWall - bySteady) > 2000 && !asking) ask();
  return Math.max(0, Math.min(byWall, bySteady)); // while they disagree: the longer wait
};
const words = (left) => {
  const hours = left >= 3600 ? `${Math.floor(left / 3600)} h ` : "";
  return `${hours}${Math.floor((left % 3600) / 60)} min ${String(left % 60).padStart(2, "0")} s left`;
};

// The network may come back while the last question waits in vain for its answer: then it is asked once more at once.
const ask = oneAtATime(async () => {
  asking = true;
  lastAsked = performance.now();
  try {
    const reply = await fetch(location.href, { cache: "no-store" });
    if (!reply.ok || reply.redirected) return location.reload();
    const page = new DOMParser().parseFromString(await reply.text(), "text/html");
    const newer = page.querySelector("[data-answer]");
    if (!newer) return location.reload();
    for (const name of ["[data-answer]", "[data-condition]"]) {
      document.querySelector(name).replaceWith(document.adoptNode(page.querySelector(name)));
    }
    moved(); // a touch on its way was for the answer before
    answer = document.querySelector("[data-answer]");
    facts = startFactsOf(page);
    delete document.documentElement.dataset.kept;
    kept = undefined;
    alone = false;
    began();
  } catch {
    // no network: from here on only what is known here
    const ahead = kept ? await clockAhead(document.documentElement.dataset.person, wall - told) : wall - told;
    if (kept) began(told + ahead);
    entered = facts ? await enteredHere(facts, ahead) : [];
    alone = true;
  } finally {
    asking = false;
  }
});

// A yes is over after a minute, one from the tablet at once; so is any other answer when the server is not there.
function tick() {
  clearTimeout(timer);
  const gone = passed(), isYes = answer.dataset.answer === "yes";
  const left = answer.querySelector("[data-countdown]"), rest = restOf(gone);
  if (isYes && (kept || gone >= YES_HOLDS_S * 1000)) saysNothing();
  if (alone) drawAlone(told + gone);
  else if (answer.dataset.answer === "not before" && rest > 0) {
    left.textContent = words(rest);
    answer.querySelector("[data-as-of]").hidden = true;
  }
  const over = answer.dataset.answer === "not before" && rest <= 0;
  if ((alone || over) && !asking && performance.now() - lastAsked > ASK_AGAIN_S * 1000 * Number(alone)) ask();
  timer = setTimeout(tick, 1000 - (gone % 1000));
}
const restOf = (gone) => Math.ceil((Date.parse(answer.dataset.notBefore) - told - gone) / 1000);

function saysNothing() {
  answer.classList.replace("go", "wait");
  answer.querySelector("[data-word]").textContent = "Ask again: this answer is over a minute old";
}

// The server's answer gives way to what this tablet knows: the figures beside it are of then.
function drawAlone(now) {
  const found = facts ? earliest(facts, entered, now) : null;
  const [word, says] = facts ? inWords(facts, found, now) : ["Ask the control room", "There is no network here."];
  const rest = found?.until ? Math.ceil((found.until - now) / 1000) : 0;
  answer.classList.remove("go", "wait", "no", "runs");
  answer.classList.add(found?.no ? "no" : "wait");
  const lines = [["word", word], ["left", rest > 0 ? words(rest) : ""], ["", says]].filter(([, text]) => text);
  const there = answer.querySelector("[data-alone]") ?? begin();
  lines.forEach(([name, text], i) => {
    const line = there.children[i] ?? there.appendChild(document.createElement("p"));
    line.className = name;
    if (line.textContent !== text) line.textContent = text;
  });
  while (there.children.length > lines.length) there.lastChild.remove();
}
const inUnit = (at) => (facts ? wallTime(at, facts.zone, at).slice(0, 5) : "before");
function begin() {
  for (const part of answer.querySelectorAll(":scope > :not(h2, .acts)")) part.hidden = true;
  const there = document.createElement("div");
  there.dataset.alone = "";
  answer.querySelector("h2").after(there);
  document.querySelector("[data-condition] .sub").append(` · as of ${inUnit(told)}`);
  return there;
}

if (answer) {
  began();
  if (kept) ask().then(tick);
  tick();
  const back = () => !document.hidden && ask().then(tick);
  document.addEventListener("visibilitychange", back);
  addEventListener("pageshow", (event) => event.persisted && ask().then(tick));
  addEventListener("online", () => ask().then(tick));
}
