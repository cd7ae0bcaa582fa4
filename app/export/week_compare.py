"""The week against the one before and the mean of the four before, and its rates per 100 readings.

Counted in one query over the five weeks, by the index of each record's instants. A rate is given, not only a count:
a week in which fewer motors were read raises fewer flags. A reading is one that makes a motor read: taken at the
motor, neither skipped nor replaced by a correction.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from app.export.week import Week
from app.export.week_stood import UNIT
from app.rules.findings import PRIORITIES
from app.store.base import UtcDateTime
from app.store.changes import Change
from app.store.flags import Finding, Flag
from app.store.lubrication import Greasing, something_went_in
from app.store.motors import Motor
from app.store.rounds import Reading, Round, not_corrected
from app.store.starts import Start, Trip

WEEKS_BEHIND = 4
READINGS, SIGNED = "readings", "sheets signed"
STOOD, RAISED, CLOSED = "flags that stood", "flags raised", "flags closed"
STARTS, OUTSIDE, AUTOMATIC, TRIPS = "starts", "starts outside limits", "automatic starts", "trips"
GREASED, TOO_SOON = "bearings greased", "greased too soon or too much"
CORRECTIONS, LIMITS = "readings corrected", "limits changed"


def raised(priority: str) -> str:
    return f"raised as {priority}"


#: In the order they are shown, and whether a rate per 100 readings says something.
SHOWN = ((READINGS, False), (SIGNED, False), (STOOD, False), (RAISED, True), *((raised(p), True) for p in PRIORITIES),
         (CLOSED, True), (STARTS, False), (OUTSIDE, False), (AUTOMATIC, False), (TRIPS, True), (GREASED, False),
         (TOO_SOON, False), (CORRECTIONS, True), (LIMITS, False))


@dataclass(frozen=True)
class Compared:
    """One measure: this week, the one before, the mean of the four before (None for a span that is no week).

    per_100 and its fellows: per 100 readings; None where a rate says nothing or nothing was read.
    """

    name: str
    this: int
    before: int
    mean: float | None
    per_100: float | None = None
    per_100_before: float | None = None
    per_100_mean: float | None = None


def weeks_compared(week: Week) -> list[Week]:
    """The week and those it is compared with, the newest first: four before a week, one before another span."""
    return [week.before(i) for i in range(1 + (WEEKS_BEHIND if week.span.is_week else 1))]


def from_counts(week: Week, rows: Iterable[tuple[str, datetime, int]]) -> list[Compared]:
    """rows: (measure, the week's start, count), as the arms give them; what is not there is 0."""
    weeks = [one.start for one in weeks_compared(week)]
    counts = {name: [0] * len(weeks) for name, _ in SHOWN}
    for name, start, count in rows:
        counts[name][weeks.index(start)] = int(count)
    return [_one(name, rated, counts[name], counts[READINGS]) for name, rated in SHOWN]


def per_100(count: float, readings: float) -> float | None:
    """To one decimal; None where nothing was read."""
    return round(100.0 * count / readings, 1) if readings else None


def _one(name: str, rated: bool, n: list[int], readings: list[int]) -> Compared:
    four = len(n) > 2
    mean = sum(n[1:]) / WEEKS_BEHIND if four else None
    if not rated:
        return Compared(name, n[0], n[1], mean)
    return Compared(name, n[0], n[1], mean, per_100(n[0], readings[0]), per_100(n[1], readings[1]),
                    per_100(sum(n[1:]), sum(readings[1:])) if four else None)


# the query -------------------------------------------------------------------------------------------------


def compared_with(week: Week) -> dict[str, Any]:
    """What the arms of `count_arms` are asked with, beside the unit."""
    given: dict[str, Any] = {}
    for i, one in enumerate(weeks_compared(week)):
        given |= {f"start_{i}": one.start, f"until_{i}": one.end, f"first_{i}": one.span.first,
                  f"last_{i}": one.span.last}
    return given


def count_arms(weeks: int) -> list[sa.Subquery]:
    """One subquery a measure, each with name, start and count: a row for each of so many weeks.

    Counted week by week, each in its own index: to group them, the database would first sort what it has counted.
    """
    w = sa.union_all(*(
        sa.select(sa.bindparam(f"start_{i}", type_=UtcDateTime()).label("start"),
                  sa.bindparam(f"until_{i}", type_=UtcDateTime()).label("until"),
                  sa.bindparam(f"first_{i}", type_=sa.Date()).label("first"),
                  sa.bindparam(f"last_{i}", type_=sa.Date()).label("last"))
        for i in range(weeks))).cte("weeks")

    def number(model: Any, *where: Any) -> Any:
        found = sa.select(sa.func.count()).select_from(model).where(model.unit_id == UNIT, *where)
        return found.correlate(w).scalar_subquery()

    def arm(name: str, count: Any) -> sa.Subquery:
        return sa.select(sa.literal(name).label("name"), w.c.start.label("start"), count.label("count")).subquery()

    def at(name: str, model: Any, instant: Any, *where: Any) -> sa.Subquery:
        return arm(name, number(model, instant >= w.c.start, instant < w.c.until, *where))

    looked = (Reading.skip_reason.is_(None), Reading.watch.is_(False), not_corrected(),
              sa.or_(Reading.token_id.is_(None), Reading.smoke.is_not(None)))
    outside = sa.exists().where(Finding.cause == "start", Finding.cause_id == Start.id)
    too_soon = sa.exists().where(Finding.cause == "greasing", Finding.cause_id == Greasing.id,
                                 Finding.rule == "greased_too_soon")
    return [
        at(READINGS, Reading, Reading.taken_at, *looked),
        arm(SIGNED, number(Round, Round.shift_date.between(w.c.first, w.c.last), Round.signed_at.is_not(None))),
        # by two look-ups, as in `stood`
        arm(STOOD, number(Flag, Flag.closed_at >= w.c.start, Flag.raised_at < w.c.until)
            + number(Flag, Flag.closed_at.is_(None), Flag.raised_at < w.c.until)),
        at(RAISED, Flag, Flag.raised_at),
        *(at(raised(word), Flag, Flag.raised_at, Flag.priority == word) for word in PRIORITIES),
        at(CLOSED, Flag, Flag.closed_at), at(STARTS, Start, Start.at), at(OUTSIDE, Start, Start.at, outside),
        at(AUTOMATIC, Start, Start.at, Start.outcome == "automatic"), at(TRIPS, Trip, Trip.at),
        at(GREASED, Greasing, Greasing.at, something_went_in()), at(TOO_SOON, Greasing, Greasing.at, too_soon),
        # motor by motor: the corrections of one have their own index, and are few where the unit's readings are many
        arm(CORRECTIONS, number(Motor, Reading.motor_id == Motor.id, Reading.replaces_id.is_not(None),
                                Reading.taken_at >= w.c.start, Reading.taken_at < w.c.until)),
        at(LIMITS, Change, Change.at, Change.subject == "limit")]
