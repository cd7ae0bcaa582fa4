"""`not_settled_bearing`: fresh grease runs warm for some hours; after a day the bearing must be back where it was.

For 24 h after greasing warmth is expected, and what flags there says how long ago it was greased. From then on, for a
week: more than 8 K above the median of its own running readings from before the greasing, like with like and at least
three; or a feel grade hotter than the last one before it. This shift. (Common practice, no published source.)
Before 58 °C, 30 h after greasing 66 °C is settled, 66.1 °C is not.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from app.rules import elapsed, robust, wording
from app.rules.facts import COULD_NOT_FEEL, ENDS, TEMPERATURE_FEEL, Facts, Reading
from app.rules.findings import THIS_SHIFT, Finding, over
from app.rules.limits import PRACTICE, Limits
from app.rules.own_history import BEARINGS, before, now_value

RULE = "not_settled_bearing"
WARMED = ("bearing_hot", "bearings_uneven", "lubricant")
MOST_WORDS = 30
LEAST_READINGS = 3


def greased_at(facts: Facts, end: str, at: datetime) -> datetime | None:
    """The newest greasing of this end up to an instant; one in which nothing went in is none."""
    times = [g.at for g in facts.history.greasings if g.end == end and g.grams != 0 and elapsed.hours(g.at, at) >= 0]
    return max(times, default=None)


def warm_until(greased: datetime, limits: Limits) -> datetime:
    """Until when warmth is expected."""
    return greased + timedelta(hours=limits.value("step_greasing_wait_h"))


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not reading.running:
        return []
    found = []
    for end in ENDS:
        greased = greased_at(facts, end, reading.taken_at)
        if greased is not None and _watched(greased, reading.taken_at, limits):
            found.append(_measured(end, greased, facts, limits) or _felt(end, greased, reading, facts))
    return [finding for finding in found if finding is not None]


def _watched(greased: datetime, at: datetime, limits: Limits) -> bool:
    since = elapsed.hours(greased, at)
    return limits.value("step_greasing_wait_h") <= since <= limits.value("not_settled_watch_days") * 24.0


def _measured(end: str, greased: datetime, facts: Facts, limits: Limits) -> Finding | None:
    quantity = next(q for q in BEARINGS if q.end == end)
    value = now_value(quantity, facts, limits)
    if value is None:
        return None
    earlier = [figure for taken, figure in before(quantity, facts, limits)
               if elapsed.hours(taken.taken_at, greased) > 0]
    if len(earlier) < LEAST_READINGS:
        return None
    limit, usual = limits["not_settled_this_shift_k"], robust.median(earlier)
    if not over(value - usual, limit.value):
        return None
    up, most = wording.pair(value - usual, limit.value, wording.difference(facts.show))
    says = (f"{end} bearing {wording.figure(value, wording.temperature(facts.show))}, {up} above before it was greased "
            f"{_ago(greased, facts)} ago; {most} may stay ({limit.origin}). Check for too much grease.")
    return Finding(RULE, end, THIS_SHIFT, value - usual, limit.value, "K", limit.origin, says)


def _felt(end: str, greased: datetime, reading: Reading, facts: Facts) -> Finding | None:
    now = reading.bearing_feel[end]
    earlier = [r.bearing_feel[end] for r in sorted(facts.history.running, key=lambda r: r.taken_at)
               if elapsed.hours(r.taken_at, greased) > 0 and r.bearing_feel[end] not in (None, COULD_NOT_FEEL)]
    if now in (None, COULD_NOT_FEEL) or not earlier or _grade(now) <= _grade(earlier[-1]):
        return None
    says = (f"{end} bearing {now}, {earlier[-1]} before it was greased {_ago(greased, facts)} ago ({PRACTICE}). "
            "Check for too much grease.")
    return Finding(RULE, end, THIS_SHIFT, None, None, None, PRACTICE, says)


def _grade(word: str | None) -> int:
    return TEMPERATURE_FEEL.index(word or "")


def _ago(greased: datetime, facts: Facts) -> str:
    at = facts.reading.taken_at if facts.reading is not None else facts.now
    return wording.figure(elapsed.hours(greased, at), wording.HOURS)


def said(findings: list[Finding], facts: Facts, limits: Limits) -> list[Finding]:
    """The findings, those on a bearing greased less than a day ago saying so."""
    return [_with_greasing(finding, facts, limits) for finding in findings]


def _with_greasing(finding: Finding, facts: Facts, limits: Limits) -> Finding:
    reading = facts.reading
    if reading is None or finding.rule not in WARMED or finding.end is None:
        return finding
    greased = greased_at(facts, finding.end, reading.taken_at)
    if greased is None or elapsed.hours(greased, reading.taken_at) >= limits.value("step_greasing_wait_h"):
        return finding
    says = f"{finding.says} {finding.end} greased {_ago(greased, facts)} ago."
    return replace(finding, says=says) if len(says.split()) <= MOST_WORDS else finding
