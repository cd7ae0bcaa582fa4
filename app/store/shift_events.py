"""What a shift leaves behind it of starts, trips and power dips, for its handover: everything in one statement."""

from __future__ import annotations

import itertools
import uuid
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.base import Key16, UtcDateTime
from app.store.dips import Dip, DipAnswer
from app.store.motors import Motor
from app.store.people import Person
from app.store.starts import RELAY_RESET, Start, Trip, TripAct

START, TRIP, TO_RESET, DIP = "start", "trip", "trip to reset", "dip"
#: At most so many of what nobody has reset, and of dips.
MOST_TO_RESET, MOST_DIPS = 50, 20


class Since(NamedTuple):
    """What came after a trip or a dip. what: the act, or how the motor behind `whose` was found."""

    id: int
    what: str
    at: datetime
    whose: str  # who acted, by name; after a dip the motor's tag
    motor_id: int | None


@dataclass(frozen=True)
class Happened:
    """One start, trip or dip. what: outcome of the start, protection that opened; words: cause or remarks."""

    kind: str
    id: uuid.UUID | int
    at: datetime
    motor_id: int  # 0 for a dip, which is of no motor
    what: str
    words: str
    since: tuple[Since, ...]  # in the order it was recorded


@dataclass(frozen=True)
class Events:
    """By kind, the oldest first; what is older than the shift, and dips, the newest first."""

    starts: list[Happened]
    trips: list[Happened]
    to_reset: list[Happened]  # overload trips from before, whose relay nobody has recorded as reset
    dips: list[Happened]


def _nothing(type_: Any) -> Any:
    return sa.cast(sa.null(), type_)


def _arm(kind: str, model: Any, what: Any, words: Any, *, motor_id: Any, key: Any = None, number: Any = None,
         since: tuple[Any, ...] | None = None) -> sa.Select[Any]:
    """since: five columns of what came after it."""
    none = _nothing(Key16()), _nothing(sa.Integer())
    after = since or (none[1], _nothing(sa.Text()), _nothing(UtcDateTime()), _nothing(sa.Text()), none[1])
    return sa.select(
        sa.literal(kind).label("kind"), (none[0] if key is None else key).label("key"),
        (none[1] if number is None else number).label("number"), model.at.label("at"), motor_id.label("motor_id"),
        what.label("what"), words.label("words"),
        *(column.label(f"since_{i}") for i, column in enumerate(after))).select_from(model)


@cache
def _events() -> Any:
    unit = sa.bindparam("unit_id", type_=sa.Integer())
    begun, until, starts_from = (sa.bindparam(name, type_=UtcDateTime()) for name in ("begun", "until", "starts_from"))
    act = (TripAct.id, TripAct.kind, TripAct.at, sa.func.coalesce(TripAct.qualified_name, Person.name),
           _nothing(sa.Integer()))
    reset = sa.exists().where(TripAct.trip_id == Trip.id, TripAct.kind == RELAY_RESET).correlate(Trip)
    to_reset = (sa.select(Trip.id).where(Trip.unit_id == unit, Trip.protection == "overload relay", ~reset)
                .order_by(Trip.at.desc()).limit(MOST_TO_RESET))
    dips = (sa.select(Dip.id).where(Dip.unit_id == unit, Dip.at >= begun, Dip.at < until)
            .order_by(Dip.at.desc()).limit(MOST_DIPS))

    def trips(kind: str) -> sa.Select[Any]:
        return (_arm(kind, Trip, Trip.protection, sa.func.coalesce(Trip.cause, ""), motor_id=Trip.motor_id, key=Trip.id,
                     since=act)
                .outerjoin(TripAct, TripAct.trip_id == Trip.id).outerjoin(Person, Person.id == TripAct.person_id))

    every = sa.union_all(
        _arm(START, Start, Start.outcome, sa.literal(""), motor_id=Start.motor_id, key=Start.id)
        .where(Start.unit_id == unit, Start.at >= starts_from, Start.at < until),
        trips(TRIP).where(Trip.unit_id == unit, Trip.at >= begun, Trip.at < until),
        trips(TO_RESET).where(Trip.id.in_(to_reset), sa.or_(Trip.at < begun, Trip.at >= until)),
        _arm(DIP, Dip, sa.literal(""), Dip.remarks, motor_id=_nothing(sa.Integer()), number=Dip.id,
             since=(DipAnswer.id, DipAnswer.answer, DipAnswer.at, Motor.tag, DipAnswer.motor_id))
        .outerjoin(DipAnswer, DipAnswer.dip_id == Dip.id).outerjoin(Motor, Motor.id == DipAnswer.motor_id)
        .where(Dip.id.in_(dips))).subquery()
    return sa.select(every).order_by(every.c.at, every.c.key, every.c.number, every.c.since_0)


def events_of(session: Session, unit_id: int, begun: datetime, until: datetime, starts_from: datetime) -> Events:
    """What happened in [begun, until); starts from an instant of their own on."""
    rows = session.execute(_events(), {"unit_id": unit_id, "begun": begun, "until": until, "starts_from": starts_from})
    found = [_happened(list(group)) for _, group in itertools.groupby(rows, key=lambda row: row[:4])]
    by_kind = {kind: [one for one in found if one.kind == kind] for kind in (START, TRIP, TO_RESET, DIP)}
    return Events(by_kind[START], by_kind[TRIP], by_kind[TO_RESET][::-1], by_kind[DIP][::-1])


def _happened(rows: list[Any]) -> Happened:
    kind, key, number, at, motor_id, what, words = rows[0][:7]
    return Happened(kind, key if number is None else number, at, motor_id or 0, what, words,
                    tuple(Since(*row[7:]) for row in rows if row[7] is not None))
