// What was entered, shown from the tablet itself: where it stands, what was understood, what the rules found, what next.
import * as queue from "./queue.js";
import { become, capital, classOf, clock, el, END, many, shape, words } from "./dom.js";
import { atTop } from "./in_place.js";
import { lookAhead } from "./onward.js";
import { nextAfter, walk } from "./walk.js";

const NAMES = { state: "State", skip_reason: "Skipped", smoke: "Smoke", guard: "Guard", ground: "Ground wire", leak: "Leak",
  vibration_feel: "Vibration", bearing_feel: "Bearing", bearing_temp_c: "Bearing measured", method: "How measured",
  winding_feel: "Winding by hand", winding_temp_c: "Winding measured", current_a: "Amps", voltage_v: "Volts",
  vibration_mm_s: "Instrument", ambient_c: "Air", lubricant: "Lubricant", cleanliness: "Clean", remarks: "Remarks",
  outcome: "Start", then_continuous: "Short start; continuous running follows", protection: "Protection that opened", cause: "Cause" };
const UNITS = { bearing_temp_c: "°C", winding_temp_c: "°C", ambient_c: "°C", current_a: "A", voltage_v: "V",
  vibration_mm_s: "mm/s" };
const TYPED_AS = { bearing_temp_c: "bearing_temp", vibration_mm_s: "vibration", winding_temp_c: "winding_temp",
  ambient_c: "ambient", current_a: "amps", voltage_v: "volts" };

const round = (value) => (typeof value === "number" ? String(Number(value.toFixed(2))) : value);
const NOT_TOLD = "Nobody has been told yet: use the radio. Tell the head operator at once.";
const TOLD = "Tell the head operator by radio at once. Do not wait for the end of the round.";

let shown = null;
document.addEventListener("at-motor", () => { shown = null; });
queue.onChange(async () => {
  if (!shown) return;
  const entry = await queue.get(shown.id);
  if (entry && entry.state !== shown.state) draw(entry);
});

// Puts the result in the place of the page, under an address that a reload finds again.
export async function show(entry) {
  history.replaceState(null, "", `/tablet/entries#${entry.id}`);
  document.activeElement?.blur(); // the number keys go with their figure
  for (const said of document.querySelectorAll(".said")) said.remove(); // of the motor before
  await draw(entry);
  atTop();
  lookAhead();
}

async function draw(entry) {
  shown = entry;
  const known = await walk(entry.person), received = entry.state === queue.RECEIVED;
  document.title = `${entry.motor.tag}: ${stands(entry)}`;
  const head = document.querySelector(".strip");
  if (head) become(head, ...strip(entry, known).childNodes);
  become(document.getElementById("content"),
    el("div", { class: "room", "data-result": entry.state }, told(entry, received), problem(entry), guide(entry), found(entry, received),
      el("div", { class: "two" },
        el("div", {}, el("h2", {}, "What was understood"), el("dl", { class: "pairs" }, understood(entry))),
        el("div", {}, el("h2", {}, "When and who"), el("dl", { class: "pairs" }, whenAndWho(entry))))),
    bar(entry, known));
}

export function stands(entry) {
  if (entry.state === queue.RECEIVED) return `received ${clock(entry.receivedAt)}`;
  return entry.state === queue.ATTENTION ? "needs attention" : "on this tablet";
}
function strip(entry, known) {
  return el("div", { class: "strip" },
    el("div", {}, el("h1", { class: "big" }, entry.motor.tag), el("div", { class: "sub" }, entry.motor.service ?? "")),
    el("div", { class: "right" }, el("b", { role: "status", "data-stands": true }, capital(stands(entry))), el("br"),
      el("span", { class: "sub" }, known.shift ? (known.left ? `${known.left} left on this round` : "round complete") : "")));
}

const findingsOf = (entry) => (entry.state === queue.RECEIVED ? entry.answer ?? [] : entry.findings ?? []);
function told(entry, received) {
  if (!findingsOf(entry).some((f) => f.priority === "act now")) return null;
  return el("p", { class: "find act say", role: "alert", "data-not-told": !received },
    el("span", { class: "pr act" }, shape("act now"), "Act now"), " ", received ? TOLD : NOT_TOLD);
}
function problem(entry) {
  const said = entry.problem;
  if (!said || entry.state === queue.RECEIVED) return null;
  if (entry.state === queue.WAITING) {
    return el("p", { class: "caution" }, said.status === 401 ? `${said.detail} It is kept here until then.`
      : `The server could not take it just now: ${said.detail}`);
  }
  return el("div", { class: "summary", role: "alert" }, el("h2", {}, "Needs attention: the server did not take this"),
    el("p", {}, said.detail),
    said.errors?.length ? el("ul", {}, said.errors.map((e) => el("li", {}, `${words(e.field)}: ${e.detail}`))) : null,
    el("p", { class: "acts" }, el("a", { class: "button main", href: againAt(entry) }, "Put it right"),
      el("a", { class: "button", href: `/tablet/entries#text-${entry.id}` }, "Show it as text")));
}
const formAt = (entry) => `/motors/${entry.motor.id}/${{ starts: "start", stops: "start", trips: "trip" }[entry.kind]
  ?? (entry.body.skip_reason ? "skip" : "entry")}`;
