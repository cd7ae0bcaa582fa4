"""A motor and its standby partner as the start page tells of them, in one statement: who the partner is, how long each
ran, and what shows when each last turned. Of each kind only the newest are read."""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store import rounds
from app.store.base import Real, UtcDateTime
from app.store.motors import Motor, MotorRun, tag_key
from app.store.people import Person
from app.store.prepared import Prepared, detached
from app.store.start_ground import newest, newest_received
from app.store.starts import ShaftTurn, Start, Stop, Trip
from app.store.unions import arm, line_of

#: Among so many of the newest starts one that ran is looked for.
STARTS = 10
PARTNER, RUN, SEEN_RUNNING, START, ENDED, TURNED = "partner", "run", "seen running", "start", "ended", "turned"


class Run(NamedTuple):
    """How long it ran on record, up to the newest observation, and what that found."""

    observed_at: datetime
    state: str
    run_s: float


class Begun(NamedTuple):
    at: datetime
    outcome: str
    duration_s: float | None


class Turned(NamedTuple):
    """The shaft was turned by hand."""

    at: datetime
    by: str


class Side(NamedTuple):
    """One of a pair, as of an instant."""

    motor: Motor  # the partner, for reading: with its tag, condition and interlock only
    run: Run | None
    seen_running_at: datetime | None  # by a reading before the instant
    starts: list[Begun]  # the newest first
    ended: list[datetime]  # the newest stop and the newest trip
    turned: Turned | None  # whenever


_COLUMNS: dict[str, Any] = {
    "mine": sa.Boolean(), "at": UtcDateTime(), "received_at": UtcDateTime(), "number": sa.Integer(), "word": sa.Text(),
    "more": sa.Text(), "figure": Real(), "name": sa.Text()}
_Line = line_of(_COLUMNS)
_UNIT = sa.bindparam("unit_id", type_=sa.Integer())
_MOTOR = sa.bindparam("motor_id", type_=sa.Integer())
_UNTIL = sa.bindparam("until", type_=UtcDateTime())


def _partner() -> sa.CTE:
    """The motor that this one names; where it names none, the first that names it."""
    named = sa.select(Motor.id).where(Motor.unit_id == _UNIT, Motor.tag_key == sa.bindparam(
        "partner_key", type_=sa.Text()))
    naming = sa.select(Motor.id).where(Motor.unit_id == _UNIT, Motor.standby_partner == sa.bindparam(
        "named_by", type_=sa.Text())).order_by(Motor.id).limit(1)
    return sa.select(sa.func.coalesce(named.scalar_subquery(), naming.scalar_subquery()).label("id")).cte("partner")


def _side(mine: bool, whose: Any) -> list[sa.Select[Any]]:
    side = sa.literal(mine, sa.Boolean())
    seen = rounds.last_running_at(whose, _UNTIL).subquery()
    start = newest_received(Start, STARTS, Start.at <= _UNTIL, motor=whose)
    ended = [newest_received(kind, 1, kind.at <= _UNTIL, motor=whose) for kind in (Stop, Trip)]
    turned = newest(ShaftTurn, 1, motor=whose)
    return [
        arm(_COLUMNS, MotorRun, RUN, mine=side, at=MotorRun.observed_at, word=MotorRun.state, figure=MotorRun.run_s)
        .where(MotorRun.motor_id == whose),
        arm(_COLUMNS, seen, SEEN_RUNNING, mine=side, at=seen.c.taken_at),
        arm(_COLUMNS, start, START, mine=side, at=start.at, received_at=start.received_at, word=start.outcome,
            figure=start.duration_s),
        *(arm(_COLUMNS, one, ENDED, mine=side, at=one.at) for one in ended),
        arm(_COLUMNS, turned, TURNED, mine=side, at=turned.at, name=Person.name)
        .join(Person, Person.id == turned.person_id)]


def _pair() -> Any:
    theirs = sa.select(_partner().c.id).scalar_subquery()
    every = sa.union_all(
        arm(_COLUMNS, Motor, PARTNER, mine=sa.literal(False, sa.Boolean()), number=Motor.id, name=Motor.tag,
            word=Motor.condition, more=Motor.interlock).where(Motor.id == theirs),
        *_side(True, _MOTOR), *_side(False, theirs)).subquery()
    return sa.select(every).order_by(every.c.at.desc(), every.c.received_at.desc())


_PAIR = Prepared(_pair)


def pair_of(session: Session, motor: Motor, until: datetime) -> tuple[Side, Side | None]:
    """The motor's side, and its partner's where it has one other than itself."""
    named = motor.standby_partner or None
    rows = _PAIR.rows(session, {
        "unit_id": motor.unit_id, "motor_id": motor.id, "until": until,
        "partner_key": tag_key(named) if named else None, "named_by": None if named else motor.tag})
    lines = [_Line(*_PAIR.values(session, row)) for row in rows]
    mine = _made(motor, [line for line in lines if line.mine])
    theirs = [line for line in lines if not line.mine]
    other = next((line for line in theirs if line.kind == PARTNER and line.number != motor.id), None)
    if other is None:
        return mine, None
    partner = detached(Motor, [Motor.id, Motor.unit_id, Motor.tag, Motor.condition, Motor.interlock],
                       [other.number, motor.unit_id, other.name, other.word, other.more])
    assert partner is not None
    return mine, _made(partner, theirs)


def _made(motor: Motor, lines: list[Any]) -> Side:
    def of(kind: str) -> list[Any]:
        return [line for line in lines if line.kind == kind]

    return Side(
        motor, run=next((Run(one.at, one.word, one.figure) for one in of(RUN)), None),
        seen_running_at=next((one.at for one in of(SEEN_RUNNING)), None),
        starts=[Begun(one.at, one.word, one.figure) for one in of(START)], ended=[one.at for one in of(ENDED)],
        turned=next((Turned(one.at, one.name) for one in of(TURNED)), None))
