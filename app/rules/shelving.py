"""Putting a flag aside for a while: how long at most, and what wakes it early. Act now is never put aside.

After the practice of ISA-18.2 that shelving has a name, a reason and an end. The figures are common practice, with no
published source: a head operator for at most 3 shifts, a supervisor for 14 days; a rise of more than 5 K (heat) or 5 %
(everything else) since it was shelved wakes it, and so does a graver priority.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from app.rules import wording
from app.rules.facts import Show
from app.rules.findings import over, rank
from app.rules.shifts import Calendar

MOST_SHIFTS = 3
MOST_DAYS = 14
RISE_K = 5.0
RISE_PERCENT = 5.0
HEAT = ("°C", "K")


def wakes_at(calendar: Calendar, now: datetime, for_days: bool) -> list[datetime]:
    """The shift starts until which a flag may be shelved now: the next three, or all within 14 days."""
    if for_days:
        after = now + timedelta(microseconds=1)  # a start 14 days on to the second is within them, this moment's is not
        return [shift.starts_at for shift in calendar.between(after, after + timedelta(days=MOST_DAYS))]
    found, shift = [], calendar.shift_of(now)
    for _ in range(MOST_SHIFTS):
        shift = calendar.after(shift)
        found.append(shift.starts_at)
    return found


def rise(then: float | None, value: float | None, limit: float | None) -> float | None:
    """How much worse a figure is than when it was shelved; one below its limit gets worse downwards."""
    if then is None or value is None:
        return None
    return then - value if limit is not None and then < limit else value - then


def why_wake(priority_then: str, value_then: float | None, priority: str, value: float | None, limit: float | None,
             unit_of_measure: str | None, show: Show) -> str | None:
    """Why a shelved flag wakes now, in words; None while it may stay aside.

    Shelved at 91 °C: 96 °C stays, 96.1 °C wakes it. Shelved at 90 A: 94.5 A stays, 94.6 A wakes it.
    """
    if rank(priority) < rank(priority_then):
        return f"it is {priority} now"
    up = rise(value_then, value, limit)
    if up is None or value_then is None:
        return None
    if unit_of_measure in HEAT:
        more = wording.figure(up, wording.difference(show))
        return f"{more} worse than when it was shelved" if over(up, RISE_K) else None
    if over(up, abs(value_then) * RISE_PERCENT / 100.0):
        return f"{wording.digits(100.0 * up / abs(value_then), 1)} % worse than when it was shelved" if value_then \
            else "worse than when it was shelved"
    return None
