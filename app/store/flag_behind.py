"""What stands behind a flag, in one statement: what showed it, what was written on it, its motor's last entries and
greasings, the looks that may show that it is over, and the changes of the unit's limits."""

from __future__ import annotations

import uuid
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.store.asked import once
from app.store.base import Key16, UtcDateTime
from app.store.flags import Flag, Note, Sighting
from app.store.limits import LimitChange
from app.store.lubrication import Greasing, newest_of_each_end
from app.store.people import with_name
from app.store.rounds import Reading, looks_since, replaced_by
from app.store.unions import arm

#: So many of the motor's entries are looked at, and so many greasings of each end.
ENTRIES, GREASINGS = 30, 2
SIGHTING, NOTE, CHANGE, ENTRY, LOOK, GREASED = "sighting", "note", "change", "entry", "look", "greased"


class Behind(NamedTuple):
    """While this is held, the session has all of it at hand."""

    sightings: list[Sighting]  # with who, the oldest first
    notes: list[Note]  # the same
    entries: list[Reading]  # the motor's newest, skips and corrected ones too, the newest first
    corrected: set[uuid.UUID]  # those of them that a later one replaces
    looks: list[Reading]  # since the flag was last seen, as `looks_since` has them
    greased: list[Greasing]  # the newest first, some of each end
    limit_changes: list[LimitChange]  # of the unit, the oldest first


@cache
def _behind() -> Any:
    columns = {"number": sa.Integer(), "key": Key16(), "newer": Key16()}
    flag, motor, unit = (sa.bindparam(name, type_=sa.Integer()) for name in ("flag_id", "motor_id", "unit_id"))
    entry = (sa.select(Reading.id, replaced_by().label("newer")).where(Reading.motor_id == motor)
             .order_by(Reading.taken_at.desc(), Reading.received_at.desc()).limit(ENTRIES).subquery())
    look = looks_since(motor, sa.bindparam("last_seen_at", type_=UtcDateTime())).subquery()
    greased = newest_of_each_end()
    rows = sa.union_all(
        arm(columns, Sighting, SIGHTING, number=Sighting.id).where(Sighting.flag_id == flag),
        arm(columns, Note, NOTE, number=Note.id).where(Note.flag_id == flag),
        arm(columns, LimitChange, CHANGE, number=LimitChange.id).where(LimitChange.unit_id == unit),
        arm(columns, entry, ENTRY, key=entry.c.id, newer=entry.c.newer),
        arm(columns, look, LOOK, key=look.c.id),
        arm(columns, greased, GREASED, key=greased.c.id)).subquery()

    def of(column: Any, *kinds: str) -> Any:
        return sa.case((rows.c.kind.in_(kinds), column))

    return (sa.select(rows.c.kind, rows.c.newer, Sighting, Note, LimitChange, Reading, Greasing).select_from(rows)
            .outerjoin(Sighting, Sighting.id == of(rows.c.number, SIGHTING))
            .outerjoin(Note, Note.id == of(rows.c.number, NOTE))
            .outerjoin(LimitChange, LimitChange.id == of(rows.c.number, CHANGE))
            .outerjoin(Reading, Reading.id == of(rows.c.key, ENTRY, LOOK))
            .outerjoin(Greasing, Greasing.id == of(rows.c.key, GREASED))
            .options(*(with_name(model.person) for model in (Sighting, Note, Reading, Greasing))))


@once
def behind(session: Session, flag: Flag, now: datetime) -> Behind:
    """As it is now. A flag of the session."""
    found: dict[str, list[Any]] = {kind: [] for kind in (SIGHTING, NOTE, CHANGE, ENTRY, LOOK, GREASED)}
    corrected = set()
    for kind, newer, *things in session.execute(_behind(), {
            "flag_id": flag.id, "motor_id": flag.motor_id, "unit_id": flag.unit_id, "last_seen_at": flag.last_seen_at,
            "before": now, "most": GREASINGS}):
        thing = next(thing for thing in things if thing is not None)
        found[kind].append(thing)
        if newer is not None:
            corrected.add(thing.id)
    for kind in (SIGHTING, NOTE, CHANGE):
        found[kind].sort(key=lambda row: (row.at, row.id))
    for kind in (ENTRY, LOOK):
        found[kind].sort(key=lambda row: (row.taken_at, row.received_at), reverse=True)
    found[GREASED].sort(key=lambda row: (row.at, row.received_at), reverse=True)
    return Behind(found[SIGHTING], found[NOTE], found[ENTRY], corrected, found[LOOK], found[GREASED], found[CHANGE])
