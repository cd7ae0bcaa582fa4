// Brings what waits on this tablet to the server. Only an answer that repeats the entry's own id counts: a sign-in page,
// a guest network's portal or a proxy in between may answer 200 to anything.
import * as queue from "./queue.js";

const SEND_WITHIN_MS = 15000, EVERY_MS = 60000;
const DOOR = { readings: "/tablet/readings", greasings: "/tablet/greasings", starts: "/tablet/starts",
  stops: "/tablet/stops", trips: "/tablet/trips" };
// Not a word on this entry: the server is away, too busy, or wants a person first.
const LATER = new Set([401, 408, 425, 429]);

let running = null, again = false;

// One pass over everything that waits, in the order of making. Resolves when nothing more can be done now.
export function send() {
  if (running) {
    again = true;
    return running;
  }
  running = alone(pass).finally(() => {
    running = null;
    if (again) {
      again = false;
      send();
    }
  });
  return running;
}

// Of several pages of this tablet one sends; where the browser has no locks the server still keeps each entry once.
const alone = (work) => (navigator.locks
  ? navigator.locks.request("round-sheet-send", { ifAvailable: true }, (held) => (held ? work() : elsewhere()))
  : work());
const elsewhere = () => undefined;

async function pass() {
  for (const entry of (await queue.all()).filter((e) => e.state === queue.WAITING)) {
    if (!(await sendOne(entry))) return;
  }
}

// False where there is no server: then the others need not be tried.
async function sendOne(entry) {
  let answer;
  // From here on nobody can say that the server does not have it. Without any network it has not left the tablet.
  if (navigator.onLine && !entry.tried && !(await queue.change(entry.id, { tried: true }))) return true;
  try {
    answer = await post(entry);
  } catch {
    await queue.note("contact", { ok: false, at: Date.now() });
    queue.tell();
    return false;
  }
  const told = await answer.json().catch(() => null);
  if (told?.id !== entry.id) {
    await queue.note("contact", { ok: false, at: Date.now(), status: answer.status });
    queue.tell();
    return answer.status >= 500; // our own server in trouble over one entry must not hold up the others
  }
  await queue.note("contact", { ok: true, at: Date.now() });
  await keep(entry, answer, told);
  return true;
}

async function post(entry) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), SEND_WITHIN_MS);
  const ticket = entry.ticket ?? (await queue.shiftOf(entry.person))?.ticket;
  const body = { ...entry.body, device_now: new Date().toISOString() };
  if (entry.typed && Object.keys(entry.typed).length) body.typed = entry.typed;
  try {
    return await fetch(DOOR[entry.kind], {
      method: "POST", body: JSON.stringify(body), redirect: "error", cache: "no-store", signal: stop.signal,
      headers: { "Content-Type": "application/json", Accept: "application/json", ...(ticket ? { Ticket: ticket } : {}) },
    });
  } finally {
    clearTimeout(timer);
  }
}

async function keep(entry, answer, told) {
  if (answer.ok) {
    await queue.change(entry.id, { state: queue.RECEIVED, receivedAt: answer.headers.get("Received-At"),
      answer: told.findings, problem: null });
  } else if (answer.status >= 500 || LATER.has(answer.status)) {
    await queue.change(entry.id, { problem: { status: answer.status, detail: told.detail } });
  } else {
    await queue.change(entry.id, { state: queue.ATTENTION,
      problem: { status: answer.status, detail: told.detail, errors: told.errors ?? [] } });
  }
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
