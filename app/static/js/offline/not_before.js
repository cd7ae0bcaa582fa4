// May it be started? What a tablet may say of it without the server: a time before which it may not, a no that stands on
// record, or that others must be asked. Never yes: what another crew started meanwhile it cannot know.
// The figures and the record come with the page (app/rules/starting_ahead.py), the rest from this tablet's own queue; the
// holds are those of an ordinary start, as app/rules/starting_hour.py has them.
import { digits } from "./figures.js";
import { all, shiftOf } from "./queue.js";

const SHAPE = 1, HOUR = 3600_000, MINUTE = 60_000, SECOND = 1000;
const RUNS = "running now", NO = { "overload trip": "overload trip not settled", "written procedure": "no start limit on record" };
const [COUNT, SPACING, RUN, REST] = ["starts in 60 min", "spacing", "run between starts", "rest"];
const ms = (iso) => (iso ? Date.parse(iso) : null);

export function startFactsOf(page) {
  const facts = JSON.parse(page.getElementById("start-facts")?.textContent || "null");
  return facts?.shape === SHAPE ? facts : null;
}

// By how much the tablet's clock is ahead of the server's, ms: as measured when the shift was taken along, else as given.
export async function clockAhead(person, given) {
  const shift = person ? await shiftOf(person).catch(() => null) : null;
  return shift?.now && shift.at ? shift.at - ms(shift.now) : given;
}

// What this tablet entered of the motor since the page was made: [{kind: "start" | "stop" | "trip", at, failed, duration_s}].
// ahead: by how much the tablet's clock is ahead of the server's, ms.
export async function enteredHere(facts, ahead) {
  const entries = await all().catch(() => []);
  return entries.filter((entry) => entry.motor?.id === facts.motor && ["starts", "stops", "trips"].includes(entry.kind)
    && !(entry.receivedAt && ms(entry.receivedAt) <= ms(facts.now)))
    .map(({ kind, body }) => ({ kind: kind.slice(0, -1), at: ms(body.at) - ahead, duration_s: body.duration_s ?? null,
      failed: ["did not start", "tripped while starting"].includes(body.outcome) }));
}

// {no: what bars it} | {until, rule, because, source} | null: no wait is known here, which is no yes.
export function earliest(facts, entered, now) {
  const told = [...entered].filter((entry) => entry.at <= now).sort((a, b) => a.at - b.at);
  const record = recordOf(facts, told), runs = runsOf(record);
  const no = barredBy(facts, record, told, runs);
  if (no) return { no };
  const holds = [count, spacing, run, rest].map((hold) => hold(facts, runs, record, now)).filter((hold) => hold?.until > now);
  const binding = holds.reduce((last, hold) => (last && last.until >= hold.until ? last : hold), null);
  if (!binding) return null;
  const value = digits(binding.value, binding.rule === RUN ? 1 : 0), limit = digits(binding.limit, 2);
  const because = facts.because[binding.rule].replace("{value}", value).replace("{limit}", limit);
  return { until: binding.until, rule: binding.rule, because, source: binding.source };
}

// The record on the page and what was entered here, as one.
function recordOf(facts, told) {
  const since = ms(facts.since) ?? -Infinity, newest = told.at(-1);
  const moved = newest !== undefined && newest.at >= since;
  const running = moved ? newest.kind === "start" && !newest.failed : facts.running;
  return {
    running, standing: running ? null : (moved ? newest.at : ms(facts.since)),
    starts: [...facts.starts.map(([at, failed, duration_s]) => ({ at: ms(at), failed, duration_s })),
      ...told.filter(({ kind }) => kind === "start")].sort((a, b) => a.at - b.at),
    stops: [...facts.stops.map(ms), ...told.filter(({ kind }) => kind !== "start").map(({ at }) => at)].sort((a, b) => a - b),
  };
}

// Each start with its end; both null while it runs, the length alone where nobody noted a stop.
function runsOf({ starts, stops, running, standing }) {
  return starts.map((start, i) => {
    const next = starts[i + 1]?.at ?? null, end = endOf(start, next, stops, running, standing);
    if (end !== null) return { ...start, end, length: end - start.at };
    return { ...start, end: running ? null : start.at, length: null };
  });
}
function endOf({ at, failed, duration_s }, next, stops, running, standing) {
  const lasted = at + (duration_s ?? 0) * SECOND, sooner = next === null ? lasted : Math.min(lasted, next);
  if (failed) return sooner;
  const noted = stops.find((stop) => at < stop && (next === null || stop <= next));
  if (noted !== undefined) return noted;
  if (duration_s !== null && (next !== null || !running)) return sooner;
  return next ?? (!running && standing !== null && standing > at ? standing : null);
}

