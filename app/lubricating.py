"""Lubrication as the pages tell it: one bearing before it is greased, the plan of the unit, the months behind.

Nothing here writes. The warning before a greasing comes from the same rule that flags it after.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import gathering
from app.rules import elapsed, facts, greased, greasing, greasing_plan, running_hours, settling
from app.rules.bearing_numbers import is_sealed
from app.rules.findings import Finding
from app.rules.greasing import Due
from app.rules.limits import Limits
from app.rules.shifts import week_bounds, week_of
from app.store import limits, lubrication
from app.store.lubrication import Greasing, Interval
from app.store.motors import LubricationPoint, Motor
from app.store.units import Unit

# one bearing, before a hand is put to the gun ---------------------------------------------------------------


@dataclass(frozen=True)
class Bearing:
    """What must be known of one bearing before it is greased."""

    end: str
    line: LubricationPoint | None  # its line of the chart
    point: facts.LubricationPoint
    number: str | None  # as the plate stamps it
    last: Greasing | None
    due: Due
    falls_due: datetime | None
    sealed_by: str | None  # what says it is sealed: chart or nameplate
    warnings: tuple[Finding, ...]  # what a greasing right now would break, whatever is given
    no_interval_soon: bool  # greased days ago, and no interval says whether that is too soon
    warm_until: datetime | None  # fresh grease: warmth is expected until then

    @property
    def oil(self) -> bool:
        return self.point.kind == greased.OIL or (self.point.kind is None and self.number == "sleeve")

    @property
    def plate_says_sealed(self) -> bool:
        """The chart has it greased, the plate's number is of a sealed bearing: one of them is wrong."""
        return self.sealed_by is None and is_sealed(self.number)

    @property
    def amount_g(self) -> float | None:
        return self.point.grease_g or self.point.computed_grease_g

    @property
    def computed(self) -> bool:
        """The amount is the handbook's, and nobody has confirmed it yet."""
        return not self.point.grease_g and self.point.computed_grease_g is not None

    @property
    def needs_reason(self) -> bool:
        return bool(self.warnings) or self.no_interval_soon

    @property
    def sure(self) -> str:
        return how_sure(self.point, self.due)


def how_sure(point: facts.LubricationPoint, due: Due) -> str:
    """How sure the running hours since the last greasing are."""
    return running_hours.how_sure(point.run_h_unsure, (due.days_since or 0.0) * 24.0)


def given_facts(session: Session, unit: Unit, motor: Motor, at: datetime) -> tuple[facts.Facts, list[Greasing]]:
    """The facts a greasing right now is judged by, and the stored greasings behind them."""
    done = lubrication.last_greasings(session, motor.id, at + timedelta(microseconds=1))
    run = gathering.run_then(session, motor, at)
    given = facts.Facts(gathering.motor_facts(motor, at, done, run), at, show=unit.show,
                        history=facts.History(greasings=tuple(g.as_facts() for g in done)))
    return given, done


def bearings(session: Session, unit: Unit, motor: Motor, now: datetime) -> dict[str, Bearing]:
    """Both ends of a motor as they stand now."""
    given, done = given_facts(session, unit, motor, now)
    in_force = limits.limits_at(session, unit.id, motor.id, now)
    return {end: _bearing(motor, end, given, done, in_force) for end in ("ODE", "DE")}


def _bearing(motor: Motor, end: str, given: facts.Facts, done: list[Greasing], in_force: Limits) -> Bearing:
    point = given.motor.lubrication[end] or facts.LubricationPoint()
    number, now = given.motor.nameplate.bearing[end], given.now
    due = greasing.due(point, now)
    fresh_at, last_at = settling.greased_at(given, end, now), point.last_greased_at
    warm = settling.warm_until(fresh_at, in_force) if fresh_at else None
    soon = in_force.value("second_greasing_days")
    unknown = not (point.interval_days or point.interval_run_h or point.computed_interval_run_h)
    return Bearing(
        end=end, line=motor.point(end), point=point, number=number, due=due,
        last=next((g for g in done if g.end == end), None),
        falls_due=greasing_plan.falls_due_at(point, now, greasing_plan.share_of(point, now)),
        sealed_by=greased.sealed_by(point, number),
        warnings=tuple(greased.check_greasing(facts.Greasing(end, now), given, in_force)),
        no_interval_soon=unknown and last_at is not None and elapsed.days(last_at, now) < soon,
        warm_until=warm if warm and warm > now else None)


