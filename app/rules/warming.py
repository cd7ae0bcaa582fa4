"""`warming_fast`: the first-run watch. A bearing that gains more than 2 K/min between two timed readings: act now.

Started 13:00; DE 45 °C at 13:10 and 54 °C at 13:14 is 9 K in 4 min, 2.25 K/min. One maker watches at least 2 h after a
first start and stops above 2 °C/min; normal sleeve warm-up is 11 to 14 K in the first 10 min (two hosted manuals).
"""

from __future__ import annotations

from app.rules import elapsed, wording
from app.rules.facts import ENDS, Facts, Reading
from app.rules.findings import ACT_NOW, Finding, over
from app.rules.limits import Limits
from app.rules.tables import MakesNoSense

RULE = "warming_fast"


def rate_k_per_min(earlier_c: float, later_c: float, minutes: float) -> float:
    """Kelvin a minute. Raises MakesNoSense where no time has passed."""
    if minutes <= 0:
        raise MakesNoSense("a rate needs two different times")
    return (later_c - earlier_c) / minutes


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading, started = facts.reading, facts.history.last_start_at
    if reading is None or not reading.running or started is None:
        return []
    if not 0 <= elapsed.hours(started, reading.taken_at) <= limits.value("warming_fast_watch_h"):
        return []
    since_start = [earlier for earlier in facts.history.running
                   if elapsed.hours(started, earlier.taken_at) >= 0 and earlier.method == reading.method]
    found = (_end(end, reading, since_start, facts, limits) for end in ENDS)
    return [finding for finding in found if finding is not None]


def _end(end: str, reading: Reading, since_start: list[Reading], facts: Facts, limits: Limits) -> Finding | None:
    now_c, limit = reading.bearing_temp_c[end], limits["warming_fast_act_now_k_per_min"]
    before = [(elapsed.hours(earlier.taken_at, reading.taken_at) * 60.0, temp) for earlier in since_start
              if (temp := earlier.bearing_temp_c[end]) is not None]
    passed = [(minutes, temp) for minutes, temp in before if minutes > 0]
    if now_c is None or not passed:
        return None
    minutes, temp = min(passed)
    rate = rate_k_per_min(temp, now_c, minutes)
    if not over(rate, limit.value):
        return None
    scale = wording.Scale(f"{wording.difference(facts.show).unit} a minute", 2, wording.difference(facts.show).convert)
    fast, most = wording.pair(rate, limit.value, scale)
    says = (f"{end} bearing gains {fast}, above {most} ({limit.origin}). "
            "Stop by procedure and tell the head operator.")
    return Finding(RULE, end, ACT_NOW, rate, limit.value, "K/min", limit.origin, says)
