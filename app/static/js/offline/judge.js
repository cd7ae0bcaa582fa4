// What is wrong at this motor, without a server: the rules that need no history, as app/rules judges them when the entry
// is received. Words, limits and sources are data: the rule table (app/rules/rule_table.py) and this motor's limits in
// force (app/rules/limits_in_force.py). tests/browser/test_offline_judge.py holds both sides against each other.
//
//   const facts = await factsOf(document);      // once, while the page is there
//   judge(facts, body)                          // body: as POST /readings has it -> [{rule, end, priority, value, limit,
//                                               //   unit_of_measure, source, says}], gravest first
//   judgedWhenReceived(facts)                   // names of the rules that this script says nothing of
//   cautionFor(facts, rule)                     // one line, where the hand goes next
import { digits, figure, over, pair, plain, under } from "./figures.js";

const SHAPE = 1; // of the table and the facts that this script reads
const ACT_NOW = "act now", THIS_SHIFT = "this shift", WATCH = "watch";
const PRIORITIES = [ACT_NOW, THIS_SHIFT, WATCH];
const ENDS = ["DE", "ODE"];
const NO_VALUE = ["not fitted", "could not read"];
const AMPS = plain("A"), AMPS_FINE = plain("A", 2), VOLTS = plain("V"), PERCENT = plain("%");

// The data of the page, with the rule table that it names. Without the table nothing is judged here.
export async function factsOf(page) {
  const facts = JSON.parse(page.getElementById("judge-facts")?.textContent || "null");
  if (!facts || facts.shape !== SHAPE) return facts;
  try {
    const answer = await fetch(facts.rule_table);
    return answer.ok ? { ...facts, table: await answer.json() } : facts;
  } catch {
    return facts;
  }
}

const readable = (facts) => facts?.shape === SHAPE && facts.table?.shape === SHAPE;

export function judge(facts, body) {
  if (!readable(facts)) return [];
  const reading = readingOf(body);
  const found = facts.table.rules.flatMap((rule) => RULES[rule]?.(reading, facts, facts.table, rule) ?? []);
  return found.filter(Boolean).sort(byGravity);
}

export function judgedWhenReceived(facts) {
  const { rules, later } = facts?.table ?? {};
  if (!rules || !later) return null; // all of them
  return [...rules.filter((rule) => !readable(facts) || !(rule in RULES)), ...later];
}

export const cautionFor = (facts, rule) => facts.table.cautions[rule] ?? facts.table.caution;

// What was sent, as the rules see it: blank, "not fitted" and "could not read" are no value; who has a reason is kept.
function readingOf(body) {
  const reasons = new Set();
  const one = (field, value) => {
    if (!NO_VALUE.includes(value)) return value ?? null;
    reasons.add(field);
    return null;
  };
  const ends = (field) => Object.fromEntries(ENDS.map((end) => {
    const value = body[field];
    return [end, one(`${field}.${end}`, typeof value === "object" ? value?.[end] : value)];
  }));
  const reading = { reasons, skipped: Boolean(body.skip_reason), state: body.state ?? "standby" };
  for (const field of ["smoke", "guard", "ground", "leak", "cleanliness", "winding_feel", "winding_temp_c", "winding_method"]) {
    reading[field] = one(field, body[field]);
  }
  for (const field of ["vibration_feel", "vibration_mm_s", "bearing_feel", "bearing_temp_c", "lubricant"]) {
    reading[field] = ends(field);
  }
  for (const field of ["current_a", "voltage_v"]) reading[field] = one(field, body[field]) ?? [];
  reading.running = reading.state === "running";
  return reading;
}

// small helpers ---------------------------------------------------------------------------------------------

const fill = (sentence, words) => sentence.replace(/\{(\w+)\}/g, (_, name) => words[name]);
const rank = (finding) => PRIORITIES.indexOf(finding.priority);
const byGravity = (a, b) => rank(a) - rank(b) || (a.rule > b.rule) - (a.rule < b.rule) || ((a.end ?? "") > (b.end ?? "") ? 1 : -1);
const finding = (rule, end, priority, value, limit, unit_of_measure, source, says) =>
  ({ rule, end, priority, value, limit, unit_of_measure, source, says });
const told = (row) => row && finding(row[0], row[1], row[2], null, null, null, row[3], row[4]);
const sum = ([a, b, c]) => a + b + c;

// the rules -------------------------------------------------------------------------------------------------