def would_find(session: Session, unit: Unit, motor: Motor, event: facts.Greasing) -> list[Finding]:
    """What the rules would say of this greasing: asked before it is stored, so that nobody does it unawares."""
    given, _ = given_facts(session, unit, motor, event.at)
    event = replace(event, at=event.at + timedelta(microseconds=1))  # one stored in this very moment came before
    return greased.check_greasing(event, given, limits.limits_at(session, unit.id, motor.id, event.at))


# the plan of the unit --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Planned:
    """One bearing with an interval: when it falls due and in which list it stands."""

    motor: Motor
    end: str
    line: LubricationPoint
    point: facts.LubricationPoint
    last: Greasing | None
    due: Due
    falls_due: datetime | None
    share: float  # of the time the motor runs
    where: str  # one of greasing_plan.LISTS
    finding: Finding | None

    @property
    def by_hours(self) -> bool:
        """Running hours decide when it falls due: an estimate."""
        return self.point.interval_run_h is not None and self.falls_due != self.due.due_at

    @property
    def sure(self) -> str:
        return how_sure(self.point, self.due)

    def due_between(self, start: datetime, end: datetime) -> bool:
        return self.falls_due is not None and greasing_plan.falls_due_between(
            self.falls_due, greasing_plan.every_days(self.point, self.share), start, end)


def plan(session: Session, unit: Unit, now: datetime) -> list[Planned]:
    """Every bearing with an interval, in walking order. One query."""
    shift, zone = unit.calendar.shift_of(now), unit.calendar.zone
    week_end = week_bounds(week_of(now, zone), zone)[1]
    rows = gathering.due_rows(session, unit)
    found = {(motor.id, f.end): f for motor, given in gathering.due_facts(session, unit, now, rows)
             for f in greasing.check(given, Limits())}
    planned = []
    for line, motor, last, run, _ in rows:
        point = gathering.point_facts(line, last, run, now)
        due, share = greasing.due(point, now), greasing_plan.share_of(point, now)
        falls = greasing_plan.falls_due_at(point, now, share)
        where = greasing_plan.list_of(due, falls, shift.ends_at, week_end)
        planned.append(Planned(motor, line.end, line, point, last, due, falls, share, where,
                               found.get((motor.id, line.end))))
    return planned


def overdue_count(planned: Iterable[Planned]) -> int:
    """As the banner counts: past the interval; never recorded is nobody's certain lateness."""
    return sum(1 for p in planned if p.finding is not None and p.point.last_greased_at is not None)


def count_overdue(lines: Iterable[Interval], at: datetime) -> int:
    """The same from lines of the chart that have an interval, on plain numbers: every page's banner counts them."""
    return sum([_overdue(row, at) for row in lines])


def _overdue(row: Interval, at: datetime) -> bool:
    last_at, run_h = gathering.since_greased(row, at)
    if last_at is None or (row.kind is None and is_sealed(row.bearing)):
        return False
    return greasing.state_of(row.interval_days, row.interval_run_h, elapsed.days(last_at, at), run_h) in (
        greasing.PAST, greasing.RUN_H_UNKNOWN)


def weeks_ahead(unit: Unit, now: datetime,
                count: int = greasing_plan.WEEKS_AHEAD) -> list[tuple[str, datetime, datetime]]:
    """(ISO week, start, end) of this week and those after it, in the unit's own time."""
    zone, weeks = unit.calendar.zone, []
    start, end = week_bounds(week_of(now, zone), zone)
    for _ in range(count):
        weeks.append((week_of(start, zone), start, end))
        start, end = week_bounds(week_of(end, zone), zone)
    return weeks