// What is against it however long one waits; a motor that ran on record may have been stopped here since.
function barredBy(facts, record, told, runs) {
  if (record.running) return RUNS;
  if (facts.no) return facts.no;
  if (told.some(({ kind }) => kind === "trip")) return "trip";
  const required = facts.figures[RUN][0] * MINUTE, [tries] = facts.tries, released = ms(facts.released) ?? -Infinity;
  const lastOnPage = ms(facts.starts.at(-1)?.[0]) ?? -Infinity;
  let failed = facts.failed_before, before = Infinity;
  for (const { at, failed: itFailed, length } of runs.filter((each) => each.at >= lastOnPage)) {
    if (before < released && released <= at) failed = 0;
    if (itFailed) failed += 1;
    else if (failed < tries && !(length !== null && length < required)) failed = 0; // a full run ends the series
    before = at;
  }
  if (before < released) failed = 0;
  if (failed >= tries) return "tries used up";
  return facts.refuses ? "written procedure" : null;
}

// the four holds of an ordinary start --------------------------------------------------------------------------

function count({ figures }, runs, record, now) {
  const [limit, source] = figures[COUNT];
  if (!(limit > 0 && runs.length >= limit)) return null;
  const value = runs.filter(({ at }) => now - at < HOUR).length;
  return { rule: COUNT, until: runs.at(-limit).at + HOUR, value, limit, source };
}
function spacing({ figures }, runs, record, now) {
  const [limit, source] = figures[SPACING], last = runs.at(-1);
  return last && { rule: SPACING, until: last.at + limit * MINUTE, value: (now - last.at) / MINUTE, limit, source };
}
function run({ figures, released }, runs) {
  const [limit, source] = figures[RUN], last = runs.at(-1);
  if (!last || last.failed || last.end === null || last.length === null || last.length >= limit * MINUTE) return null;
  if (released && ms(released) > last.at) return null;
  return { rule: RUN, until: last.end + HOUR, value: last.length / MINUTE, limit, source };
}
function rest({ figures }, runs, { stops }, now) {
  const [limit, source] = figures[REST], last = runs.at(-1);
  if (limit <= 0 || last?.end === null) return null;
  const stopped = Math.max(stops.at(-1) ?? -Infinity, last?.end ?? -Infinity);
  if (stopped === -Infinity) return null;
  return { rule: REST, until: stopped + limit * SECOND, value: Math.max((now - stopped) / SECOND, 0), limit, source };
}

// in words -----------------------------------------------------------------------------------------------------

// 11:00:00 in the unit's zone, never earlier than it is; with the zone's letters in the hour that comes twice.
export function wallTime(at, zone, now) {
  const whole = Math.ceil(at / SECOND) * SECOND;
  const show = (when, options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...options }).format(when);
  const time = { hour: "2-digit", minute: "2-digit", second: "2-digit" }, day = { day: "numeric", month: "short" };
  const twice = [-HOUR, HOUR].some((by) => show(whole + by, { ...time, ...day }) === show(whole, { ...time, ...day }));
  const text = show(whole, time) + (twice ? ` ${new Intl.DateTimeFormat("en-US", { timeZone: zone, timeZoneName: "short" })
    .formatToParts(whole).find(({ type }) => type === "timeZoneName").value}` : "");
  return show(whole, day) === show(now, day) ? text : `${text} on ${show(whole, day)}`;
}

const ASK = "Starts that others made since are not known here: ask the control room before you start.";

// [the word, what to do]: what the page shows in place of the server's answer.
export function inWords(facts, found, now) {
  const asOf = `as of ${wallTime(ms(facts.now), facts.zone, now).slice(0, 5)} and of what was entered here since`;
  if (found?.no) return [found.no === RUNS ? "No, it runs" : `No: ${NO[found.no] ?? found.no}`, `So it stands ${asOf}. ${ASK}`];
  const check = facts.check_due ? ` A pre-start check is due (${facts.check_due}).` : "";
  if (!found) return ["Ask the control room", `No wait is known ${asOf}; that is no yes.${check} ${ASK}`];
  const when = wallTime(found.until, facts.zone, now);
  return [`Not before ${when}`, `Not before ${when}: ${found.because} (${found.source}), ${asOf}.${check} ${ASK}`];
}
