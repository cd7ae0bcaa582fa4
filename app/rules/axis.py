"""The arithmetic of a drawn axis: round ticks, places in the drawing, days of the calendar, where a line must break.

Ticks are 1, 2 or 5 times a power of ten. A quantity with a true zero (amps, vibration) is drawn from zero, or heights
would lie; a temperature has none, and is drawn around what was read. A line joins two readings only where nothing
was missed between them.

>>> values([57.0, 63.0, 90.0]).ticks
(50.0, 60.0, 70.0, 80.0, 90.0)
>>> values([78.0, 92.0], from_zero=True).ticks
(0.0, 20.0, 40.0, 60.0, 80.0, 100.0)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

from app.rules.shifts import local_instant

STEPS = (1.0, 2.0, 5.0, 10.0)
#: Steps of a time axis in days: a day, two, then whole weeks, which begin on a Monday.
DAY_STEPS = (1, 2, 7, 14, 28, 56, 112)
#: A pause longer than this many usual pauses is a gap; and one shorter than this never is.
GAP_PAUSES, LEAST_GAP = 2.5, timedelta(hours=36)


@dataclass(frozen=True)
class Axis:
    """Values from low to high on a line from `start` to `end` in the drawing; start may be below end."""

    low: float
    high: float
    ticks: tuple[float, ...]
    start: float = 0.0
    end: float = 1.0

    def at(self, value: float) -> float:
        """Where a value stands, to a tenth of the drawing's unit; what lies outside stands at the edge."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    def drawn(self, start: float, end: float) -> Axis:
        return Axis(self.low, self.high, self.ticks, start, end)

    @property
    def places(self) -> int:
        """Decimals that tell its ticks apart."""
        step = self.ticks[1] - self.ticks[0] if len(self.ticks) > 1 else 1.0
        return max(0, -math.floor(math.log10(step) + 1e-9))


def round_step(span: float, most: int) -> float:
    """The smallest round step that parts a span into at most so many. Raises ValueError without a span."""
    if not span > 0 or not math.isfinite(span):
        raise ValueError("an axis needs a span")
    least = span / most
    power = 10.0 ** math.floor(math.log10(least))
    return next((s * power for s in STEPS if s * power >= least * (1 - 1e-9)), 10.0 * power)


def values(found: Iterable[float], *, from_zero: bool = False, about_zero: bool = False, most: int = 6) -> Axis:
    """An axis whose ends are ticks and that holds every value. One value, or many alike, get room around them.

    from_zero: begins at zero (or below, where a value does); about_zero: zero lies on it. Nothing found: 0 to 1.
    """
    known = [*found, *([0.0] if from_zero or about_zero else [])]
    if not known:
        return Axis(0.0, 1.0, (0.0, 1.0))
    low, high = min(known), max(known)
    if high == low:
        room = abs(high) * 0.1 or 1.0
        low, high = (low if from_zero and low == 0 else low - room), high + room
    step = round_step(high - low, most)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = tuple(round(i * step, 10) + 0.0 for i in range(first, last + 1))
    return Axis(ticks[0], ticks[-1], ticks)


# time ------------------------------------------------------------------------------------------------------


def seconds(start: datetime, end: datetime) -> Axis:
    """Elapsed seconds since `start`, whatever the clocks do between. Raises ValueError for an end not after it."""
    span = (end - start).total_seconds()
    if span <= 0:
        raise ValueError("an axis needs a span")
    return Axis(0.0, span, (0.0, span))


def days(start: datetime, end: datetime, zone: ZoneInfo, most: int = 8) -> list[tuple[date, datetime]]:
    """Local days that begin in [start, end) and their instants, so few that their names do not meet.

    Steps of a week and more stand on Mondays, so that weeks are seen as weeks.
    """
    first, last = start.astimezone(zone).date(), end.astimezone(zone).date()
    step = next((s for s in DAY_STEPS if (last - first).days / s <= most), DAY_STEPS[-1])
    if step >= 7:
        first += timedelta(days=(1 - first.isoweekday()) % 7)
    found = [(day, local_instant(day, time(0), zone))
             for day in (first + timedelta(days=i) for i in range(0, (last - first).days + 1, step))]
    return [(day, at) for day, at in found if start <= at < end]


def gap_after(instants: Sequence[datetime]) -> timedelta:
    """From how long a pause on something was missed: 2.5 times the usual one, at least 36 h."""
    pauses = [(later - earlier).total_seconds() for earlier, later in pairwise(instants)]
    return max(LEAST_GAP, timedelta(seconds=GAP_PAUSES * median(pauses))) if pauses else LEAST_GAP


def pieces(points: Sequence[tuple[datetime, float | None, str]], gap: timedelta) -> list[list[int]]:
    """Which points a line may join: indexes of runs without a missing value, a long pause or a change of kind.

    points: in order of time, (when, value or None where nothing was measured, kind).
    """
    runs: list[list[int]] = []
    before: int | None = None
    for i, (at, value, kind) in enumerate(points):
        if value is None:
            before = None
            continue
        joined = before is not None and at - points[before][0] <= gap and points[before][2] == kind
        if joined:
            runs[-1].append(i)
        else:
            runs.append([i])
        before = i
    return runs
