"""What was done in the week, for the page: starts against what each motor is allowed, trips, greasings, changes.

One query whatever was done: everything that happened, and what it is compared with, comes as one list of like lines.
"""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from app.export.week import Week
from app.export.week_asked import OnRoute, Place, Plate
from app.export.week_compare import Compared, compared_with, count_arms, from_counts, weeks_compared
from app.export.week_stood import FROM, UNIT, UNTIL, within
from app.rules import facts, greased, starting_basis
from app.rules.starting_facts import AUTOMATIC, FAILED, StartPlan
from app.rules.tables import MakesNoSense
from app.store.base import Real, UtcDateTime
from app.store.changes import Change
from app.store.flags import Finding
from app.store.limits import LimitChange, limits_from
from app.store.lubrication import Greasing, something_went_in
from app.store.motors import Motor
from app.store.people import Person
from app.store.prepared import Prepared
from app.store.rounds import Reading
from app.store.starts import Start, Trip, TripAct
from app.store.units import Unit

HOUR = timedelta(minutes=60)
START, TRIP, GREASED, CHANGE, CORRECTED = "start", "trip", "greased", "change", "corrected"
LIMIT, COUNT = "limit", "count"


class Line(NamedTuple):
    """One thing that happened. what, words, more: by kind, see the arm of the query that gives it."""

    kind: str
    at: datetime
    motor_id: int | None
    tag: str
    area: str
    what: str
    words: str | None
    more: str | None
    number: float | None
    by: str | None
    broke: str | None  # the rules that judged it, with commas


@dataclass
class MotorStarts:
    """One motor's starts of the week. most_in_60_min: rolling and half-open, as the limits count."""

    motor_id: int
    tag: str
    starts: int = 0
    automatic: int = 0
    failed: int = 0
    most_in_60_min: int = 0
    outside: int = 0  # starts that broke a rule
    broke: list[str] = field(default_factory=list)  # which
    allowed: float | None = None  # in 60 minutes; None: no figure allows any
    source: str = ""


@dataclass
class Done:
    """What happened, each list the oldest first."""

    starts: list[MotorStarts] = field(default_factory=list)  # those outside their limits first, then by count
    trips: list[Line] = field(default_factory=list)
    greasings: list[Line] = field(default_factory=list)
    limits: list[Line] = field(default_factory=list)
    other_changes: Counter[str] = field(default_factory=Counter)  # by subject
    corrections: list[Line] = field(default_factory=list)
    compared: list[Compared] = field(default_factory=list)

    @property
    def trips_by_protection(self) -> list[tuple[str, int]]:
        return sorted(Counter(t.what for t in self.trips).items(), key=lambda one: (-one[1], one[0]))

    @property
    def too_soon(self) -> list[Line]:
        """Greased again too soon, too much, or where nothing may go in."""
        return [g for g in self.greasings if greased.TOO_SOON in (g.broke or "")]

    @property
    def wrong(self) -> list[Line]:
        return [g for g in self.greasings if greased.WRONG in (g.broke or "")]

    @property
    def grams(self) -> float:
        return sum(g.number or 0.0 for g in self.greasings)


def done_in(session: Session, unit: Unit, week: Week, route: Iterable[OnRoute]) -> Done:
    """What happened in the week, and how that compares. One query. route: the unit's motors with their plates."""
    done, started, limits, counts = Done(), [], [], []
    for line in _lines(session, unit.id, week):
        if line.kind == COUNT:
            counts.append((line.what, line.at, int(line.number or 0)))
        elif line.kind == START:
            started.append(line)
        elif line.kind == LIMIT:
            limits.append(line)
        elif line.kind == CHANGE and line.what != "limit":
            done.other_changes[line.what] += 1
        else:
            {TRIP: done.trips, GREASED: done.greasings, CHANGE: done.limits, CORRECTED: done.corrections}[
                line.kind].append(line)
    counted = _count_starts(started, week)
    _allow(counted, limits, route, week)
    done.compared = from_counts(week, counts)
    done.starts = sorted(counted.values(), key=lambda m: (-m.outside, -m.starts, m.tag))
    return done


