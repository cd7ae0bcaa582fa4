"""What the page of one flag shows beside it, in one statement: its motor with the plates, who did what to it, the start
before it was last seen, and the entries and the earlier flag that it names."""

from __future__ import annotations

from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.flags import Flag, Sighting
from app.store.motors import Motor
from app.store.people import with_name
from app.store.rounds import Reading
from app.store.starts import Start


class FlagGround(NamedTuple):
    """A flag with what it names. While this is held, the session has all of it at hand."""

    flag: Flag
    started: Start | None  # the newest start by the time the flag was last seen
    earlier: Flag | None
    closing: Reading | None  # the reading that shows that it is over
    showing: Reading | None  # the reading that showed it last, where its newest sighting is one


def flag_ground(session: Session, unit_id: int, flag_id: int) -> FlagGround | None:
    """For reading; another unit's flag is None."""
    earlier = sa.orm.aliased(Flag, name="earlier")
    closing, showing = (sa.orm.aliased(Reading, name=name) for name in ("closing", "showing"))
    started = (sa.select(Start.id).where(Start.motor_id == Flag.motor_id, Start.at <= Flag.last_seen_at)
               .order_by(Start.at.desc(), Start.received_at.desc()).limit(1).correlate(Flag).scalar_subquery())
    seen = (sa.select(Sighting.cause_id).where(Sighting.flag_id == Flag.id)
            .order_by(Sighting.at.desc(), Sighting.id.desc()).limit(1).correlate(Flag).scalar_subquery())
    row = session.execute(
        sa.select(Flag, Start, earlier, closing, showing)
        .outerjoin(Start, Start.id == started).outerjoin(earlier, earlier.id == Flag.before_id)
        .outerjoin(closing, closing.id == Flag.closed_reading_id).outerjoin(showing, showing.id == seen)
        .where(Flag.unit_id == unit_id, Flag.id == flag_id)
        .options(sa.orm.joinedload(Flag.motor).joinedload(Motor.nameplates), with_name(Start.person),
                 sa.orm.joinedload(Start.token), with_name(closing.person), *(with_name(who) for who in (
                     Flag.raised_by, Flag.seen_by, Flag.action_by, Flag.closed_by)))).unique().one_or_none()
    return FlagGround._make(row) if row is not None else None
