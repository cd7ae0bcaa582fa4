// What is half typed at a motor stays on the tablet, for the person who typed it: through a change of hands, the lock of
// an untouched tablet, a closed tab. Closed with a key that stands only in that person's pages; where the browser gives
// no cipher (plain http) it lives no longer than the tab. It is put back with a word that says so, and never filled in
// from anything but what this person typed here.
import { moved } from "./taps.js";

const LIFE_MS = 12 * 3600e3; // one shift: what was felt in an earlier one is not felt now
const STALE_MS = 10 * 60e3;
const PREFIX = "draft:";
const NOT_TYPED = ["csrf_token", "id"];
const store = globalThis.crypto?.subtle ? localStorage : sessionStorage;
const { person, zone } = document.documentElement.dataset;

const bytes = (hex) => Uint8Array.from(hex.match(/../g), (pair) => parseInt(pair, 16));
const text = (array) => btoa(String.fromCharCode(...new Uint8Array(array)));
const back = (string) => Uint8Array.from(atob(string), (c) => c.charCodeAt(0));
const cipher = (hex) => crypto.subtle?.importKey("raw", bytes(hex), "AES-GCM", false, ["encrypt", "decrypt"]);

async function close(key, fields) {
  const plain = new TextEncoder().encode(JSON.stringify(fields));
  if (!crypto.subtle) return { open: fields };
  const iv = crypto.getRandomValues(new Uint8Array(12));
  return { iv: text(iv), shut: text(await crypto.subtle.encrypt({ name: "AES-GCM", iv }, await key, plain)) };
}

async function open(key, kept) {
  if (kept.open) return kept.open;
  const plain = await crypto.subtle.decrypt({ name: "AES-GCM", iv: back(kept.iv) }, await key, back(kept.shut));
  return JSON.parse(new TextDecoder().decode(plain));
}

const names = () => Object.keys(store).filter((name) => name.startsWith(PREFIX));
const read = (name) => { try { return JSON.parse(store.getItem(name)); } catch { return null; } };

// The entry is stored, on the server or in the queue: its draft has done its work.
const stored = new Set();
export function forget(id) {
  stored.add(id); // what is still being closed is put down no more
  for (const name of names()) if (read(name)?.id === id) store.removeItem(name);
}

// Shown when the tablet is out of room: typing goes on, only the net under it is gone.
function put(name, kept) {
  try { store.setItem(name, JSON.stringify(kept)); } catch { store.removeItem(name); }
}

function typed(form) {
  return [...new FormData(form)].filter(([name, value]) => !NOT_TYPED.includes(name) && value !== "");
}

export function fill(form, fields) {
  for (const [name, value] of fields) {
    for (const field of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
      if (field.type === "radio" || field.type === "checkbox") { if (field.value === value) field.checked = true; }
      else if (field.type !== "hidden") field.value = value;
      field.closest("details")?.setAttribute("open", "");
    }
  }
  for (const field of form.querySelectorAll("input, textarea")) field.dispatchEvent(new Event("input", { bubbles: true }));
  form.dispatchEvent(new Event("change", { bubbles: true }));
}

function tell(form, at, startAnew) {
  const clock = new Date(at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone });
  const word = document.createElement("p");
  word.className = "said draft";
  word.setAttribute("role", "status");
  word.textContent = `You began this motor at ${clock}. What you had typed is here again; nothing of it is saved yet. `;
  if (Date.now() - at > STALE_MS) word.textContent += `If you do not stand there now, write ${clock} under “Entered later”. `;
  const empty = document.createElement("button");
  empty.type = "button";
  empty.className = "button plain";
  empty.textContent = "Start with an empty page";
  empty.addEventListener("click", startAnew);
  word.append(empty);
  form.before(word);
  moved();
}

async function keep(form) {
  const name = `${PREFIX}${person}:${form.dataset.draft}`, key = cipher(form.dataset.draftKey), id = form.elements.id;
  let last = Promise.resolve(), began = Date.now(), left = false;
  const kept = read(name);
  const fresh = document.getElementById("errors") === null && typed(form).length === 0;
  if (kept && fresh) {
    try {
      const fields = await open(key, kept);
      fill(form, fields);
      [id.value, began] = [kept.id, kept.at];
      tell(form, began, () => { left = true; store.removeItem(name); location.assign(form.getAttribute("action")); });
    } catch {
      store.removeItem(name); // closed with a key that is no more
    }
  }
  const save = () => {
    last = last.then(async () => {
      const fields = typed(form);
      if (left) return;
      const shut = fields.length ? await close(key, fields) : null;
      if (left || stored.has(id.value)) return;
      if (shut) put(name, { id: id.value, at: began, ...shut });
      else store.removeItem(name);
    });
  };
  form.addEventListener("input", save);
  form.addEventListener("change", save);
}

for (const name of names()) if (!(Date.now() - read(name)?.at < LIFE_MS)) store.removeItem(name);
const saved = /^\/entries\/([0-9a-f-]{36})$/.exec(location.pathname);
if (saved) forget(saved[1]);
function begin() {
  const form = document.querySelector("form.entry[data-draft]");
  if (form && person) keep(form);
}
begin();
document.addEventListener("at-motor", begin);
