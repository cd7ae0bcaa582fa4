"""The process unit: its zone, its shifts, how it likes its figures."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules.facts import Show
from app.rules.shifts import Calendar, Pattern, ShiftStart
from app.store.base import Base, UtcDateTime, one_of


class Unit(Base):
    __tablename__ = "unit"
    __table_args__ = (one_of("temperature", ("C", "F"), "temperature_known"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(sa.Text, unique=True)
    time_zone: Mapped[str] = mapped_column(sa.Text)
    temperature: Mapped[str] = mapped_column(sa.Text, default="C")
    power: Mapped[str] = mapped_column(sa.Text, default="hp")
    vibration: Mapped[str] = mapped_column(sa.Text, default="mm/s")
    grease: Mapped[str] = mapped_column(sa.Text, default="g")
    restart_spacing_s: Mapped[int | None] = mapped_column()  # between starts after a dip, by the unit's procedure
    #: the order of the checks at a motor, by area; "" for the whole unit: {"": ["vibration", "heat", …]}
    check_order: Mapped[dict[str, list[str]] | None] = mapped_column(sa.JSON)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    patterns: Mapped[list[ShiftPattern]] = relationship(order_by="ShiftPattern.id", lazy="selectin")

    @property
    def calendar(self) -> Calendar:
        return _calendar(self.time_zone, tuple(
            (p.valid_from, tuple((s["name"], s["at"]) for s in p.shifts)) for p in self.patterns))

    @property
    def show(self) -> Show:
        return _show(self.temperature, self.vibration, self.grease, self.power)


_show = lru_cache(Show)  # a few, and every request asks


@lru_cache(256)
def _calendar(zone_name: str, patterns: tuple[tuple[datetime | None, tuple[tuple[str, str], ...]], ...]) -> Calendar:
    return Calendar(zone_name, tuple(Pattern(tuple(ShiftStart(*start) for start in starts), valid_from)
                                     for valid_from, starts in patterns))


class ShiftPattern(Base):
    """The day's shifts from a boundary on. Never edited: a change is a new row, so the past keeps its shifts."""

    __tablename__ = "shift_pattern"

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"), index=True)
    valid_from: Mapped[datetime | None] = mapped_column(UtcDateTime)
    shifts: Mapped[list[dict[str, Any]]] = mapped_column(sa.JSON)  # [{"name": "Day", "at": "06:00"}]


def unit_named(session: Session, name: str) -> Unit | None:
    return session.scalar(sa.select(Unit).where(Unit.name == name))


def restart_spacing_s(session: Session, unit_id: int) -> int | None:
    return session.scalar(sa.select(Unit.restart_spacing_s).where(Unit.id == unit_id))


def all_units(session: Session) -> list[Unit]:
    return list(session.scalars(sa.select(Unit).order_by(Unit.name)))


def add_unit(session: Session, name: str, time_zone: str, shifts: list[ShiftStart], now: datetime,
             temperature: str = "C") -> Unit:
    """A new unit with its first shift pattern, valid from the beginning."""
    unit = Unit(name=name, time_zone=time_zone, temperature=temperature, created_at=now)
    unit.patterns.append(ShiftPattern(shifts=[{"name": s.name, "at": s.at} for s in shifts]))
    session.add(unit)
    session.flush()
    return unit


def change_pattern(session: Session, unit: Unit, shifts: list[ShiftStart], at: datetime) -> ShiftPattern:
    """Another pattern from a boundary on; what came before keeps its shifts. Of two at one instant the later row is."""
    made = ShiftPattern(unit_id=unit.id, valid_from=at, shifts=[{"name": s.name, "at": s.at} for s in shifts])
    unit.patterns.append(made)
    session.flush()
    return made


def set_first_pattern(session: Session, unit: Unit, shifts: list[ShiftStart]) -> None:
    """The pattern from the beginning, while nothing was entered by it."""
    unit.patterns[:] = [ShiftPattern(shifts=[{"name": s.name, "at": s.at} for s in shifts])]
    session.flush()
