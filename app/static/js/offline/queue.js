// What was entered on this tablet, kept in the browser's own database before anything else happens to it.
// An entry: { id, kind, person, name, ticket, shift, motor, body, typed, fields, madeAt, state, findings, later, guide,
// receivedAt, answer, problem }. state: "waiting" | "received" | "attention". Newer releases only add to it.
const NAME = "round-sheet", VERSION = 1;
const ENTRIES = "entries", SHIFTS = "shifts", NOTES = "notes";
export const WAITING = "waiting", RECEIVED = "received", ATTENTION = "attention";

const heard = new EventTarget();
const channel = "BroadcastChannel" in globalThis ? new BroadcastChannel(NAME) : null;
if (channel) channel.onmessage = () => heard.dispatchEvent(new Event("change"));

export const onChange = (call) => heard.addEventListener("change", call);
export function tell() {
  heard.dispatchEvent(new Event("change"));
  channel?.postMessage("change");
}

// ids in the order of making: UUID version 7 (RFC 9562), without crypto.randomUUID, which plain http does not have
let lastMs = 0, count = 0;
export function newId(now = Date.now()) {
  count = now > lastMs ? 0 : count + 1;
  lastMs = Math.max(now, lastMs);
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const ms = lastMs + Math.floor(count / 4096);
  for (let i = 0; i < 6; i++) bytes[i] = Math.floor(ms / 2 ** (8 * (5 - i))) % 256;
  bytes[6] = 0x70 | ((count % 4096) >> 8);
  bytes[7] = count % 256;
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

// the database -----------------------------------------------------------------------------------------------
let opened;
function open() {
  opened ??= new Promise((done, fail) => {
    const ask = indexedDB.open(NAME, VERSION);
    ask.onupgradeneeded = () => {
      for (const [store, key] of [[ENTRIES, "id"], [SHIFTS, "person"], [NOTES, "name"]]) {
        if (!ask.result.objectStoreNames.contains(store)) ask.result.createObjectStore(store, { keyPath: key });
      }
    };
    ask.onsuccess = () => {
      ask.result.onversionchange = () => { ask.result.close(); opened = undefined; };
      ask.result.onclose = () => { opened = undefined; };
      done(ask.result);
    };
    ask.onerror = () => { opened = undefined; fail(ask.error); };
    ask.onblocked = () => fail(new Error("another page of an earlier release is open"));
  }).catch((error) => {
    opened = undefined;
    if (error?.name === "VersionError") return newer();
    throw error;
  });
  return opened;
}
// A newer release made it already: this page of an earlier one goes on with it, what it knows is still there.
const newer = () => new Promise((done, fail) => {
  const ask = indexedDB.open(NAME);
  ask.onsuccess = () => done(ask.result);
  ask.onerror = () => fail(ask.error);
});

// Done only when the disk has it: a tablet that is switched off the moment after has lost nothing. RELAXED is for what the
// server or the next try tells once more.
const STRICT = "strict", RELAXED = "relaxed";
async function write(store, work, durability = STRICT) {
  const base = await open();
  return new Promise((done, fail) => {
    const step = base.transaction(store, "readwrite", { durability });
    let given;
    step.oncomplete = () => done(given);
    step.onabort = step.onerror = () => fail(step.error ?? new Error("the tablet's store refused it"));
    work(step.objectStore(store), (value) => { given = value; });
  });
}
async function read(store, ask) {
  const base = await open();
  return new Promise((done, fail) => {
    const asked = ask(base.transaction(store).objectStore(store));
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
}

// entries ----------------------------------------------------------------------------------------------------
export const get = (id) => read(ENTRIES, (store) => store.get(id));
export const all = () => read(ENTRIES, (store) => store.getAll()); // in the order of making: the key is the id
export const not = (state) => (entry) => entry.state !== state;
// What the server does not have yet, of one person or of everybody.
export const waiting = async (person) =>
  (await all()).filter((e) => e.state !== RECEIVED && (person === undefined || e.person === person));

export async function add(entry, instead) {
  await write(ENTRIES, (store) => {
    store.add({ ...entry, state: WAITING });
    if (instead) store.delete(instead);
  });
  tell();
}
// Changes one entry where it still is as it was found: what another page took back is not brought to life again.
export async function change(id, patch) {
  const changed = await write(ENTRIES, (store, give) => {
    store.get(id).onsuccess = (event) => {
      if (!event.target.result) return;
      const entry = { ...event.target.result, ...patch };
      store.put(entry);
      give(entry);
    };
  }, patch.state === RECEIVED ? RELAXED : STRICT);
  tell();
  return changed;
}
// Takes back an entry that never left the tablet. False where it was sent, or may have been: that is a correction.
export async function takeBack(id) {
  const gone = await write(ENTRIES, (store, give) => {
    store.get(id).onsuccess = (event) => {
      const entry = event.target.result;
      if (!entry || entry.state === RECEIVED || (entry.tried && entry.state !== ATTENTION)) return give(false);
      store.delete(id);
      give(true);
    };
  });
  tell();
  return gone;
}
export async function forgetReceived(wanted) {
  await write(ENTRIES, (store) => {
    store.openCursor().onsuccess = (event) => {
      const cursor = event.target.result;
      if (!cursor) return;
      if (cursor.value.state === RECEIVED && wanted(cursor.value)) cursor.delete();
      cursor.continue();
    };
  });
  tell();
}

// the shift, and small notes such as when the server last answered -------------------------------------------------
export const keepShift = (shift) => write(SHIFTS, (store) => store.put(shift));
export const shiftOf = (person) => read(SHIFTS, (store) => store.get(person));
export const forgetShift = (person) => write(SHIFTS, (store) => store.delete(person));
export const note = (name, value) => write(NOTES, (store) => store.put({ name, value }), RELAXED);
export const noted = async (name) => (await read(NOTES, (store) => store.get(name)))?.value;