const againAt = (entry) => `${formAt(entry)}?instead=${entry.id}`;

function found(entry, received) {
  if (entry.body.skip_reason) return el("h2", {}, `Skipped: ${entry.body.skip_reason}`);
  const findings = findingsOf(entry), reading = entry.kind === "readings";
  const unjudged = !received && (!reading || entry.later === null);
  const heading = findings.length ? many(findings.length, "finding")
    : unjudged ? "Judged when received" : reading ? "Nothing over a limit" : "On record";
  return [el("h2", {}, heading),
    !findings.length && reading && !unjudged ? el("p", { class: "lead" },
      "What was measured is within the limits the tool knows. That is no word on whether the motor may be touched or worked on.") : null,
    findings.map((f) => finding(f, entry)),
    !received && reading && entry.later?.length ? el("details", { class: "later" },
      el("summary", {}, `${many(entry.later.length, "more rule")} judged when received`),
      el("p", {}, entry.later.map(words).join(", "))) : null];
}
// After a trip: what happens now and who may do it, in the words of the trip's own page.
function guide({ guide: asks }) {
  if (!asks) return null;
  return [asks.cannot_wait ? el("p", { class: "find act say", role: "alert" },
    el("span", { class: "pr act" }, shape("act now"), "Act now"), " ", asks.steps[0][0]) : null,
  el("h2", {}, "What happens now, and who may do it"),
  el("ol", { class: "how-to" }, asks.steps.map(([does, who]) => el("li", {}, `${does} `, el("b", {}, `(${who})`)))),
  el("p", { class: "caution" }, asks.caution)];
}
function finding(f, entry) {
  const care = entry.cautions?.[f.rule] ?? entry.cautions?.[""];
  return el("div", { class: `find ${classOf(f.priority)}` },
    el("p", { class: "pr" }, shape(f.priority), [capital(f.priority), words(f.rule), END[f.end]].filter(Boolean).join(" · ")),
    el("p", {}, f.says), el("p", { class: "care" }, `Limit from: ${f.source}.`, care ? ` ${care}` : ""));
}

export function understood(entry) {
  const pairs = entry.kind === "stops" ? [["Stop", "", "by hand"]] : [];
  for (const [field, name] of Object.entries(NAMES)) {
    const value = entry.body[field];
    if (value === undefined || value === null || value === "") continue;
    if (Array.isArray(value)) value.forEach((v, i) => pairs.push([value.length > 1 ? `${name} ${i + 1}` : name, field, v, i + 1]));
    else if (typeof value === "object") {
      for (const end of ["ODE", "DE"].filter((e) => e in value)) pairs.push([`${name}, ${END[end]}`, field, value[end], end]);
    } else pairs.push([name, field, value === true ? "yes" : value]);
  }
  return pairs.flatMap(([name, field, value, part]) => {
    const typed = entry.typed?.[part ? `${TYPED_AS[field]}_${part}` : TYPED_AS[field]];
    const shownValue = typed && !typed.includes(",") ? typed : `${round(value)}${typeof value === "number" ? ` ${UNITS[field]}` : ""}`;
    return [el("dt", {}, name), el("dd", {}, typed && typed.includes(",") ? `${typed} → ` : null, el("b", {}, shownValue))];
  });
}
function whenAndWho(entry) {
  const seen = entry.body.skip_reason ? "Skipped" : entry.kind === "readings" ? "Seen" : "At";
  const pairs = [[seen, clock(entry.body.taken_at ?? entry.body.at)],
    [entry.state === queue.RECEIVED ? "Received" : "Sent", entry.state === queue.RECEIVED ? clock(entry.receivedAt) : "not yet"],
    ["By", entry.name]];
  return pairs.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)]);
}

function bar(entry, known) {
  const next = nextAfter(known, entry.motor.id), buttons = [el("a", { class: "button", href: "/sheet" }, "Sheet")];
  if (entry.state === queue.WAITING && !entry.tried) {
    const back = el("button", { type: "button", class: "button", "data-entry": entry.id }, "Take it back");
    back.addEventListener("click", () => takeBack(entry));
    buttons.push(back);
  }
  if (entry.kind === "starts" && entry.body.outcome === "tripped while starting") {
    buttons.push(el("a", { class: "button main", href: `/motors/${entry.motor.id}/trip?at=${encodeURIComponent(entry.body.at)}` },
      "Which protection opened?"));
  } else if (entry.kind !== "readings") {
    buttons.push(el("a", { class: "button main", href: `/motors/${entry.motor.id}/start` }, `Back to ${entry.motor.tag}`));
  } else if (next) buttons.push(el("a", { class: "button main", href: next.url }, `Next: ${next.tag}`));
  else buttons.push(el("a", { class: "button main", href: "/sheet" }, known.shift ? "Every motor seen or skipped" : "To the sheet"));
  return el("div", { class: "bar" }, buttons);
}
async function takeBack(entry) {
  if (await queue.takeBack(entry.id)) location.assign(entry.body.skip_reason ? `/motors/${entry.motor.id}/entry` : formAt(entry));
  else draw(await queue.get(entry.id));
}
