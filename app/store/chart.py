"""The lubrication chart as people keep it: one bearing's line changed with who and why, the old one kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.changes import note_change
from app.store.motors import LubricationPoint, Motor
from app.store.people import Person, with_name

#: column of the line -> its name in the record of changes, as the register calls it
FIELDS = {"kind": "lubrication", "lubricant": "lubricant", "thickener": "thickener", "grease_g": "grease_g",
          "interval_days": "interval_days", "interval_run_h": "interval_run_h", "greased_while": "greased_while",
          "drain_plug": "drain_plug"}
KEPT = ("last_greased", "last_greased_at")
GREASED_WHILE = ("running", "stopped")


def change_line(session: Session, motor: Motor, end: str, values: Mapping[str, Any], person: Person, now: datetime,
                why: str, computed: tuple[str, ...] = ()) -> list[str]:
    """Closes the old line and adds a new one; the columns that changed. Flushes; nothing changed, nothing written.

    computed: columns whose figure the handbook gave and this person confirms.
    """
    old = motor.point(end)
    before = {name: getattr(old, name, None) for name in FIELDS}
    after = {name: values.get(name, before[name]) for name in FIELDS}
    changed = [name for name in FIELDS if after[name] != before[name]]
    confirmed = {*computed, *(c for c in (old.computed_columns if old else ()) if c not in changed)}
    if not changed and confirmed == (old.computed_columns if old else frozenset()):
        return []
    if old is not None:
        old.replaced_at = now
        session.flush()
    line = LubricationPoint(motor_id=motor.id, end=end, valid_from=now, person_id=person.id, why=why,
                            computed=",".join(sorted(confirmed)) or None, **after,
                            **{name: getattr(old, name, None) for name in KEPT})
    session.add(line)
    session.flush()
    for name in changed:
        note_change(session, unit_id=motor.unit_id, at=now, person=person, subject="lubrication point",
                    subject_id=line.id, label=motor.tag, field=f"{end.lower()}_{FIELDS[name]}", before=before[name],
                    after=after[name], why=why)
    motor.version += 1
    session.flush()
    session.expire(motor, ["points"])
    return changed


def lines_of(session: Session, motor_id: int) -> list[LubricationPoint]:
    """Every line a motor's chart ever had, the newest first, with who wrote it."""
    return list(session.scalars(
        sa.select(LubricationPoint).where(LubricationPoint.motor_id == motor_id)
        .order_by(LubricationPoint.valid_from.desc(), LubricationPoint.id.desc())
        .options(with_name(LubricationPoint.person))))
