"""The week against the one before and the mean of the four before, and its rates per 100 readings.

Counted in one query over the five weeks, by the index of each record's instants. A rate is given, not only a count:
a week in which fewer motors were read raises fewer flags. A reading is one that makes a motor read: taken at the
motor, neither skipped nor replaced by a correction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.export.week import Week, stood
from app.rules.findings import PRIORITIES
from app.store.changes import Change
from app.store.flags import Finding, Flag
from app.store.lubrication import Greasing, something_went_in
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


def compared(session: Session, unit_id: int, week: Week) -> list[Compared]:
    """Every measure in the order it is shown. One query."""
    weeks = [week.before(i) for i in range(1 + (WEEKS_BEHIND if week.span.is_week else 1))]
    counts = counted(session, unit_id, weeks)
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


def _sum(condition: Any) -> sa.ColumnElement[int]:
    return sa.func.sum(sa.case((condition, 1), else_=0))


def _stood_in(week: Week) -> sa.ColumnElement[bool]:
    return sa.and_(Flag.raised_at < week.end, sa.or_(Flag.closed_at.is_(None), Flag.closed_at >= week.start))


def counted(session: Session, unit_id: int, weeks: Sequence[Week]) -> dict[str, list[int]]:
    """Each measure's count in each of these weeks, which follow one another, the newest first."""
    start, end = weeks[-1].start, weeks[0].end

    def arm(name: Any, at: Any, *where: Any) -> sa.Select[Any]:
        return sa.select(name, *(_sum(sa.and_(at >= w.start, at < w.end)) for w in weeks)).where(*where)

    def instant(model: Any, at: Any, *where: Any) -> tuple[Any, ...]:
        return model.unit_id == unit_id, at >= start, at < end, *where

    def plain(name: str, model: Any, at: Any, *where: Any) -> sa.Select[Any]:
        return arm(sa.literal(name), at, *instant(model, at, *where))

    looked = (Reading.skip_reason.is_(None), Reading.watch.is_(False), not_corrected(),
              sa.or_(Reading.token_id.is_(None), Reading.smoke.is_not(None)))
    outside = sa.exists().where(Finding.cause == "start", Finding.cause_id == Start.id)
    too_soon = sa.exists().where(Finding.cause == "greasing", Finding.cause_id == Greasing.id,
                                 Finding.rule == "greased_too_soon")
    by_priority = arm(sa.literal("raised as ") + Flag.priority, Flag.raised_at,
                      *instant(Flag, Flag.raised_at)).group_by(Flag.priority)
    sheets = [_sum(Round.shift_date.between(w.span.first, w.span.last)) for w in weeks]
    arms = (
        plain(READINGS, Reading, Reading.taken_at, *looked),
        sa.select(sa.literal(SIGNED), *sheets).where(
            Round.unit_id == unit_id, Round.signed_at.is_not(None),
            Round.shift_date.between(weeks[-1].span.first, weeks[0].span.last)),
        sa.select(sa.literal(STOOD), *(_sum(_stood_in(w)) for w in weeks)).where(
            Flag.id.in_(stood(unit_id, start, end))),
        plain(RAISED, Flag, Flag.raised_at), by_priority, plain(CLOSED, Flag, Flag.closed_at),
        plain(STARTS, Start, Start.at), plain(OUTSIDE, Start, Start.at, outside),
        plain(AUTOMATIC, Start, Start.at, Start.outcome == "automatic"), plain(TRIPS, Trip, Trip.at),
        plain(GREASED, Greasing, Greasing.at, something_went_in()),
        plain(TOO_SOON, Greasing, Greasing.at, too_soon),
        plain(CORRECTIONS, Reading, Reading.taken_at, Reading.replaces_id.is_not(None)),
        plain(LIMITS, Change, Change.at, Change.subject == "limit"))
    found = {name: [0] * len(weeks) for name, _ in SHOWN}
    for name, *sums in session.execute(sa.union_all(*arms)):
        found[name] = [int(n or 0) for n in sums]
    return found
