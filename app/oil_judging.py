"""What bearings in oil took, and the flags of those that drink: given back when they are within their normal again."""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import flagging
from app.rules import oil as rule
from app.rules.limits import Limits
from app.rules.oil import TopUp
from app.store import limits, oil
from app.store.flags import Flag
from app.store.rounds import Round
from app.store.units import Unit

Bearing = tuple[int, str]


def history(session: Session, unit: Unit, at: datetime, in_force: Limits, motor_id: int | None = None,
            ) -> tuple[dict[Bearing, list[TopUp]], dict[Bearing, datetime]]:
    """The top-ups that an own normal is made of, and since when each bearing's oil is on record."""
    days = in_force.value("drinks_oil_span_days") * (rule.MOST_SPANS + 1)
    return (oil.top_ups(session, unit.id, at - timedelta(days=days), at, motor_id),
            oil.first_entries(session, unit.id, motor_id))


def judge_opened_round(session: Session, unit: Unit, opened: Round, at: datetime) -> None:
    """A bearing that is back within its normal gives its flag back; the days alone can do that."""
    standing = list(session.scalars(sa.select(Flag).where(
        Flag.unit_id == unit.id, Flag.rule == rule.RULE, Flag.closed_at.is_(None), Flag.returned_at.is_(None))))
    if not standing:
        return
    changes = limits.limit_changes(session, unit.id)
    for flag in standing:
        in_force = limits.limits_from(changes, flag.motor_id, at)
        taken, since = history(session, unit, at, in_force, flag.motor_id)
        bearing = (flag.motor_id, flag.end)
        if not rule.drinking(taken.get(bearing, ()), since.get(bearing), at, in_force).above_normal:
            flag.improving_at = at
            flagging.give_back(session, unit, flag, at)
    session.flush()
