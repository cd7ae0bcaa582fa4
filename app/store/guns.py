"""Grease guns: what a stroke of each gives, and the lubricant it is kept to. A stroke means nothing without its gun."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.rules import greasing_plan
from app.store.base import Base, Real, UtcDateTime
from app.store.changes import note_change
from app.store.people import Person


class GreaseGun(Base):
    """Never deleted, only put away: greasings keep its name and what its stroke gave then."""

    __tablename__ = "grease_gun"
    __table_args__ = (sa.UniqueConstraint("unit_id", "name_key"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    name: Mapped[str] = mapped_column(sa.Text)
    name_key: Mapped[str] = mapped_column(sa.Text)  # case-folded
    stroke_g: Mapped[float] = mapped_column(Real)
    lubricant: Mapped[str | None] = mapped_column(sa.Text)  # None: kept to none
    thickener: Mapped[str | None] = mapped_column(sa.Text)
    put_away_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)

    def as_rule(self) -> greasing_plan.Gun:
        return greasing_plan.Gun(self.name, self.stroke_g, self.lubricant)


FIELDS = ("name", "stroke_g", "lubricant", "thickener", "put_away_at")


def name_key(name: str) -> str:
    return " ".join(name.split()).casefold()


def guns_of(session: Session, unit_id: int, put_away: bool = False) -> list[GreaseGun]:
    """The unit's guns by name; those put away only on request."""
    query = sa.select(GreaseGun).where(GreaseGun.unit_id == unit_id).order_by(GreaseGun.name_key)
    return list(session.scalars(query if put_away else query.where(GreaseGun.put_away_at.is_(None))))


def gun_by_id(session: Session, unit_id: int, gun_id: int) -> GreaseGun | None:
    return session.scalar(sa.select(GreaseGun).where(GreaseGun.unit_id == unit_id, GreaseGun.id == gun_id))


def gun_named(session: Session, unit_id: int, name: str) -> GreaseGun | None:
    return session.scalar(sa.select(GreaseGun).where(
        GreaseGun.unit_id == unit_id, GreaseGun.name_key == name_key(name)))


def save_gun(session: Session, unit_id: int, gun: GreaseGun | None, person: Person, now: datetime,
             **fields: object) -> GreaseGun:
    """Adds (gun None) or changes a gun, each change noted with who. Flushes."""
    before = {name: getattr(gun, name) if gun else None for name in FIELDS}
    if gun is None:
        gun = GreaseGun(unit_id=unit_id, created_at=now)
        session.add(gun)
    for name, value in fields.items():
        setattr(gun, name, value)
    gun.name_key = name_key(gun.name)
    session.flush()
    for name in FIELDS:
        if getattr(gun, name) != before[name]:
            note_change(session, unit_id=unit_id, at=now, person=person, subject="grease gun", subject_id=gun.id,
                        label=gun.name, field=name, before=before[name], after=getattr(gun, name))
    session.flush()
    return gun
