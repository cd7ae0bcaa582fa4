"""What is on record of one motor as the start rules look at it, in one statement; and its last starts, stops and trips
as they are told, in another.

Of each kind a fixed number of the newest is read, however long the history: each is an arm of a union that walks its
own index. Nobody's mapped rows are made of it: the rules want instants and words.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules.facts import STANDBY
from app.store import rounds
from app.store.asked import once
from app.store.base import Key16, Real, UtcDateTime
from app.store.changes import Change
from app.store.flags import Finding
from app.store.people import Person
from app.store.prepared import Prepared, as_key
from app.store.rounds import Reading
from app.store.starts import PrestartCheck, Release, Start, Stop, Trip, TripAct, states_of_start
from app.store.unions import arm, line_of

#: So many of the newest of each kind the start rules look at; of its changes, those of its condition among so many.
STARTS, STOPS, TRIPS, RELEASES, FOUND, CHANGES = 40, 40, 60, 10, 40, 200

START, STOP, TRIP, RELEASE, CHECK, PASSED, REFUSED, BY_HAND, NOT_LOGGED, SEEN, SEEN_RUNNING, SEEN_OUT = (
    "start", "stop", "trip", "release", "check", "passed", "refused", "by hand", "not logged", "seen", "seen running",
    "seen out")


class Energised(NamedTuple):
    id: uuid.UUID
    at: datetime
    outcome: str
    duration_s: float | None


class Act(NamedTuple):
    """What was done about a trip."""

    kind: str
    at: datetime
    qualified_name: str | None
    found: str | None


class Tripped(NamedTuple):
    id: uuid.UUID
    at: datetime
    protection: str
    cause: str | None
    acts: tuple[Act, ...]  # as they were recorded


class Released(NamedTuple):
    at: datetime
    by: str
    cause: str


class Checked(NamedTuple):
    """A pre-start check; answers: item -> {"answer", "by"}."""

    at: datetime
    by: str
    passed: bool
    answers: Mapping[str, Any]


class ByHand(NamedTuple):
    """A named act that changed the motor's condition, in a change's words."""

    at: datetime
    before: str | None
    after: str | None


class Seen(NamedTuple):
    """A reading; of one that was skipped or tells no state, None."""

    at: datetime
    state: str | None


class OnRecord(NamedTuple):
    """What the start rules look at, as of an instant: the newest first."""

    starts: list[Energised]
    stops: list[datetime]
    trips: list[Tripped]
    releases: list[Released]
    check: Checked | None  # the newest
    passed_at: datetime | None  # when a check was last answered without a no
    refused_at: datetime | None  # when one was last answered with one
    by_hand: list[ByHand]
    not_logged: list[datetime]  # when it was found running and no start was on record
    seen: Seen | None  # the newest reading, a skip or a corrected one too
    seen_running_at: datetime | None  # by a reading
    seen_out_at: datetime | None  # by a reading, whenever: out of service or locked out


_COLUMNS: dict[str, Any] = {
    "key": Key16(), "at": UtcDateTime(), "received_at": UtcDateTime(), "number": sa.Integer(), "word": sa.Text(),
    "more": sa.Text(), "figure": Real(), "name": sa.Text(), "passed": sa.Boolean(), "act": sa.Text(),
    "act_at": UtcDateTime(), "act_name": sa.Text(), "act_found": sa.Text()}
_Line = line_of((*_COLUMNS, "answers"))
_MOTOR = sa.bindparam("motor_id", type_=sa.Integer())
_UNTIL, _SEEN_BEFORE = (sa.bindparam(name, type_=UtcDateTime()) for name in ("until", "seen_before"))


def newest(model: Any, most: int, *where: Any, motor: Any = _MOTOR, order: tuple[Any, ...] = ()) -> Any:
    """The newest rows of a model with `motor_id` and `at`, as a part of a larger query."""
    return sa.orm.aliased(model, sa.select(model).where(model.motor_id == motor, *where)
                          .order_by(model.at.desc(), *order).limit(most).subquery())


def newest_received(model: Any, most: int, *where: Any, motor: Any = _MOTOR) -> Any:
    """The same of a model with `received_at`: of two of one instant the one received later comes first."""
    return newest(model, most, *where, motor=motor, order=(model.received_at.desc(),))


def _at_only(kind: str, query: sa.Select[Any]) -> sa.Select[Any]:
    found = query.subquery()
    return arm(_columns(), found, kind, at=found.c[0])


def _columns() -> dict[str, Any]:
    return {**_COLUMNS, "answers": as_key(PrestartCheck.answers).type}


def _checked(kind: str, passed: bool) -> sa.Select[Any]:
    return _at_only(kind, sa.select(PrestartCheck.at).where(
        PrestartCheck.motor_id == _MOTOR, PrestartCheck.passed.is_(passed), PrestartCheck.at <= _UNTIL)
        .order_by(PrestartCheck.at.desc()).limit(1))


def _on_record() -> Any:
    columns = _columns()
    start, stop = (newest_received(model, most, model.at <= _UNTIL) for model, most in ((Start, STARTS), (Stop, STOPS)))
    trip = newest_received(Trip, TRIPS, Trip.at <= _UNTIL)
    release = newest(Release, RELEASES, Release.at <= _UNTIL)
    check = newest(PrestartCheck, 1, PrestartCheck.at <= _UNTIL)
    seen = sa.orm.aliased(Reading, sa.select(Reading).where(
        Reading.motor_id == _MOTOR, Reading.taken_at < _SEEN_BEFORE)
        .order_by(Reading.taken_at.desc(), Reading.received_at.desc()).limit(1).subquery())
    change = sa.orm.aliased(Change, sa.select(Change).where(Change.subject == "motor", Change.subject_id == _MOTOR)
                            .order_by(Change.at.desc(), Change.id.desc()).limit(CHANGES).subquery())
    every = sa.union_all(
        arm(columns, start, START, key=start.id, at=start.at, received_at=start.received_at, word=start.outcome,
            figure=start.duration_s),
        arm(columns, stop, STOP, at=stop.at, received_at=stop.received_at),
        arm(columns, trip, TRIP, key=trip.id, at=trip.at, received_at=trip.received_at, word=trip.protection,
            more=trip.cause, number=TripAct.id, act=TripAct.kind, act_at=TripAct.at, act_name=TripAct.qualified_name,
            act_found=TripAct.found).outerjoin(TripAct, TripAct.trip_id == trip.id),
        arm(columns, release, RELEASE, at=release.at, name=Person.name, word=release.cause)
        .join(Person, Person.id == release.person_id),
        arm(columns, check, CHECK, at=check.at, name=Person.name, passed=check.passed, answers=as_key(check.answers))
        .join(Person, Person.id == check.person_id),
        _checked(PASSED, True), _checked(REFUSED, False),
        arm(columns, change, BY_HAND, at=change.at, number=change.id, word=change.before, more=change.after)
        .where(change.field == "condition"),
        _at_only(NOT_LOGGED, sa.select(Finding.at).where(
            Finding.motor_id == _MOTOR, Finding.rule == sa.bindparam("rule", type_=sa.Text()),
            Finding.cause == "reading", Finding.at >= sa.bindparam("found_since", type_=UtcDateTime()),
            Finding.at <= sa.bindparam("found_until", type_=UtcDateTime())).order_by(Finding.at.desc()).limit(FOUND)),
        arm(columns, seen, SEEN, at=seen.taken_at, word=sa.case((seen.skip_reason.is_(None), seen.state))),
        _at_only(SEEN_RUNNING, rounds.last_running_at(_MOTOR, _SEEN_BEFORE)),
        _at_only(SEEN_OUT, rounds.last_out_at(_MOTOR))).subquery()
    return sa.select(every).order_by(every.c.at.desc(), every.c.received_at.desc(), every.c.number.desc())


_ON_RECORD = Prepared(_on_record)


class Unlogged(NamedTuple):
    """Which findings tell of a start that nobody logged: the rule, and the span of their readings, both ends in it."""

    rule: str
    since: datetime
    until: datetime


@once
def on_record(session: Session, motor_id: int, until: datetime, unlogged: Unlogged,
              seen_before: datetime) -> OnRecord:
    """Up to an instant and with it. seen_before: a reading counts before it."""
    rows = _ON_RECORD.rows(session, {
        "motor_id": motor_id, "until": until, "rule": unlogged.rule, "found_since": unlogged.since,
        "found_until": unlogged.until, "seen_before": seen_before})
    of = _by_kind([_Line(*_ON_RECORD.values(session, row)) for row in rows])

    def newest_at(kind: str) -> datetime | None:
        return next((one.at for one in of(kind)), None)

    return OnRecord(
        starts=[Energised(one.key, one.at, one.word, one.figure) for one in of(START)],
        stops=[one.at for one in of(STOP)], trips=_trips(of(TRIP)),
        releases=[Released(one.at, one.name, one.word) for one in of(RELEASE)],
        check=next((Checked(one.at, one.name, one.passed, one.answers) for one in of(CHECK)), None),
        passed_at=newest_at(PASSED), refused_at=newest_at(REFUSED),
        by_hand=[ByHand(one.at, one.word, one.more) for one in of(BY_HAND)],
        not_logged=[one.at for one in of(NOT_LOGGED)],
        seen=next((Seen(one.at, one.word) for one in of(SEEN)), None), seen_running_at=newest_at(SEEN_RUNNING),
        seen_out_at=newest_at(SEEN_OUT))


def _by_kind(lines: list[Any]) -> Callable[[str], list[Any]]:
    kinds: dict[str, list[Any]] = {}
    for line in lines:
        kinds.setdefault(line.kind, []).append(line)
    return lambda kind: kinds.get(kind, [])


def _trips(lines: list[Any]) -> list[Tripped]:
    """From one line for each act, the newest first, or one for a trip without any."""
    trips: dict[uuid.UUID, list[Any]] = {}
    for line in lines:
        trips.setdefault(line.key, []).append(line)
    return [Tripped(key, acts[0].at, acts[0].word, acts[0].more, tuple(
        Act(one.act, one.act_at, one.act_name, one.act_found) for one in reversed(acts) if one.act is not None))
        for key, acts in trips.items()]


def last_state(known: OnRecord, at: datetime) -> tuple[datetime, str] | None:
    """What starts, stops and trips up to an instant last said of the motor's state, and when. known: up to it."""
    told = [one for start in known.starts[:1]
            for one in states_of_start(start.at, start.outcome, start.duration_s) if one[0] <= at]
    told += [(ended, STANDBY) for ended in (*known.stops[:1], *(trip.at for trip in known.trips[:1]))]
    return max(told, key=lambda one: one[0], default=None)


