"""`start_not_logged`: a motor runs that last stood, and nobody logged the start between: watch.

Starting heats a winding more than anything else it does, and starts are limited by the hour (NEMA MG 1 and MG 10, from
memory), so every energising belongs in the start log. This asks who or what started it and blames nobody: it may have
started by itself, or the stop may be the wrong entry. Until the start is logged the permission counts one at the latest
instant at which it may have been, when it was seen running (start_records.history_of). Common practice, no published
source.

Standing at 18:00, seen running at 06:00, no start logged: one finding, "stood 12 h ago". Started 05:30: none.
"""

from __future__ import annotations

from datetime import datetime

from app.rules import elapsed
from app.rules.facts import INTERLOCKS, Facts
from app.rules.findings import WATCH, Finding
from app.rules.limits import Limits
from app.rules.wording import digits

RULE, SOURCE = "start_not_logged", "the start log"
#: These start by themselves: an energising too, and counted like any other.
BY_ITSELF = INTERLOCKS[1:]
SAYS = "Runs; it stood {ago} ago, and {source} has no start since. {ask}"
WHO = "Who or what started it? Log it with its time: every start counts."
ITSELF = "Did it start by itself ({interlock})? Log that with its time: it counts."


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading, stood_at = facts.reading, facts.history.stood_at
    if reading is None or not reading.running or stood_at is None:
        return []
    interlock = facts.motor.interlock
    ask = ITSELF.format(interlock=interlock) if interlock in BY_ITSELF else WHO
    says = SAYS.format(ago=_ago(stood_at, reading.taken_at), source=SOURCE, ask=ask)
    return [Finding(RULE, None, WATCH, None, None, None, SOURCE, says)]


def _ago(earlier: datetime, later: datetime) -> str:
    """Minutes up to two hours, then hours up to two days, then days; a part of a minute is one."""
    hours = elapsed.hours(earlier, later)
    if hours < 2:
        return f"{digits(max(hours * 60, 1.0), 0)} min"
    return f"{digits(hours, 0)} h" if hours < 48 else f"{digits(hours / 24, 0)} days"
