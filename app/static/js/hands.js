// An enrolled tablet goes from hand to hand. "Not you?" and a tablet that nobody touches end the sign-in and bring up
// the names. Without the network nobody's PIN can be checked: then the tablet asks whether it is still the same person,
// and says that nobody else can take over here.
const form = document.querySelector('form[data-leave="change-hands"]');
const name = form.dataset.name, idleMs = form.dataset.idleMin * 60e3, tellMs = Math.min(idleMs / 3, 120e3);
const onward = () => `/sign-in?next=${encodeURIComponent(form.elements.next.value || "/")}`;
let touched = Date.now(), told = Date.now(), leaving = false;

const send = (path) => fetch(path, { method: "POST", body: new FormData(form), redirect: "manual", cache: "no-store" });

async function leave() {
  if (leaving) return true;
  leaving = true;
  try {
    await send(form.getAttribute("action"));
    await forget();
    location.replace(onward()); // not by Back: the page just left is not the next one's
    return true;
  } catch {
    leaving = false;
    return false;
  }
}

// What this person has sent is at the server; the tablet keeps only what still waits, under its author.
async function forget() {
  try {
    const queue = await import("./offline/queue.js"), { person } = document.documentElement.dataset;
    await queue.forgetReceived((entry) => entry.person === person);
    await queue.forgetShift(person);
  } catch {
    // no store on this tablet: then nothing is kept in it either
  }
}

const WHY = "Without the network nobody else can sign in here: a PIN is checked by the server. Carry the tablet to where "
  + "it reaches the network. Until then write on paper, and enter it later with the time you saw it.";

function ask(title, words) {
  if (document.querySelector(".screen-lock")) return;
  const lock = document.createElement("dialog");
  lock.className = "screen-lock";
  lock.setAttribute("aria-labelledby", "lock-title");
  const add = (tag, content, more = {}) => lock.appendChild(Object.assign(document.createElement(tag), { textContent: content, ...more }));
  add("h1", title, { id: "lock-title" });
  add("p", words);
  const yes = add("button", `Yes, ${name}: go on`, { className: "button main", type: "button" });
  const no = add("button", "No, somebody else", { className: "button", type: "button" });
  const said = add("p", "", { className: "caution", hidden: true });
  said.setAttribute("role", "status");
  yes.addEventListener("click", () => { touched = Date.now(); lock.close(); lock.remove(); });
  no.addEventListener("click", async () => { if (!await leave()) { said.hidden = false; said.textContent = `${WHY} What ${name} entered stays ${name}'s.`; } });
  lock.addEventListener("cancel", (event) => event.preventDefault());
  document.body.append(lock);
  lock.showModal();
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!await leave()) ask(`Still ${name}?`, "This tablet does not reach the server now.");
});

async function look() {
  if (Date.now() - touched <= idleMs || document.querySelector(".screen-lock")) return;
  if (!await leave()) ask(`Still ${name}?`, `Nobody touched this tablet for ${form.dataset.idleMin} min or more, and it does not reach the server now.`);
}

function touch() {
  if (Date.now() - touched > idleMs) return void look(); // the first touch after a long sleep is not yet somebody known
  touched = Date.now();
  if (touched - told < tellMs) return;
  told = touched;
  send("/still-here").catch(() => {});
}

for (const kind of ["pointerdown", "keydown", "wheel"]) addEventListener(kind, touch, { capture: true, passive: true });
for (const kind of ["visibilitychange", "focus", "pageshow"]) addEventListener(kind, look);
setInterval(look, 5000);
