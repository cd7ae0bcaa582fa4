"""A unit's past in bulk, for replaying it: a few queries a motor, however many readings."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules import facts
from app.store.changes import Change
from app.store.flags import Flag, FlagReturn, Sighting
from app.store.lubrication import Greasing
from app.store.motors import Motor
from app.store.people import with_name
from app.store.rounds import Reading, Round, not_corrected
from app.store.starts import Start


def readings_in(session: Session, motor_id: int, start: datetime, end: datetime) -> list[Reading]:
    """One motor's readings taken in [start, end), the oldest first, corrected ones left out."""
    return list(session.scalars(sa.select(Reading).where(
        Reading.motor_id == motor_id, Reading.taken_at >= start, Reading.taken_at < end, not_corrected())
        .order_by(Reading.taken_at, Reading.received_at)))


def readings_before(session: Session, motor_id: int, start: datetime, most: int, *,
                    running: bool = False) -> list[Reading]:
    """The newest before an instant, the oldest of them first, corrected ones left out."""
    query = sa.select(Reading).where(Reading.motor_id == motor_id, Reading.taken_at < start, not_corrected())
    if running:
        query = query.where(Reading.state == facts.RUNNING, Reading.skip_reason.is_(None))
    return list(session.scalars(query.order_by(Reading.taken_at.desc()).limit(most)))[::-1]


def greasings_until(session: Session, motor_id: int, end: datetime) -> list[Greasing]:
    """One motor's greasings before an instant, the newest first."""
    return list(session.scalars(sa.select(Greasing).where(Greasing.motor_id == motor_id, Greasing.at < end)
                                .order_by(Greasing.at.desc(), Greasing.received_at.desc())
                                .options(with_name(Greasing.person))))


def starts_until(session: Session, motor_id: int, end: datetime) -> list[Start]:
    """One motor's starts before an instant, the oldest first."""
    return list(session.scalars(sa.select(Start).where(Start.motor_id == motor_id, Start.at < end)
                                .order_by(Start.at, Start.received_at)))


def entry_times(session: Session, unit_id: int, start: datetime, end: datetime) -> dict[int, list[datetime]]:
    """When each person of the unit's readings in [start, end) took one anywhere, by hand, the oldest first."""
    people = sa.select(Reading.person_id).where(
        Reading.unit_id == unit_id, Reading.taken_at >= start, Reading.taken_at < end).distinct()
    found: dict[int, list[datetime]] = {}
    for person_id, at in session.execute(sa.select(Reading.person_id, Reading.taken_at).where(
            Reading.person_id.in_(people), Reading.taken_at >= start, Reading.taken_at < end,
            Reading.token_id.is_(None)).order_by(Reading.taken_at)):
        found.setdefault(person_id, []).append(at)
    return found


def flags_between(session: Session, unit_id: int, start: datetime, end: datetime) -> list[Flag]:
    """Flags that stood at any time in [start, end), but for those that nothing shows any more: they never were."""
    shown = sa.exists().where(Sighting.flag_id == Flag.id)
    return list(session.scalars(sa.select(Flag).where(
        Flag.unit_id == unit_id, Flag.raised_at < end, sa.or_(Flag.closed_at.is_(None), Flag.closed_at >= start), shown)
        .order_by(Flag.raised_at, Flag.id)))


def last_sighting(session: Session, flag_id: int, before: datetime) -> Sighting | None:
    return session.scalar(sa.select(Sighting).where(Sighting.flag_id == flag_id, Sighting.at < before)
                          .order_by(Sighting.at.desc(), Sighting.id.desc()).limit(1))


def returns_between(session: Session, unit_id: int, start: datetime, end: datetime) -> list[FlagReturn]:
    """What came and went in the unit in [start, end), the oldest first."""
    return list(session.scalars(sa.select(FlagReturn).join(Motor, Motor.id == FlagReturn.motor_id).where(
        Motor.unit_id == unit_id, FlagReturn.returned_at >= start, FlagReturn.returned_at < end)
        .order_by(FlagReturn.returned_at, FlagReturn.id)))


def unstable_closed(session: Session, unit_id: int, before: datetime) -> dict[tuple[int, str, str], datetime]:
    """When somebody last closed an unstable flag of each motor, rule and end."""
    rows = session.execute(sa.select(Flag.motor_id, Flag.rule, Flag.end, sa.func.max(Flag.closed_at)).where(
        Flag.unit_id == unit_id, Flag.unstable_at.is_not(None), Flag.closed_at < before)
        .group_by(Flag.motor_id, Flag.rule, Flag.end))
    return {(motor_id, rule, end): at for motor_id, rule, end, at in rows if at is not None}


def rounds_opened(session: Session, unit_id: int, start: datetime, end: datetime) -> list[datetime]:
    return list(session.scalars(sa.select(Round.opened_at).where(
        Round.unit_id == unit_id, Round.opened_at >= start, Round.opened_at < end).order_by(Round.opened_at)))


def motor_changes(session: Session, unit_id: int, field: str) -> dict[int, list[Change]]:
    """What was changed of one column of the unit's motors, by motor, the oldest first."""
    found: dict[int, list[Change]] = {}
    for change in session.scalars(sa.select(Change).where(
            Change.unit_id == unit_id, Change.subject == "motor", Change.field == field)
            .order_by(Change.at, Change.id)):
        found.setdefault(change.subject_id, []).append(change)
    return found
