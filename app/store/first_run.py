"""What the first-run watch after a start looks at, in one statement: its looks, and whether the start was a first."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.base import Key16, Real, UtcDateTime
from app.store.flags import Finding
from app.store.prepared import Prepared
from app.store.rounds import Reading
from app.store.start_ground import newest, newest_received
from app.store.starts import PrestartCheck, Start
from app.store.unions import arm

#: More readings than this are not looked at; before the start, its own among so many.
LOOKS, STARTS = 500, 3
LOOK, STARTED, CHECKED, UNCHECKED = "look", "started", "checked", "unchecked"


class Look(NamedTuple):
    """Of a reading what the watch looks at, in the reading's own names."""

    id: uuid.UUID
    replaces_id: uuid.UUID | None
    taken_at: datetime
    state: str | None
    bearing_temp_c_de: float | None
    bearing_temp_c_ode: float | None


class WatchGround(NamedTuple):
    looks: list[Look]  # the oldest first, corrected ones too
    started_before: datetime | None  # the start before this one
    checked_at: datetime | None  # the newest pre-start check by the time of the start
    unchecked: bool  # the rule said of the start that a check was due


_COLUMNS: dict[str, Any] = {
    "key": Key16(), "replaces": Key16(), "at": UtcDateTime(), "word": sa.Text(), "de": Real(), "ode": Real()}
_MOTOR, _START = sa.bindparam("motor_id", type_=sa.Integer()), sa.bindparam("start_id", type_=Key16())
_AT, _UNTIL = (sa.bindparam(name, type_=UtcDateTime()) for name in ("at", "until"))


def _watch() -> Any:
    look = sa.orm.aliased(Reading, sa.select(Reading).where(
        Reading.motor_id == _MOTOR, Reading.taken_at >= _AT, Reading.taken_at < _UNTIL)
        .order_by(Reading.taken_at, Reading.id).limit(LOOKS).subquery())
    start = newest_received(Start, STARTS, Start.at <= _AT)
    check = newest(PrestartCheck, 1, PrestartCheck.at <= _AT)
    every = sa.union_all(
        arm(_COLUMNS, look, LOOK, key=look.id, replaces=look.replaces_id, at=look.taken_at, word=look.state,
            de=look.bearing_temp_c_de, ode=look.bearing_temp_c_ode),
        arm(_COLUMNS, start, STARTED, at=start.at).where(start.id != _START),
        arm(_COLUMNS, check, CHECKED, at=check.at),
        arm(_COLUMNS, Finding, UNCHECKED, at=Finding.at).where(
            Finding.cause_id == _START, Finding.rule == sa.bindparam("rule", type_=sa.Text()))).subquery()
    return sa.select(every).order_by(every.c.at, every.c.key)


_WATCH = Prepared(_watch)


def watch_ground(session: Session, motor_id: int, start_id: uuid.UUID, at: datetime, until: datetime,
                 unchecked: str) -> WatchGround:
    """Looks are taken from the start on and before `until`. unchecked: the rule of a check that was due."""
    rows = [_WATCH.values(session, row) for row in _WATCH.rows(session, {
        "motor_id": motor_id, "start_id": start_id, "at": at, "until": until, "rule": unchecked})]

    def newest_at(kind: str) -> datetime | None:
        return max((row[3] for row in rows if row[0] == kind), default=None)

    return WatchGround([Look(*row[1:]) for row in rows if row[0] == LOOK], newest_at(STARTED), newest_at(CHECKED),
                       any(row[0] == UNCHECKED for row in rows))
