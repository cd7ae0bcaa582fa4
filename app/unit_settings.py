"""What may be changed of a unit, noted with who and why: how figures are shown, its shifts; while empty, its zone."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules import shift_change
from app.rules.shifts import ShiftStart
from app.store import units
from app.store.changes import note_change
from app.store.lubrication import Greasing
from app.store.people import Person
from app.store.rounds import Round
from app.store.starts import Start, Stop, Trip
from app.store.units import Unit

#: Column of the unit -> what it may hold.
SCALES = {"temperature": ("C", "F"), "power": ("hp", "kW"), "vibration": ("mm/s", "in/s"), "grease": ("g", "oz")}


class BadUnit(ValueError):
    """A change that cannot be; `field` is where to put it right."""

    def __init__(self, field: str, says: str) -> None:
        self.field = field
        super().__init__(says)


def known_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return "/" in name or name == "UTC"


def has_entries(session: Session, unit: Unit) -> bool:
    """Whether anything was entered that the zone sorts into shifts and days."""
    return session.scalar(sa.select(sa.or_(*(
        sa.exists().where(kind.unit_id == unit.id) for kind in (Round, Greasing, Start, Stop, Trip))))) or False


def show_in(session: Session, unit: Unit, scales: dict[str, str], person: Person | None, now: datetime) -> list[str]:
    """How figures are shown and typed from now on; what is stored stays. Gives what was changed. Raises BadUnit."""
    for name, value in scales.items():
        if value not in SCALES[name]:
            raise BadUnit(name, f"Choose {' or '.join(SCALES[name])}.")
    differs = [name for name, value in scales.items() if getattr(unit, name) != value]
    for name in differs:
        _note(session, unit, person, now, name, getattr(unit, name), scales[name])
        setattr(unit, name, scales[name])
    session.flush()
    return differs


def move_zone(session: Session, unit: Unit, zone: str, person: Person | None, now: datetime) -> None:
    """Raises BadUnit: for a name that is no zone, and once anything was entered."""
    if not known_zone(zone):
        raise BadUnit("time_zone", "Enter an IANA name such as America/Chicago or Europe/Berlin.")
    if zone == unit.time_zone:
        return
    if has_entries(session, unit):
        raise BadUnit("time_zone", "The zone stays: what was entered is sorted into shifts and days by it.")
    _note(session, unit, person, now, "time_zone", unit.time_zone, zone)
    unit.time_zone = zone
    session.flush()


def field_of_start(wrong: tuple[int, str]) -> str:
    """The field of a form that a fault of shift_change.starts_fault belongs to."""
    place = min(wrong[0] + 1, shift_change.MOST_SHIFTS)
    return f"at_{place}" if "start" in wrong[1] else f"name_{place}"


def change_shifts(session: Session, unit: Unit, starts: list[ShiftStart], at: datetime, why: str,
                  person: Person | None, now: datetime) -> None:
    """Another pattern from a boundary to come. Raises BadUnit."""
    wrong = shift_change.starts_fault(starts)
    if wrong is not None:
        raise BadUnit(field_of_start(wrong), wrong[1])
    fault = shift_change.change_fault(unit.calendar, starts, at, now)
    if fault is not None:
        raise BadUnit("begins", fault)
    if not why:
        raise BadUnit("why", "Say why the shifts are changed.")
    before = shift_change.told(unit.calendar.pattern_at(at).shifts)
    units.change_pattern(session, unit, starts, at)
    there = at.astimezone(unit.calendar.zone).isoformat(sep=" ", timespec="minutes")
    _note(session, unit, person, now, "shifts", before, f"{shift_change.told(starts)} from {there}", why)


def _note(session: Session, unit: Unit, person: Person | None, now: datetime, field: str, before: str, after: str,
          why: str | None = None) -> None:
    note_change(session, unit_id=unit.id, at=now, person=person, subject="unit", subject_id=unit.id, label=unit.name,
                field=field, before=before, after=after, why=why)