# the one query ---------------------------------------------------------------------------------------------

_NO_TEXT = sa.cast(sa.null(), sa.Text)
_NO_NUMBER = sa.cast(sa.null(), Real)


def _arm(kind: str, at: Any, what: Any, person_id: Any, *, motor_id: Any, words: Any = _NO_TEXT, more: Any = _NO_TEXT,
         number: Any = _NO_NUMBER, broke: Any = _NO_TEXT) -> sa.Select[Any]:
    tag = sa.func.coalesce(Motor.tag, "")
    return (sa.select(sa.literal(kind).label("kind"), at.label("at"), motor_id.label("motor_id"), tag.label("tag"),
                      sa.func.coalesce(Motor.area, "").label("area"), what.label("what"), words.label("words"),
                      more.label("more"), number.label("number"), Person.name.label("by"), broke.label("broke"))
            .outerjoin(Person, Person.id == person_id))


def broken_rules(cause: str, key: Any) -> Any:
    """The rules that judged an entry and found something, with commas."""
    return (sa.select(sa.func.aggregate_strings(Finding.rule, sa.literal_column("', '")))
            .where(Finding.cause == cause, Finding.cause_id == key).scalar_subquery())


#: The first starts of a week are counted with those of the hour before it.
HOUR_BEFORE = sa.bindparam("hour_before", type_=UtcDateTime())


def given_by(unit_id: int, week: Week) -> dict[str, Any]:
    """What the statements of a week are asked with."""
    return {"unit_id": unit_id, "start": week.start, "end": week.end, "hour_before": week.start - HOUR}


def _lines(session: Session, unit_id: int, week: Week) -> Iterator[Line]:
    asked = _done(len(weeks_compared(week)))
    rows = asked.rows(session, {**given_by(unit_id, week), **compared_with(week)})
    return map(Line._make, asked.all_values(session, rows))


@cache
def _done(weeks: int) -> Prepared:
    return Prepared(lambda: _was_done(weeks))


def _was_done(weeks: int) -> sa.Select[Any]:
    found = (sa.select(sa.func.aggregate_strings(TripAct.found, sa.literal_column("'; '")))
             .where(TripAct.trip_id == Trip.id, TripAct.found.is_not(None)).scalar_subquery())
    older = aliased(Reading)
    none = sa.cast(sa.null(), sa.Integer)
    arms = (
        # what: outcome; an hour of the week before too, for the first starts of this one
        _arm(START, Start.at, Start.outcome, Start.person_id, motor_id=Start.motor_id, number=Start.duration_s,
             broke=broken_rules("start", Start.id)).join(Motor, Motor.id == Start.motor_id)
        .where(Start.unit_id == UNIT, Start.at > HOUR_BEFORE, Start.at < UNTIL),
        # what: the protection that opened; words: the cause as first found; more: what was found since
        _arm(TRIP, Trip.at, Trip.protection, Trip.person_id, motor_id=Trip.motor_id, words=Trip.cause, more=found)
        .join(Motor, Motor.id == Trip.motor_id).where(*within(Trip)),
        # what: the end; words: the lubricant; more: the reason for going on after a warning
        _arm(GREASED, Greasing.at, Greasing.end, Greasing.person_id, motor_id=Greasing.motor_id,
             words=Greasing.lubricant, more=Greasing.why, number=Greasing.grams,
             broke=broken_rules("greasing", Greasing.id))
        .join(Motor, Motor.id == Greasing.motor_id).where(*within(Greasing), something_went_in()),
        # what: the subject; words: which one and from what to what; more: why
        _arm(CHANGE, Change.at, Change.subject, Change.person_id, motor_id=none, more=Change.why,
             words=Change.label + ": " + sa.func.coalesce(Change.before, "nothing") + " → "
             + sa.func.coalesce(Change.after, "nothing"))
        .outerjoin(Motor, sa.false()).where(*within(Change)),
        # more: why
        _arm(CORRECTED, Reading.received_at, sa.literal("reading"), Reading.person_id, motor_id=Reading.motor_id,
             more=Reading.replaces_why).join(older, older.id == Reading.replaces_id)
        .join(Motor, Motor.id == Reading.motor_id)
        .where(Motor.unit_id == UNIT, Reading.replaces_id.is_not(None), Reading.taken_at >= FROM,
               Reading.taken_at < UNTIL),
        # every limit of starts ever set, few rows: which were in force. what: the name; number: the value
        _arm(LIMIT, LimitChange.at, LimitChange.name, LimitChange.person_id, motor_id=LimitChange.motor_id,
             number=LimitChange.value).outerjoin(Motor, sa.false())
        .where(LimitChange.unit_id == UNIT, LimitChange.name.startswith("start_", autoescape=True)),
        # what: the measure; at: the start of the week it is of; number: the count
        *(sa.select(sa.literal(COUNT), c.start, none, sa.literal(""), sa.literal(""), c.name, _NO_TEXT, _NO_TEXT,
                    sa.cast(c["count"], Real), _NO_TEXT, _NO_TEXT)
          for c in (arm.c for arm in count_arms(weeks))))
    every = sa.union_all(*arms).subquery()
    return sa.select(every).order_by(every.c.at, every.c.kind, every.c.tag, every.c.what)


