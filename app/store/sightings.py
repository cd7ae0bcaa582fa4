"""Which flag an entry belongs to, and which flags an entry that arrives late makes us look at again."""

from __future__ import annotations

import uuid
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.flags import Flag, Sighting


def flag_at(session: Session, motor_id: int, rule: str, end: str, cause_id: uuid.UUID, at: datetime) -> Flag | None:
    """The flag of this motor, rule and end that an entry taken at an instant belongs to; None: it needs a new one.

    The one it was counted with before; else the first that closed after it (seen before it was closed, received
    after), else the open one. A flag that closed because nothing shows it any more takes nothing in.
    """
    same = (Flag.motor_id == motor_id, Flag.rule == rule, Flag.end == end)
    known = session.scalar(sa.select(Flag).join(Sighting, Sighting.flag_id == Flag.id).where(
        *same, Sighting.cause_id == cause_id).limit(1))
    if known is not None:
        return known
    shown = sa.exists().where(Sighting.flag_id == Flag.id)
    return session.scalar(
        sa.select(Flag).where(*same, sa.or_(Flag.closed_at.is_(None), sa.and_(Flag.closed_at > at, shown)))
        .order_by(sa.case((Flag.closed_at.is_(None), 1), else_=0), Flag.closed_at, Flag.id).limit(1))


def sightings_by(session: Session, cause_id: uuid.UUID) -> list[tuple[Flag, Sighting]]:
    """The flags that one entry showed, with its sighting on each."""
    rows = session.execute(sa.select(Flag, Sighting).join(Sighting, Sighting.flag_id == Flag.id)
                           .where(Sighting.cause_id == cause_id).order_by(Flag.id))
    return [(flag, sighting) for flag, sighting in rows]


def answered_after(session: Session, motor_id: int, instant: datetime) -> list[Flag]:
    """Flags of one motor, open or closed, that an entry taken after an instant called better."""
    return list(session.scalars(sa.select(Flag).where(
        Flag.motor_id == motor_id, sa.or_(Flag.improving_at > instant, Flag.returned_at > instant))
        .order_by(Flag.id)))


def has_follower(session: Session, flag: Flag) -> bool:
    """Whether the same condition was raised once more after this flag."""
    return session.scalar(sa.select(sa.exists().where(
        Flag.motor_id == flag.motor_id, Flag.rule == flag.rule, Flag.end == flag.end, Flag.id > flag.id))) or False
