"""Which flag an entry belongs to, and which flags an entry that arrives late makes us look at again."""

from __future__ import annotations

import uuid
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.base import Key16
from app.store.dips import Dip
from app.store.flags import Flag, FlagReturn, Sighting, all_open
from app.store.prepared import Prepared
from app.store.starts import Start


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


_ANY_BY = Prepared(lambda: sa.select(sa.exists().where(Sighting.cause_id == sa.bindparam("cause_id", type_=Key16()))))


def any_by(session: Session, cause_id: uuid.UUID) -> bool:
    """Whether one entry showed a flag: mostly it did not."""
    return bool(_ANY_BY.rows(session, {"cause_id": cause_id})[0][0])


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


# coming and going ------------------------------------------------------------------------------------------


def add_return(session: Session, flag: Flag, at: datetime) -> FlagReturn:
    """Keeps that the condition is gone, with when it had come: first shown after it went the last time."""
    known = session.scalar(sa.select(FlagReturn).where(FlagReturn.flag_id == flag.id, FlagReturn.returned_at == at))
    if known is not None:
        return known
    last = session.scalar(sa.select(sa.func.max(FlagReturn.returned_at)).where(FlagReturn.flag_id == flag.id))
    came = sa.select(sa.func.min(Sighting.at)).where(Sighting.flag_id == flag.id)
    opened = session.scalar(came.where(Sighting.at > last) if last is not None else came)
    gone = FlagReturn(flag_id=flag.id, motor_id=flag.motor_id, rule=flag.rule, end=flag.end,
                      opened_at=opened or flag.raised_at, returned_at=at)
    session.add(gone)
    session.flush()
    return gone


def newest_returns(session: Session, flag: Flag, most: int) -> list[FlagReturn]:
    """The newest times that this condition came and went on this motor, over all its flags, the newest first.

    What was known when somebody closed an unstable flag counts no more.
    """
    same = (Flag.motor_id == flag.motor_id, Flag.rule == flag.rule, Flag.end == flag.end)
    settled = session.scalar(sa.select(sa.func.max(Flag.closed_at)).where(
        *same, Flag.unstable_at.is_not(None), Flag.id != flag.id))
    query = sa.select(FlagReturn).where(
        FlagReturn.motor_id == flag.motor_id, FlagReturn.rule == flag.rule, FlagReturn.end == flag.end)
    if settled is not None:
        query = query.where(FlagReturn.opened_at >= settled)
    return list(session.scalars(query.order_by(FlagReturn.returned_at.desc(), FlagReturn.id.desc()).limit(most)))


def forget_returns(session: Session, flag: Flag, since: datetime) -> None:
    """An entry of then makes the flag's good rounds be counted anew."""
    session.execute(sa.delete(FlagReturn).where(FlagReturn.flag_id == flag.id, FlagReturn.returned_at > since))


def open_flags_and_dips(session: Session, unit_id: int) -> tuple[list[Flag], dict[uuid.UUID, Dip]]:
    """What stands, as `open_flags` has it; and, by the id of the start that raised a flag, the dip it came after."""
    rows = session.execute(
        all_open(unit_id).add_columns(Dip)
        .outerjoin(Start, sa.and_(Flag.raised_cause == "start", Start.id == Flag.raised_cause_id))
        .outerjoin(Dip, Dip.id == Start.dip_id).options(sa.orm.lazyload(Dip.answers))).all()
    return [flag for flag, _ in rows], {flag.raised_cause_id: dip for flag, dip in rows if dip is not None}
