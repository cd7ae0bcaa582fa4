"""Who brought an entry in, where that was not its author: a shared tablet sends what the person before left on it."""

from __future__ import annotations

import uuid
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import Base, Key16, UtcDateTime
from app.store.people import Person


class CarriedEntry(Base):
    """An entry of any kind that came by ticket while its author was not signed in on the tablet. Append-only."""

    __tablename__ = "carried_entry"

    entry_id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))  # None: nobody was signed in
    ticket_issued_at: Mapped[datetime] = mapped_column(UtcDateTime)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    person: Mapped[Person | None] = relationship()

    @property
    def words(self) -> str:
        """How it stands behind the author's name."""
        return f"sent by {self.person.name}" if self.person else "sent while nobody was signed in"


def carried(session: Session, unit_id: int, entry_id: uuid.UUID) -> CarriedEntry | None:
    return session.scalar(sa.select(CarriedEntry).where(
        CarriedEntry.unit_id == unit_id, CarriedEntry.entry_id == entry_id)
        .options(sa.orm.joinedload(CarriedEntry.person).lazyload(Person.units)))
