"""What else than a reading raises a flag that a limit has a say in: greasings, starts, oil that was topped up."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import gathering, start_records
from app.rehearsal_facts import InForce, MotorPast
from app.rehearsal_flags import Course
from app.rules import greased, limit_reach
from app.rules import oil as oil_rule
from app.rules.findings import Finding
from app.rules.oil import TopUp
from app.store import oil
from app.store.lubrication import Greasing
from app.store.starts import Start
from app.store.units import Unit

Act = tuple[datetime, Callable[[], None]]


def acts(session: Session, unit: Unit, told: MotorPast, course: Course, families: frozenset[str], start: datetime,
         in_force: InForce, opened: list[datetime]) -> list[Act]:
    """Each with its instant; few a motor, so each may ask the store, as it did when it was recorded."""
    found: list[Act] = []
    if limit_reach.GREASED in families:
        found += [(g.at, lambda g=g: _show(course, _greasing(session, unit, told, g, in_force), g.at,
                                           limit_reach.GREASED)) for g in told.greasings_in(start)]
    if limit_reach.STARTS in families:
        found += [(s.at, lambda s=s: _show(course, _start(session, unit, told, s, in_force), s.at,
                                           limit_reach.STARTS)) for s in told.starts if s.at >= start]
    if limit_reach.OIL in families:
        found += _oil(session, unit, told, course, start, in_force, opened)
    return found


def _show(course: Course, found: Iterable[Finding], at: datetime, family: str) -> None:
    course.show((f for f in found if limit_reach.family_of(f.rule) == family), at)


def _greasing(session: Session, unit: Unit, told: MotorPast, done: Greasing, in_force: InForce) -> list[Finding]:
    given = gathering.facts_of(session, unit, told.motor, None, done.at - timedelta(microseconds=1))
    return greased.check_greasing(done.as_facts(), given, in_force.at(done.at))


def _start(session: Session, unit: Unit, told: MotorPast, row: Start, in_force: InForce) -> list[Finding]:
    return start_records.findings_of_start(session, unit, told.motor, row, in_force.at(row.at))


# oil -------------------------------------------------------------------------------------------------------


def _oil(session: Session, unit: Unit, told: MotorPast, course: Course, start: datetime, in_force: InForce,
         opened: list[datetime]) -> list[Act]:
    """Judged with each top-up; given back with the first sheet that is opened when it is within its normal again."""
    taken = oil.top_ups(session, unit.id, datetime.min.replace(tzinfo=start.tzinfo, year=1970),
                        datetime.max.replace(tzinfo=start.tzinfo, year=2999), told.motor.id)
    since = oil.first_entries(session, unit.id, told.motor.id)
    found: list[Act] = []
    for (motor_id, end), all_of_it in taken.items():
        first = since.get((motor_id, end))
        for top_up in all_of_it:
            if start <= top_up.at:
                found.append((top_up.at, lambda end=end, all_of_it=all_of_it, first=first, at=top_up.at: course.show(
                    oil_rule.check_top_ups(end, _known(all_of_it, at, in_force), first, at, in_force.at(at),
                                           unit.show), at)))
        found += [(at, lambda end=end, all_of_it=all_of_it, first=first, at=at: _give_back(
            course, end, all_of_it, first, at, in_force)) for at in opened]
    return found


def _known(all_of_it: list[TopUp], at: datetime, in_force: InForce) -> list[TopUp]:
    days = in_force.at(at).value("drinks_oil_span_days") * (oil_rule.MOST_SPANS + 1)
    return [t for t in all_of_it if at - timedelta(days=days) < t.at <= at]


def _give_back(course: Course, end: str, all_of_it: list[TopUp], since: datetime | None, at: datetime,
               in_force: InForce) -> None:
    flag = course.standing.get((oil_rule.RULE, end))
    if flag is None or flag.returned_at is not None:
        return
    if not oil_rule.drinking(_known(all_of_it, at, in_force), since, at, in_force.at(at)).above_normal:
        course.give_back(flag, at)
