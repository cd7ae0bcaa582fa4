// Brings what waits on this tablet to the server. Only an answer that repeats the entry's own id counts: a sign-in page,
// a guest network's portal or a proxy in between may answer 200 to anything.
import * as queue from "./queue.js";
import { oneAtATime } from "./turns.js";

const SEND_WITHIN_MS = 15000, EVERY_MS = 60000, SOON_MS = 3000;
const DOOR = { readings: "/tablet/readings", greasings: "/tablet/greasings", starts: "/tablet/starts",
  stops: "/tablet/stops", trips: "/tablet/trips" };
// Not a word on this entry: the server is away, too busy, or wants a person first.
const NOT_NOW = new Set([401, 408, 425, 429]);

// One pass over everything that waits, in the order of making. Resolves when nothing more can be done now.
export const send = oneAtATime(() => alone(pass));

// Of several pages of this tablet one sends; where the browser has no locks the server still keeps each entry once.
const alone = (work) => (navigator.locks
  ? navigator.locks.request("round-sheet-send", { ifAvailable: true }, (held) => (held ? work() : elsewhere()))
  : work());
const elsewhere = () => undefined;

// On a line that comes and goes: as long as something got through, the rest is tried again at once.
async function pass() {
  for (let told = [GONE, DONE]; told.includes(GONE) && told.includes(DONE);) {
    told = [];
    for (const entry of (await queue.all()).filter((e) => e.state === queue.WAITING)) {
      told.push(await sendOne(entry));
      if (told.at(-1) === GONE) break; // no server: the others need not be tried
    }
    soon(told.at(-1) === GONE);
  }
}
// After a silence sooner than the minute, then less and less often: in a dead spot the battery counts.
let timer, pause = SOON_MS;
function soon(gone) {
  clearTimeout(timer);
  if (!gone) pause = SOON_MS;
  else if (pause < EVERY_MS) {
    timer = setTimeout(send, pause);
    pause *= 2;
  }
}

// What came of one entry: the server spoke its last word on it, or wants it later, or was not there.
const DONE = "done", LATER = "later", GONE = "gone";

async function sendOne(entry) {
  // From here on nobody can say that the server does not have it. Without any network it has not left the tablet.
  if (navigator.onLine && !entry.tried && !(await queue.change(entry.id, { tried: true }))) return LATER;
  try {
    const [answer, told] = await post(entry), ours = told?.id === entry.id;
    const noted = queue.note("contact", { ok: ours, at: Date.now() });
    const came = ours ? await keep(entry, answer, told) : null; // somebody waits for this one
    await noted;
    if (ours) return came;
    queue.tell();
    return answer.status >= 500 ? LATER : GONE; // our own server in trouble over one entry must not hold up the others
  } catch {
    await queue.note("contact", { ok: false, at: Date.now() });
    queue.tell();
    return GONE;
  }
}

async function post(entry) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), SEND_WITHIN_MS);
  const ticket = entry.ticket ?? (await queue.shiftOf(entry.person))?.ticket;
  const body = { ...entry.body, device_now: new Date().toISOString() };
  if (entry.typed && Object.keys(entry.typed).length) body.typed = entry.typed;
  try {
    const answer = await fetch(DOOR[entry.kind], {
      method: "POST", body: JSON.stringify(body), redirect: "error", cache: "no-store", signal: stop.signal,
      headers: { "Content-Type": "application/json", Accept: "application/json", ...(ticket ? { Ticket: ticket } : {}) },
    });
    return [answer, await answer.json().catch(() => null)]; // a line that goes dead in the middle is waited for no longer
  } finally {
    clearTimeout(timer);
  }
}

async function keep(entry, answer, told) {
  if (answer.ok) {
    await queue.change(entry.id, { state: queue.RECEIVED, receivedAt: answer.headers.get("Received-At"),
      answer: told.findings, problem: null });
    return DONE;
  }
  const problem = { status: answer.status, detail: told.detail, errors: told.errors ?? [] };
  const later = answer.status >= 500 || NOT_NOW.has(answer.status);
  await queue.change(entry.id, later ? { problem } : { state: queue.ATTENTION, problem });
  return later ? LATER : DONE;
}

export function sendWhenever() {
  send();
  addEventListener("online", send);
  addEventListener("focus", send);
  document.addEventListener("visibilitychange", () => document.hidden || send());
  setInterval(send, EVERY_MS);
}

// Resolves with the entry once the server has it or has refused it, or with what it is now when the time is over.
export function settled(id, withinMs) {
  return new Promise((done) => {
    const look = async () => {
      const entry = await queue.get(id);
      if (!entry || entry.state !== queue.WAITING || entry.problem) finish(entry);
    };
    const finish = (entry) => {
      clearTimeout(timer);
      done(entry);
    };
    const timer = setTimeout(async () => done(await queue.get(id)), withinMs);
    queue.onChange(look);
    send().then(look);
  });
}

// Whether the server itself answers now.
export async function reached() {
  try {
    return (await fetch("/healthz", { cache: "no-store", redirect: "error", signal: AbortSignal.timeout(5000) })).ok;
  } catch {
    return false;
  }
}
