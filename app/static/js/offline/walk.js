// The shift as this tablet knows it: what the server had when it was last asked, and what was entered here since.
import * as queue from "./queue.js";

export const DONE = "done", SKIPPED = "skipped", LEFT = "left";
const LATE_MS = 12 * 3600 * 1000;

// { shift, motors: [{ id, tag, service, url, status, entry }], done, skipped, left, waiting: [...], attention: [...] }
export async function walk(person) {
  const [shift, entries] = [person ? await queue.shiftOf(person) : undefined, await queue.all()];
  const here = shift ? entries.filter((e) => e.kind === "readings" && inShift(e, shift)) : [];
  const motors = (shift?.motors ?? []).map((motor) => {
    const mine = here.filter((e) => e.motor.id === motor.id);
    const looked = mine.findLast((e) => !e.body.skip_reason), skipped = mine.at(-1);
    if (looked) return { ...motor, status: DONE, entry: looked };
    if (skipped && motor.status === LEFT) return { ...motor, status: SKIPPED, entry: skipped };
    return motor;
  });
  const count = (status) => motors.filter((m) => m.status === status).length;
  return { shift, motors, done: count(DONE), skipped: count(SKIPPED), left: count(LEFT),
    waiting: entries.filter((e) => e.state === queue.WAITING),
    attention: entries.filter((e) => e.state === queue.ATTENTION) };
}

const inShift = (entry, shift) => {
  const at = Date.parse(entry.body.taken_at);
  return at >= Date.parse(shift.starts_at) && at < Date.parse(shift.ends_at);
};
export const over = (shift, now = Date.now()) => now >= Date.parse(shift.ends_at);
export const old = (entry, now = Date.now()) => now - Date.parse(entry.madeAt) > LATE_MS;

// The next motor that nobody has seen, in walking order, round the corner if need be.
export function nextAfter({ motors }, id) {
  const left = motors.filter((m) => m.status === LEFT && m.id !== id);
  const place = motors.findIndex((m) => m.id === id);
  return left.find((m) => motors.indexOf(m) > place) ?? left[0] ?? null;
}
