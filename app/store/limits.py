"""Limits as set for a unit or one motor: dated, with who and why. Never edited: a change is a new row."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules.limits import DEFAULTS, Limits
from app.store.base import Base, Real, UtcDateTime
from app.store.changes import note_change
from app.store.motors import Motor, motor_by_tag
from app.store.people import Person
from app.store.units import Unit


class LimitChange(Base):
    __tablename__ = "limit_change"
    __table_args__ = (sa.Index("ix_limit_change_unit", "unit_id", "name", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int | None] = mapped_column(sa.ForeignKey("motor.id"))  # None: the whole unit
    name: Mapped[str] = mapped_column(sa.Text)
    value: Mapped[float | None] = mapped_column(Real)  # None: back to what it was before any change
    at: Mapped[datetime] = mapped_column(UtcDateTime)  # judges nothing taken before it
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))  # None: the command line
    why: Mapped[str] = mapped_column(sa.Text)
    motor: Mapped[Motor | None] = relationship()
    person: Mapped[Person | None] = relationship()


UNITS_LIMIT, MOTORS_LIMIT = "unit's limit", "this motor's limit"


def limit_changes(session: Session, unit_id: int) -> list[LimitChange]:
    """Every change of the unit's limits, the oldest first. Few rows: people make them."""
    return list(session.scalars(sa.select(LimitChange).where(LimitChange.unit_id == unit_id)
                                .order_by(LimitChange.at, LimitChange.id)))


def limits_from(changes: list[LimitChange], motor_id: int | None, at: datetime) -> Limits:
    """The limits in force for one motor (None: the unit) at an instant; the motor's own wins."""
    for_unit: dict[str, tuple[float, str]] = {}
    for_motor: dict[str, tuple[float, str]] = {}
    for change in changes:
        if change.at > at or change.motor_id not in (None, motor_id):
            continue
        held, source = (for_unit, UNITS_LIMIT) if change.motor_id is None else (for_motor, MOTORS_LIMIT)
        if change.value is None:
            held.pop(change.name, None)
        else:
            held[change.name] = (change.value, source)
    return Limits({**for_unit, **for_motor})


def limits_at(session: Session, unit_id: int, motor_id: int | None, at: datetime) -> Limits:
    return limits_from(limit_changes(session, unit_id), motor_id, at)


class BadLimit(ValueError):
    """A limit that is not known, not plausible, or for a motor that is not there; says what to do."""


def change_limit(session: Session, unit: Unit, name: str, value: float | None, tag: str | None, why: str,
                 person: Person | None, at: datetime) -> LimitChange:
    """Sets a limit from an instant on (None: back to the default). Noted with before, after, who and why."""
    default = DEFAULTS.get(name)
    if default is None:
        raise BadLimit(f"No limit is called {name!r}. `round-sheet limits` lists them.")
    if not why.strip():
        raise BadLimit("Say why the limit is changed.")
    if value is not None and not default.low <= value <= default.high:
        raise BadLimit(f"{value:g} {default.unit} cannot be: {name} lies between {default.low:g} and {default.high:g}.")
    motor = motor_by_tag(session, unit.id, tag) if tag else None
    if tag and motor is None:
        raise BadLimit(f"No motor of this unit has the tag {tag!r}.")
    before = limits_at(session, unit.id, motor.id if motor else None, at)
    change = LimitChange(unit_id=unit.id, motor_id=motor.id if motor else None, name=name, value=value, at=at,
                         person_id=person.id if person else None, why=why.strip())
    session.add(change)
    session.flush()
    after = limits_at(session, unit.id, motor.id if motor else None, at)
    note_change(session, unit_id=unit.id, at=at, person=person, subject="limit", subject_id=change.id,
                label=f"{name} for {motor.tag}" if motor else name, field=name,
                before=f"{before.value(name):g}", after=f"{after.value(name):g}", why=why.strip())
    return change