# as they are told ------------------------------------------------------------------------------------------

#: So many of each kind are told.
TOLD = 12


class Told(NamedTuple):
    """A start, a stop or a trip with who entered it, when, and how wrong the tablet's clock was."""

    kind: str  # START, STOP, TRIP
    at: datetime
    received_at: datetime
    clock_offset_s: float
    by: str
    word: str | None  # what came of a start; which protection opened
    duration_s: float | None


def _told() -> Any:
    columns = {"at": UtcDateTime(), "received_at": UtcDateTime(), "clock_offset_s": Real(), "name": sa.Text(),
               "word": sa.Text(), "duration_s": Real()}

    def told(kind: str, row: Any, **more: Any) -> sa.Select[Any]:
        return arm(columns, row, kind, at=row.at, received_at=row.received_at, clock_offset_s=row.clock_offset_s,
                   name=Person.name, **more).join(Person, Person.id == row.person_id)

    start, stop, trip = (newest_received(model, TOLD) for model in (Start, Stop, Trip))
    every = sa.union_all(told(START, start, word=start.outcome, duration_s=start.duration_s), told(STOP, stop),
                         told(TRIP, trip, word=trip.protection)).subquery()
    return sa.select(every).order_by(every.c.at.desc(), every.c.received_at.desc())


_TOLD = Prepared(_told)


def told(session: Session, motor_id: int) -> list[Told]:
    """The newest of each kind, in one line of time, the newest first."""
    return [Told(*_TOLD.values(session, row)) for row in _TOLD.rows(session, {"motor_id": motor_id})]
