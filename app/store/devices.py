"""Enrolled tablets: browsers that a supervisor has named. Only there the crew is listed and a PIN counts."""

from __future__ import annotations

from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import Base, UtcDateTime
from app.store.people import SUPERVISOR, Person, PersonUnit, SignedIn, end_sessions_on
from app.store.units import Unit

#: Common practice, no published source: long enough to read a gauge and write, short enough for a tablet laid down.
IDLE_MIN = 10
IDLE_BOUNDS_MIN = (1, 240)
#: Whoever signed in on a tablet within this time stands first in its list.
LATELY = timedelta(days=7)


class Device(Base):
    """One enrolment. The cookie holds a random value, this row its hash; a revoked one stays to be read."""

    __tablename__ = "device"
    __table_args__ = (
        sa.Index("uq_device_in_use", "unit_id", "name", unique=True,
                 sqlite_where=sa.text("revoked_at IS NULL"), postgresql_where=sa.text("revoked_at IS NULL")),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    name: Mapped[str] = mapped_column(sa.Text)
    key: Mapped[str] = mapped_column(sa.Text, unique=True)  # SHA-256 of the cookie's value, hex
    idle_min: Mapped[int] = mapped_column(default=IDLE_MIN)  # untouched so long, it asks who is there
    enrolled_at: Mapped[datetime] = mapped_column(UtcDateTime)
    enrolled_by_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    last_seen_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    revoked_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    unit: Mapped[Unit] = relationship()
    enrolled_by: Mapped[Person] = relationship(foreign_keys=[enrolled_by_id])
    revoked_by: Mapped[Person | None] = relationship(foreign_keys=[revoked_by_id])


def enrol(session: Session, unit: Unit, name: str, key: str, idle_min: int, by: Person, now: datetime) -> Device:
    device = Device(unit_id=unit.id, name=name, key=key, idle_min=idle_min, enrolled_at=now, enrolled_by_id=by.id,
                    last_seen_at=now)
    session.add(device)
    session.flush()
    return device


def revoke(session: Session, device: Device, by: Person, now: datetime) -> None:
    """The tablet is an ordinary browser again, and whoever is signed in on it is out."""
    device.revoked_at, device.revoked_by_id = now, by.id
    end_sessions_on(session, device.id, now)


def live_device(session: Session, key: str) -> Device | None:
    return session.scalar(sa.select(Device).where(Device.key == key, Device.revoked_at.is_(None))
                          .options(sa.orm.joinedload(Device.unit)))


def device_by_id(session: Session, unit_id: int, device_id: int) -> Device | None:
    """A tablet of this unit; another unit's is None, like one that does not exist."""
    return session.scalar(sa.select(Device).where(Device.unit_id == unit_id, Device.id == device_id))


def in_use_under(session: Session, unit_id: int, name: str) -> Device | None:
    return session.scalar(sa.select(Device).where(
        Device.unit_id == unit_id, Device.name == name, Device.revoked_at.is_(None)))


def devices_of(session: Session, unit_id: int) -> list[Device]:
    """The unit's tablets, those in use first, then the newest enrolment."""
    return list(session.scalars(
        sa.select(Device).where(Device.unit_id == unit_id)
        .order_by(sa.case((Device.revoked_at.is_(None), 0), else_=1), Device.enrolled_at.desc(), Device.id.desc())
        .options(sa.orm.joinedload(Device.enrolled_by).lazyload(Person.units),
                 sa.orm.joinedload(Device.revoked_by).lazyload(Person.units))))


def touch(session: Session, device_id: int, now: datetime) -> None:
    session.execute(sa.update(Device).where(Device.id == device_id).values(last_seen_at=now))


# the crew on it --------------------------------------------------------------------------------------------


def crew_of(session: Session, device: Device) -> list[Person]:
    """Who may be tapped by name: active people of the unit, by name. A supervisor is never among them."""
    return list(session.scalars(
        sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id)
        .where(PersonUnit.unit_id == device.unit_id, Person.active, Person.role != SUPERVISOR)
        .order_by(sa.func.lower(Person.name), Person.id).options(sa.orm.lazyload(Person.units))))


def crew_member(session: Session, device: Device, person_id: int) -> Person | None:
    """One of the crew by key, or None for anybody who is not to be tapped there."""
    return session.scalar(
        sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id)
        .where(PersonUnit.unit_id == device.unit_id, Person.active, Person.role != SUPERVISOR, Person.id == person_id))


def here_lately(session: Session, device: Device, now: datetime) -> set[int]:
    """The people who signed in on this tablet within LATELY."""
    return set(session.scalars(sa.select(SignedIn.person_id).where(
        SignedIn.device_id == device.id, SignedIn.started_at > now - LATELY).distinct()))