const RULES = {
  smoke: (r, f, t) => told(t.words.smoke[r.smoke]),
  guard_or_ground: (r, f, t) => told(r.guard === null ? t.words.ground[r.ground] : t.words.guard[r.guard]?.[r.ground ?? "in place"]),
  dirty: (r, f, t) => told(t.words.cleanliness[r.cleanliness]),
  lubricant: (r, f, t) => [...ENDS.map((end) => told(t.words.lubricant[end][r.lubricant[end]])), told(t.words.leak[r.leak])],
  started_locked_out(r, f, t, rule) {
    return r.running && f.locked && finding(rule, null, ACT_NOW, null, null, null, t.lock, fill(t.says[rule], { tag: f.tag, source: t.lock }));
  },

  amps_over_nameplate(r, f, t, rule) {
    if (!r.running || !f.amps || !r.current_a.length) return null;
    const worst = Math.max(...r.current_a), { rated } = f.amps;
    const where = r.current_a.length > 1 ? fill(t.says[rule].where, { number: r.current_a.indexOf(worst) + 1 }) : "";
    const [percent] = pair((100 * worst) / rated, 100, PERCENT);
    for (const [priority, scale] of [[ACT_NOW, AMPS_FINE], [THIS_SHIFT, AMPS]]) {
      const [most, source] = f.amps[priority];
      if (!over(worst, most)) continue;
      const [value, limit] = pair(worst, most, scale);
      const words = t.says[rule][priority === THIS_SHIFT && most === rated ? "above rated" : priority];
      return finding(rule, null, priority, worst, most, "A", source, fill(words, { value, where, percent, limit, source }));
    }
    return null;
  },

  phase_unbalance(r, f, t, rule) {
    if (!r.running || r.current_a.length !== 3 || sum(r.current_a) <= 0) return null;
    const amps = r.current_a.map((a) => digits(a, 1)).join(", ");
    const said = (kind, priority, percent, [most, source]) => {
      const [value, limit] = pair(percent, most, PERCENT);
      return finding(rule, null, priority, percent, most, "%", source, fill(t.says.balance[kind], { amps, value, limit, source }));
    };
    const [low, a, b] = [...r.current_a].sort((x, y) => x - y);
    const share = (100 * low) / ((a + b) / 2);
    if (under(share, f.phases.single[0])) return said("single", ACT_NOW, share, f.phases.single);
    const spread = unbalance(r.current_a);
    return over(spread, f.phases.spread[0]) ? said("spread", THIS_SHIFT, spread, f.phases.spread) : null;
  },

  volts_off(r, f, t, rule) {
    if (!r.running) return null;
    const level = levelOff(r.voltage_v, f.volts, t, rule), uneven = unevenVolts(r.voltage_v, f.volts, t, rule);
    if (!level || !uneven) return level || uneven;
    const first = rank(level) < rank(uneven) ? level : uneven, rest = first === uneven ? level : uneven;
    const words = t.says.balance[rest === level ? "level too" : "uneven too"];
    return { ...first, says: fill(words, { says: first.says, value: digits(rest.value, 1) }) };
  },

  bearings_uneven(r, f, t, rule) {
    if (!r.running) return null;
    const measured = apart(r.bearing_temp_c, f, t, rule);
    const felt = told(t.words.uneven[r.bearing_feel.DE]?.[r.bearing_feel.ODE]);
    if (!measured || !felt) return measured || felt;
    const worst = rank(felt) < rank(measured) ? felt : measured;
    return { ...worst, says: fill(t.says.bearings[worst === felt ? "measured too" : "felt too"], worst) };
  },

  bearing_hot: (r, f, t, rule) => r.running && ENDS.map((end) => {
    const felt = told(t.words.bearing_feel[end][r.bearing_feel[end]]);
    const words = { end, felt: felt ? t.says.bearings.hot : "" };
    return above(r.bearing_temp_c[end], f.hot[end], { shutdown: ACT_NOW, alarm: THIS_SHIFT }, f.show.temperature,
      { rule, end, unit: "°C", says: t.says.bearings, words }) || felt;
  }),

  winding_hot(r, f, t, rule) {
    if (!r.running) return null;
    const [normal, source] = f.winding.normal, feel = r.winding_feel;
    const felt = t.feel.indexOf(feel) > t.feel.indexOf(normal);
    const spot = ["contact", "infrared"].includes(r.winding_method) ? "surface" : "probe";
    const words = { spot, felt: felt ? fill(t.says[rule].hot, { feel: feel.replace(/ to hold$/, "") }) : "" };
    const measured = above(r.winding_temp_c, f.winding[spot], { limit: ACT_NOW, alarm: THIS_SHIFT }, f.show.temperature,
      { rule, end: null, unit: "°C", says: t.says[rule], words });
    if (measured || !felt) return measured;
    return finding(rule, null, THIS_SHIFT, null, null, null, source, fill(t.says[rule].felt, { feel, normal, source }));
  },

  vibration: (r, f, t, rule) => r.running && ENDS.map((end) => {
    const measured = above(r.vibration_mm_s[end], f.vibration, { [ACT_NOW]: ACT_NOW, [THIS_SHIFT]: THIS_SHIFT },
      f.show.vibration, { rule, end, unit: "mm/s", says: t.says[rule], words: { end } });
    const felt = told(t.words.vibration_feel[end][r.vibration_feel[end]]);
    if (!measured || !felt) return measured || felt;
    if (rank(felt) >= rank(measured)) {
      return { ...measured, says: fill(t.says[rule]["felt too"], { says: measured.says, feel: r.vibration_feel[end] }) };
    }
    const value = figure(measured.value, f.show.vibration), zone = t.zone[measured.priority];
    return { ...felt, says: fill(t.says[rule]["measured too"], { says: felt.says, value, zone }) };
  }),

  not_measured(r, f, t, rule) {
    const left = r.skipped ? [] : (f.required[r.state] ?? "").split(" ").filter((check) => check && !answered(r, check, t));
    if (!left.length) return null;
    const { source } = t.required;
    return finding(rule, null, THIS_SHIFT, null, null, null, source, fill(t.says[rule], { checks: named(left, t), source }));
  },
};

