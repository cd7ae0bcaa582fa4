"""What saving an entry at a motor needs to know of it, in one statement: its row, plate, chart, round and running time.

Every look-up of its own would cost a save about as much as storing the entry does.
"""

from __future__ import annotations

import uuid
from datetime import date, datetime
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.base import Key16, UtcDateTime
from app.store.flags import Flag
from app.store.limits import LimitChange
from app.store.lubrication import Greasing
from app.store.motors import Motor, MotorRun, tag_key
from app.store.rounds import Reading, Round, not_corrected
from app.store.starts import Start, Stop, Trip
from app.store.temporary import TemporaryState

#: One id names one entry, of whatever kind.
KINDS = (Reading, Greasing, Start, Stop, Trip)


class Ground(NamedTuple):
    """How it stands with a motor just before an entry taken at an instant is stored."""

    motor: Motor  # with nameplates and points
    round: Round | None  # of the entry's shift, once somebody opened it
    run: MotorRun | None
    known: bool  # the id names a stored entry
    late: bool  # a reading taken later is there
    limits_at: int | None  # the newest change of the unit's limits
    last_start_at: datetime | None
    half_way: bool  # something temporary stood then
    flagged: bool  # a flag is open, or may be by the time the entry is in

    @property
    def plain(self) -> bool:
        """New, and the newest of its motor: nothing needs to be judged again."""
        return not self.known and not self.late


_AT, _ID = sa.bindparam("at", type_=UtcDateTime()), sa.bindparam("id", type_=Key16())

# Each made once: putting a statement together takes longer than running it.
@cache
def _ground() -> Any:
    return (
        sa.select(
            Motor, Round, MotorRun,
            sa.or_(*(sa.exists().where(kind.id == _ID) for kind in KINDS)),
            sa.exists().where(Reading.motor_id == Motor.id, Reading.taken_at > _AT, not_corrected()),
            sa.select(sa.func.max(LimitChange.id)).where(LimitChange.unit_id == Motor.unit_id).scalar_subquery(),
            sa.select(Start.at).where(Start.motor_id == Motor.id, Start.at <= _AT).order_by(Start.at.desc()).limit(1)
            .scalar_subquery(),
            sa.exists().where(TemporaryState.motor_id == Motor.id, TemporaryState.since <= _AT,
                              sa.or_(TemporaryState.ended_at.is_(None), TemporaryState.ended_at > _AT)),
            sa.exists().where(Flag.motor_id == Motor.id, Flag.closed_at.is_(None)))
        .outerjoin(Round, sa.and_(Round.unit_id == Motor.unit_id, Round.shift_date == sa.bindparam("shift_date"),
                                  Round.shift_name == sa.bindparam("shift_name")))
        .outerjoin(MotorRun, MotorRun.motor_id == Motor.id)
        .where(Motor.unit_id == sa.bindparam("unit_id"), Motor.tag_key == sa.bindparam("tag_key"))
        .options(sa.orm.joinedload(Motor.nameplates), sa.orm.joinedload(Motor.points))
        .execution_options(populate_existing=True))


@cache
def _lock() -> Any:
    return (sa.select(Motor.id).where(Motor.unit_id == sa.bindparam("unit_id"),
                                      Motor.tag_key == sa.bindparam("tag_key")).with_for_update(key_share=True))


def ground_of(session: Session, unit_id: int, tag: str, entry_id: uuid.UUID, at: datetime, shift_date: date,
              shift_name: str) -> Ground | None:
    """The motor's ground, once its row is ours: entries of one motor are judged one after the other, also with several
    servers on one database. Its key stays free: a round being opened or signed meanwhile may point at it. None where no
    motor of the unit has the tag."""
    whose = {"unit_id": unit_id, "tag_key": tag_key(tag)}
    alone = session.get_bind().dialect.name == "sqlite"  # SQLite has one writer, and this is it
    if not alone:
        session.execute(_lock(), whose)
    row = session.execute(_ground(), {**whose, "id": entry_id, "at": at, "shift_date": shift_date,
                                    "shift_name": shift_name}).unique().first()
    if row is None:
        return None
    ground = Ground._make(row)
    # Elsewhere the entry waits, as it is stored, for whoever signs its round: what they flagged must be seen then.
    return ground if alone else ground._replace(flagged=True)