# starts against what is allowed ----------------------------------------------------------------------------


def _count_starts(lines: list[Line], week: Week) -> dict[int, MotorStarts]:
    found: dict[int, MotorStarts] = {}
    windows: dict[int, deque[datetime]] = defaultdict(deque)
    for line in lines:
        window = windows[line.motor_id or 0]
        window.append(line.at)
        while window[0] <= line.at - HOUR:
            window.popleft()
        if not week.holds(line.at):
            continue
        one = found.setdefault(line.motor_id or 0, MotorStarts(line.motor_id or 0, line.tag))
        one.starts += 1
        one.automatic += line.what == AUTOMATIC
        one.failed += line.what in FAILED
        one.most_in_60_min = max(one.most_in_60_min, len(window))
        one.outside += bool(line.broke)
        one.broke += [rule for rule in sorted((line.broke or "").split(", ")) if rule and rule not in one.broke]
    return found


class _Set(NamedTuple):
    """A limit that was set, as `limits_from` reads it."""

    name: str
    motor_id: int | None
    value: float | None
    at: datetime


def _allow(counted: dict[int, MotorStarts], limits: list[Line], route: Iterable[OnRoute], week: Week) -> None:
    """What each motor is allowed in an hour, by the plate and the limits in force when the week ended."""
    changes = set_limits((line.what, line.motor_id, line.number, line.at) for line in limits)
    for motor_id, allowed in allowances(route, changes, counted, week).items():
        counted[motor_id].allowed, counted[motor_id].source = allowed


def set_limits(rows: Iterable[tuple[str, int | None, float | None, datetime]]) -> Any:
    """Limits that were set (name, motor or None for the unit, value, from when), as `limits_from` reads them."""
    return [_Set(*row) for row in rows]


def allowances(route: Iterable[OnRoute], changes: Any, motor_ids: Container[int],
               week: Week) -> dict[int, tuple[float | None, str]]:
    """What each of these motors is allowed in an hour, and by what, when the week ended."""
    at = week.end - timedelta(microseconds=1)
    return {one.motor.id: allowance(one.motor, one.plate, limits_from(changes, one.motor.id, at))
            for one in route if one.motor.id in motor_ids}


def allowance(motor: Place, plate: Plate | None, limits: Any) -> tuple[float | None, str]:
    """Starts in any 60 minutes, and by what; (None, why) where no figure allows any."""
    wk2 = plate.load_wk2_lbft2 if plate else None
    known = facts.Nameplate(hp=plate.hp, poles=plate.poles, load_wk2_lbft2=wk2) if plate else facts.Nameplate()
    plan = StartPlan(motor.start_basis, motor.written_starts_per_hour, motor.written_spacing_min,
                     motor.written_run_min, motor.written_tries, wk2)
    try:
        basis = starting_basis.basis(known, plan, limits)
    except MakesNoSense as error:
        return None, str(error)
    return (None, basis.refuses) if basis.refuses else (basis.count.value, basis.count.source)
