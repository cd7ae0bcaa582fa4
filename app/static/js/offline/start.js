// On every page: the worker, the queue, the line that says how they stand. One page, one start.
import * as queue from "./queue.js";
import { moved } from "../taps.js";
import { el } from "./dom.js";
import { holdForms } from "./hold.js";
import { guardSignOut } from "./leaving.js";
import { drawList } from "./list.js";
import { keepForms } from "./save.js";
import { sendWhenever } from "./sender.js";
import { registerWorker, storage, takeAlong } from "./shift.js";
import { drawSheet, drawStrip } from "./strip.js";
import { oneAtATime } from "./turns.js";

const KEEP_RECEIVED_MS = 24 * 3600 * 1000, DRAW_MS = 15000;
const page = document.documentElement, person = page.dataset.person;
const line = document.querySelector("[data-on-tablet]"), list = document.querySelector("[data-entries]");
const onSheet = /^\/(sheet)?$/.test(location.pathname);
let room = null;

const draw = oneAtATime(async () => {
  await drawStrip(line, person, room);
  if (onSheet && person) await drawSheet(person);
  if (list?.isConnected) await drawList(list, person);
});

// The sentence of the page before, as the server's own are shown.
function sayOnce() {
  const said = sessionStorage.getItem("said");
  sessionStorage.removeItem("said");
  if (!said) return;
  document.getElementById("content").before(el("div", { class: "said", role: "status" }, said));
  moved();
}

// From the list to one of its entries or to its text, and back. What stands in the list's place gives way to it.
function stepped() {
  if (location.pathname !== "/tablet/entries" || location.hash === "#content") return;
  if (list?.isConnected) draw();
  else location.reload();
}

// The next motor's form, shown in the place of the last result.
async function nextMotor() {
  keepForms();
  await draw();
  await takeAlong(person, false);
}

async function start() {
  sayOnce();
  registerWorker();
  keepForms();
  document.addEventListener("at-motor", nextMotor);
  if (person) guardSignOut(person);
  queue.onChange(draw);
  addEventListener("hashchange", stepped);
  await queue.forgetReceived((entry) => Date.now() - Date.parse(entry.madeAt) > KEEP_RECEIVED_MS);
  await draw();
  sendWhenever();
  if (!person) return;
  await takeAlong(person, onSheet);
  if (onSheet || (await queue.waiting()).length) room = await storage();
  await draw();
  setInterval(draw, DRAW_MS); // what another page or the worker did meanwhile
}

holdForms();
if (line && "indexedDB" in globalThis) {
  start().catch((error) => {
    line.hidden = false;
    line.textContent = "This browser keeps nothing on the tablet: each entry goes straight to the server.";
    console.warn(error);
  });
}
