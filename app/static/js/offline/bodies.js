// Skips, starts, stops and trips as the server's door takes them.
import { cleanText } from "./body.js";
import { instant, isTimeToTheSecond } from "./times.js";

const LONGEST_NAME = 200, LONGEST_CAUSE = 1000;

export function skipBody(data, about, id, now) {
  const reason = cleanText(String(data.get("words") ?? "")) || cleanText(String(data.get("reason") ?? ""));
  const problems = [];
  if (!reason) problems.push({ field: "words", says: "Choose a reason, or write one." });
  if (reason.length > LONGEST_NAME) problems.push({ field: "words", says: "Keep it to 200 characters." });
  return { problems, body: { id, tag: about.motor.tag, by: about.by, taken_at: new Date(now).toISOString(),
    skip_reason: reason } };
}

function when(data, about, now, problems) {
  const typed = String(data.get("seen_at") ?? "").trim();
  if (!typed) return new Date(now);
  if (!isTimeToTheSecond(typed)) {
    problems.push({ field: "seen_at", says: `“${typed.slice(0, 20)}” is not a time such as 07:12 or 07:12:30.` });
    return new Date(now);
  }
  return new Date(instant(typed, about.zone, now));
}

export function startBody(data, about, id, now) {
  const problems = [], at = when(data, about, now, problems), what = String(data.get("what") ?? "");
  const body = { id, tag: about.motor.tag, by: about.by, at: at.toISOString() };
  if (what !== "stop") {
    body.outcome = what;
    if (data.get("then_continuous") === "yes") body.then_continuous = true;
  }
  return { problems, body };
}

export function tripBody(data, about, id, now) {
  const problems = [], protection = String(data.get("protection") ?? ""), cause = cleanText(String(data.get("cause") ?? ""));
  const known = String(data.get("at") ?? "") || new URLSearchParams(location.search).get("at") || "";
  const at = String(data.get("seen_at") ?? "").trim() || Number.isNaN(Date.parse(known))
    ? when(data, about, now, problems) : new Date(known);
  if (!protection) {
    problems.push({ field: "protection", says: "Choose which protection opened; “unknown” is an answer." });
  }
  if (cause.length > LONGEST_CAUSE) problems.push({ field: "cause", says: "Keep it to 1,000 characters." });
  const body = { id, tag: about.motor.tag, by: about.by, at: at.toISOString(), protection };
  if (cause) body.cause = cause;
  return { problems, body };
}
