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
from app.store.unions import arm

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


#: key or number: its id; what came after it, where something did, in the columns named so.
_COLUMNS = {
    "key": Key16(), "number": sa.Integer(), "at": UtcDateTime(), "motor_id": sa.Integer(), "what": sa.Text(),
    "words": sa.Text(), "since_id": sa.Integer(), "since": sa.Text(), "since_at": UtcDateTime(), "whose": sa.Text(),
    "since_motor_id": sa.Integer()}


@cache
def _events() -> Any:
    unit = sa.bindparam("unit_id", type_=sa.Integer())
    begun, until, starts_from = (sa.bindparam(name, type_=UtcDateTime()) for name in ("begun", "until", "starts_from"))
    reset = sa.exists().where(TripAct.trip_id == Trip.id, TripAct.kind == RELAY_RESET).correlate(Trip)
    to_reset = (sa.select(Trip.id).where(Trip.unit_id == unit, Trip.protection == "overload relay", ~reset)
                .order_by(Trip.at.desc()).limit(MOST_TO_RESET))
    dips = (sa.select(Dip.id).where(Dip.unit_id == unit, Dip.at >= begun, Dip.at < until)
            .order_by(Dip.at.desc()).limit(MOST_DIPS))

    def trips(kind: str) -> sa.Select[Any]:
        return (arm(_COLUMNS, Trip, kind, key=Trip.id, at=Trip.at, motor_id=Trip.motor_id, what=Trip.protection,
                    words=Trip.cause, since_id=TripAct.id, since=TripAct.kind, since_at=TripAct.at,
                    whose=sa.func.coalesce(TripAct.qualified_name, Person.name))
                .outerjoin(TripAct, TripAct.trip_id == Trip.id).outerjoin(Person, Person.id == TripAct.person_id))

    every = sa.union_all(
        arm(_COLUMNS, Start, START, key=Start.id, at=Start.at, motor_id=Start.motor_id, what=Start.outcome)
        .where(Start.unit_id == unit, Start.at >= starts_from, Start.at < until),
        trips(TRIP).where(Trip.unit_id == unit, Trip.at >= begun, Trip.at < until),
        trips(TO_RESET).where(Trip.id.in_(to_reset), sa.or_(Trip.at < begun, Trip.at >= until)),
        arm(_COLUMNS, Dip, DIP, number=Dip.id, at=Dip.at, words=Dip.remarks, since_id=DipAnswer.id,
            since=DipAnswer.answer, since_at=DipAnswer.at, whose=Motor.tag, since_motor_id=DipAnswer.motor_id)
        .outerjoin(DipAnswer, DipAnswer.dip_id == Dip.id).outerjoin(Motor, Motor.id == DipAnswer.motor_id)
        .where(Dip.id.in_(dips))).subquery()
    return sa.select(every).order_by(every.c.at, every.c.key, every.c.number, every.c.since_id)


def events_of(session: Session, unit_id: int, begun: datetime, until: datetime, starts_from: datetime) -> Events:
    """What happened in [begun, until); starts from an instant of their own on."""
    rows = session.execute(_events(), {"unit_id": unit_id, "begun": begun, "until": until, "starts_from": starts_from})
    found = [_happened(list(group)) for _, group in itertools.groupby(rows, key=lambda row: row[:4])]
    by_kind = {kind: [one for one in found if one.kind == kind] for kind in (START, TRIP, TO_RESET, DIP)}
    return Events(by_kind[START], by_kind[TRIP], by_kind[TO_RESET][::-1], by_kind[DIP][::-1])


def _happened(rows: list[Any]) -> Happened:
    kind, key, number, at, motor_id, what, words = rows[0][:7]
    return Happened(kind, key if number is None else number, at, motor_id or 0, what or "", words or "",
                    tuple(Since(*row[7:]) for row in rows if row.since_id is not None))
