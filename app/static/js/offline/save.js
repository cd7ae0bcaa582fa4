// Save: the entry goes into the tablet's own store first, always, with a network too; then to the server. Without a
// script, or where the browser keeps nothing, the form goes to the server as ever.
import { factsOf, judge, judgedWhenReceived } from "./judge.js";
import * as queue from "./queue.js";
import { reached, settled } from "./sender.js";
import { forget as forgetDraft } from "../drafts.js";
import { capital, el } from "./dom.js";
import { tellProblems } from "./problems.js";
import { showReceived } from "./received.js";
import { show, stands } from "./result.js";
import { refill } from "./refill.js";
import { nextAfter, walk } from "./walk.js";
import { readingBody } from "./body.js";
import { skipBody, startBody, tripBody } from "./bodies.js";

// So long the server may take before the result is shown from the tablet; after one silence it is not waited for again.
const ANSWER_WITHIN_MS = 2500;
const FORMS = [
  { path: /^\/motors\/\d+\/entry$/, kind: "readings", read: readingBody },
  { path: /^\/motors\/\d+\/skip$/, kind: "readings", read: skipBody },
  { path: /^\/motors\/\d+\/start$/, kind: (button) => (button?.value === "stop" ? "stops" : "starts"), read: startBody },
  { path: /^\/motors\/\d+\/trip$/, kind: "trips", read: tripBody },
];

export function keepForms() {
  const about = JSON.parse(document.getElementById("tablet-form")?.textContent || "null");
  if (!about || !("indexedDB" in globalThis)) return;
  for (const form of document.querySelectorAll("form[method=post]")) {
    const known = FORMS.find((f) => f.path.test(new URL(form.action, location.href).pathname));
    if (!known) continue;
    keep(form, known, about);
    if (correcting()) refill(form, about, correcting());
  }
}

function keep(form, known, about) {
  const facts = factsOf(document).catch(() => null);
  let saving = false;
  form.addEventListener("submit", async (event) => {
    if (event.defaultPrevented) return; // a question is still open
    const button = event.submitter;
    if (button?.value === "trip" && known.read === startBody) return; // goes on to which protection opened
    event.preventDefault();
    if (saving) return;
    saving = true;
    try {
      await save(form, button, known, about, await facts);
    } catch (error) {
      await fallBack(form, button, error);
    } finally {
      saving = false;
    }
  });
}

async function save(form, button, known, about, facts) {
  const data = new FormData(form, button ?? undefined), now = Date.now(), id = queue.newId(now);
  for (const field of form.querySelectorAll(":disabled")) field.disabled = false;
  const { body, typed = {}, problems } = known.read(data, about, id, now);
  tellProblems(form, problems);
  if (problems.length) return;
  const before = button?.textContent;
  if (button) button.textContent = "Saving on this tablet…";
  try {
    const kind = typeof known.kind === "function" ? known.kind(button) : known.kind;
    const shift = await queue.shiftOf(about.by).catch(() => null);
    const judged = kind === "readings" && !body.skip_reason;
    const entry = {
      id, kind, person: about.by, name: about.name, shift: shift?.shift ?? null, ticket: shift?.ticket ?? null,
      motor: about.motor, body, typed, fields: [...data].filter(([name]) => name !== "csrf_token"),
      madeAt: new Date(now).toISOString(), findings: judged ? judge(facts, body) : [],
      later: judged ? judgedWhenReceived(facts) : [], cautions: judged ? cautionsOf(facts) : {}, guide: guideOf(body),
    };
    await queue.add(entry, correcting());
    forgetDraft(form.elements.id?.value);
    if (button) button.textContent = "On this tablet. Sending…";
    await goOn(await settled(id, (await hopeful()) ? ANSWER_WITHIN_MS : 0));
  } finally {
    if (button) button.textContent = before;
  }
}

const cautionsOf = (facts) => (facts?.table ? { ...facts.table.cautions, "": facts.table.caution } : {});
// What a trip asks for, as the server's page of it would say: by the protection that opened.
const guideOf = ({ protection }) =>
  JSON.parse(document.getElementById("trip-guides")?.textContent || "{}")[protection];
// The last try to reach the server failed: its answer is not waited for, it comes when it comes.
const hopeful = async () => navigator.onLine && (await queue.noted("contact"))?.ok !== false;
// The parked entry that this form puts right.
const correcting = () => new URLSearchParams(location.search).get("instead") ?? undefined;

async function goOn(entry) {
  if (entry.body.skip_reason && entry.state !== queue.ATTENTION) await skipOn(entry);
  else if (entry.kind === "readings" && entry.state === queue.RECEIVED) await showReceived(entry);
  else await show(entry);
}
// A skip finds nothing: straight on to the next motor, which says so.
async function skipOn(entry) {
  const next = nextAfter(await walk(entry.person), entry.motor.id);
  sessionStorage.setItem("said", `${entry.motor.tag} skipped: ${entry.body.skip_reason}. ${capital(stands(entry))}.`);
  location.assign(next?.url ?? "/sheet");
}

// The store of this browser failed (full, forbidden, broken): the server can still take it where it answers. Where it
// does not, the page stays as it is: what was typed must not go with it.
async function fallBack(form, button, error) {
  console.error("not kept on this tablet", error);
  if (!(await reached())) {
    const says = `This tablet could not keep the entry (${error.message}), and the server cannot be reached. Write it down.`;
    return tellProblems(form, [{ field: form.querySelector("input:not([type=hidden])").id, says }]);
  }
  if (button?.name) form.append(el("input", { type: "hidden", name: button.name, value: button.value }));
  form.submit();
}
