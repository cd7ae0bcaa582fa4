"""When a bearing falls due, in which list it belongs, and what one walk with one gun needs.

By days the chart's interval; by running hours the hours left over the share of the time the motor runs; the first of
both. 1,000 h left on a motor that runs half the time is 2,000 h ahead. A motor that stands uses up no hours.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.rules import elapsed, grease_amounts, running_hours
from app.rules.facts import LubricationPoint
from app.rules.greasing import NEVER_RECORDED, NO_INTERVAL, PAST, RUN_H_UNKNOWN, SEALED, Due
from app.rules.tables import MakesNoSense

#: The lists of the page, in the order in which they are walked.
OVERDUE, NOW, THIS_WEEK, NEVER, LATER, NONE = "overdue", "now", "this week", "never recorded", "later", "no interval"
LISTS = (OVERDUE, NOW, THIS_WEEK, NEVER, LATER)
WEEKS_AHEAD = 8


def falls_due_at(point: LubricationPoint, now: datetime, share: float = 1.0) -> datetime | None:
    """The first of both intervals to end; an estimate where running hours decide. None: nothing makes it due.

    share: of the time the motor runs, 0 to 1.
    """
    if point.last_greased_at is None:
        return None
    ends = []
    if point.interval_days is not None:
        ends.append(point.last_greased_at + timedelta(days=point.interval_days))
    if point.interval_run_h is not None and point.run_h_since is not None:
        left_h = point.interval_run_h - point.run_h_since
        if left_h <= 0 or share > 0:
            ends.append(now + timedelta(hours=left_h / share if left_h > 0 else left_h))
    return min(ends, default=None)


def share_of(point: LubricationPoint, now: datetime) -> float:
    """The share of the time the motor ran since it was last greased."""
    if point.last_greased_at is None:
        return 1.0
    return running_hours.running_share(point.run_h_since, elapsed.hours(point.last_greased_at, now))


def list_of(due: Due, falls_due: datetime | None, now_until: datetime, week_until: datetime) -> str:
    """Which list a bearing stands in. now_until: the end of this shift. week_until: the end of this week."""
    if due.state in (SEALED, NO_INTERVAL):
        return NONE
    if due.state == NEVER_RECORDED:
        return NEVER
    if due.state == PAST:
        return OVERDUE
    if due.state == RUN_H_UNKNOWN:
        return NOW
    if falls_due is None or falls_due >= max(now_until, week_until):
        return LATER
    return NOW if falls_due < now_until else THIS_WEEK


def every_days(point: LubricationPoint, share: float) -> float | None:
    """Days from one greasing to the next as the motor runs now; None where nothing makes it due again."""
    spans = [point.interval_days] if point.interval_days else []
    if point.interval_run_h and share > 0:
        spans.append(point.interval_run_h / share / 24.0)
    return min(spans, default=None)


def falls_due_between(first: datetime, every: float | None, start: datetime, end: datetime) -> bool:
    """Whether it falls due in [start, end), taking each greasing as done on the day it is due."""
    if first >= end or every is None:
        return start <= first < end
    if first >= start:
        return True
    steps = -(-elapsed.days(first, start) // every)  # whole intervals until the first one not before start
    return first + timedelta(days=steps * every) < end


@dataclass(frozen=True)
class Gun:
    """A grease gun: what one stroke gives, and which lubricant is in it where one is kept to it."""

    name: str
    stroke_g: float
    lubricant: str | None = None


@dataclass(frozen=True)
class Total:
    """What a list needs of one lubricant. amounts not known are counted, never taken as nothing."""

    lubricant: str
    bearings: int
    grams: float
    unknown: int
    strokes: tuple[tuple[Gun, int], ...]  # each gun that may be used for it


def strokes_for(grams: float | None, gun: Gun) -> int | None:
    """Whole strokes of this gun; None where the amount is not known."""
    try:
        return None if grams is None else grease_amounts.strokes(grams, gun.stroke_g)
    except MakesNoSense:
        return None


def totals(needs: Iterable[tuple[str | None, float | None]], guns: Sequence[Gun] = ()) -> list[Total]:
    """One line a lubricant: bearings, grams, and strokes of each gun that holds it or is kept to none.

    needs: (lubricant, grams) of each bearing. Strokes are whole at each bearing, and then added.
    """
    by: dict[str, list[float | None]] = {}
    for lubricant, grams in needs:
        by.setdefault(lubricant or "", []).append(grams)
    return [_total(name or "lubricant not named", amounts, fitting(guns, name or None))
            for name, amounts in sorted(by.items())]


def fitting(guns: Iterable[Gun], lubricant: str | None) -> list[Gun]:
    """The guns that hold this lubricant, else those kept to none; any gun where it is not known."""
    guns = list(guns)
    if lubricant is None:
        return guns
    own = [g for g in guns if g.lubricant and lubricant and _plain(g.lubricant) == _plain(lubricant)]
    return own or [g for g in guns if not g.lubricant]


def _total(name: str, amounts: list[float | None], guns: list[Gun]) -> Total:
    known = [grams for grams in amounts if grams]
    counted = tuple((gun, sum(strokes_for(grams, gun) or 0 for grams in known)) for gun in guns)
    return Total(name, len(amounts), sum(known), len(amounts) - len(known), counted)


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())