// The first limit that a figure is above, gravest first; grades: its name -> priority.
function above(value, limits, grades, scale, { rule, end, unit, says, words }) {
  if (value === null) return null;
  for (const [grade, priority] of Object.entries(grades)) {
    const [most, source] = limits[grade];
    if (!over(value, most)) continue;
    const [shown, limit] = pair(value, most, scale);
    return finding(rule, end, priority, value, most, unit, source, fill(says[grade], { ...words, value: shown, limit, source }));
  }
  return null;
}

function unbalance(values) {
  const mean = sum(values) / 3;
  return (100 * Math.max(...values.map((value) => Math.abs(value - mean)))) / mean;
}

function levelOff(volts, { rated, level: [most, source] }, t, rule) {
  if (!volts.length || !rated) return null;
  const off = (value) => (100 * (value - rated)) / rated;
  const farthest = volts.reduce((far, value) => (Math.abs(off(value)) > Math.abs(off(far)) ? value : far));
  const away = Math.abs(off(farthest));
  if (!over(away, most)) return null;
  const [value, limit] = pair(away, most, PERCENT);
  const words = { volts: figure(farthest, VOLTS), nameplate: figure(rated, VOLTS), side: off(farthest) > 0 ? "above" : "below" };
  return finding(rule, null, THIS_SHIFT, away, most, "%", source, fill(t.says.balance.level, { ...words, value, limit, source }));
}

function unevenVolts(volts, { uneven }, t, rule) {
  if (volts.length !== 3 || sum(volts) <= 0) return null;
  return above(unbalance(volts), uneven, { [ACT_NOW]: ACT_NOW, [THIS_SHIFT]: THIS_SHIFT, [WATCH]: WATCH }, PERCENT,
    { rule, end: null, unit: "%", says: t.says.balance, words: {} });
}

function apart({ DE: de, ODE: ode }, f, t, rule) {
  if (de === null || ode === null) return null;
  const { temperature, difference } = f.show;
  for (const priority of [ACT_NOW, THIS_SHIFT]) {
    const [most, source] = f.uneven[priority], by = Math.abs(de - ode);
    if (!over(by, most)) continue;
    const [value, limit] = pair(by, most, difference);
    const says = fill(t.says.bearings.apart, { de: figure(de, temperature), ode: figure(ode, temperature), value, limit, source });
    return finding(rule, de > ode ? "DE" : "ODE", priority, by, most, "K", source, says);
  }
  return null;
}

// A value, "could not feel" or a reason stands for this check: "vibration.DE", "current_a"
function answered(reading, check, t) {
  const [what, end] = check.split(".");
  return t.required.fields[what].some((field) => {
    const value = end ? reading[field][end] : reading[field];
    const given = Array.isArray(value) ? value.length > 0 : value !== null;
    return given || reading.reasons.has(end ? `${field}.${end}` : field);
  });
}

// Both ends of one check as one: "vibration both ends".
function named(checks, t) {
  const said = checks.map((check) => {
    const [what, end] = check.split("."), name = t.required.words[what] ?? what;
    return ENDS.every((each) => checks.includes(`${what}.${each}`)) ? `${name} both ends` : `${name} ${end ?? ""}`.trim();
  });
  return [...new Set(said)].join(", ");
}
