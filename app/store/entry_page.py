"""What the page at a motor asks beside the motor itself, in one statement: how its housing and frame felt when it last
ran, and which change of the unit's limits is the newest (app/limits_kept.py holds them up to it)."""

from __future__ import annotations

from collections import namedtuple
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from app.store.base import UtcDateTime
from app.store.limits import LimitChange
from app.store.prepared import Prepared
from app.store.rounds import RUNNING, Reading, not_corrected

#: Of the newest running reading: what tells that it was too hot for a hand (app/last_values.py).
_HEAT = ("bearing_feel_de", "bearing_feel_ode", "winding_feel", "bearing_temp_c_de", "bearing_temp_c_ode",
         "winding_temp_c", "winding_method")
_Heat = namedtuple("_Heat", _HEAT)  # type: ignore[misc] # the names are those just above


class BeforeTheLook(NamedTuple):
    """Of a motor that somebody is about to look at."""

    limits_at: int | None  # the newest change of the unit's limits
    last: Any  # heat of its last running reading, in the columns' names; None: it has none


def _before() -> Any:
    last = aliased(Reading, name="last")
    newest = (sa.select(Reading.id).where(
        Reading.motor_id == sa.bindparam("motor_id", type_=sa.Integer()),
        Reading.taken_at < sa.bindparam("before", type_=UtcDateTime()), RUNNING, Reading.skip_reason.is_(None),
        not_corrected()).order_by(Reading.taken_at.desc()).limit(1).scalar_subquery())
    of_unit = sa.select(sa.func.max(LimitChange.id).label("id")).where(
        LimitChange.unit_id == sa.bindparam("unit_id", type_=sa.Integer())).subquery()
    return (sa.select(of_unit.c.id, last.id, *(getattr(last, name) for name in _HEAT))
            .select_from(of_unit).outerjoin(last, last.id == newest))


_BEFORE = Prepared(_before)


def before_the_look(session: Session, unit_id: int, motor_id: int, before: datetime) -> BeforeTheLook:
    """before: readings taken earlier than this count."""
    row = _BEFORE.rows(session, {"unit_id": unit_id, "motor_id": motor_id, "before": before})[0]
    limits_at, key, *heat = _BEFORE.values(session, row)
    return BeforeTheLook(limits_at, _Heat._make(heat) if key is not None else None)
