"""Handovers: what one shift leaves the next, each thing on a line of its own, given, taken, understood or queried."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules.findings import PRIORITIES
from app.store.asked import once
from app.store.base import Base, UtcDateTime, one_of
from app.store.motors import Motor
from app.store.people import Person
from app.store.rounds import Round

UNDERSTOOD, QUERY = "understood", "query"
ANSWERS = (UNDERSTOOD, QUERY)


class Handover(Base):
    """One a round. Complete when the incoming person has answered every line and both have signed or one is absent."""

    __tablename__ = "handover"
    __table_args__ = (sa.UniqueConstraint("round_id"), sa.Index("ix_handover_unit", "unit_id", "made_at"))

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    round_id: Mapped[int] = mapped_column(sa.ForeignKey("round.id"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    first: Mapped[str] = mapped_column(sa.Text, default="")  # what the next shift does first
    words: Mapped[str] = mapped_column(sa.Text, default="")
    given_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    given_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    taken_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    taken_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    face_to_face: Mapped[bool] = mapped_column(default=False, server_default=sa.false())
    round: Mapped[Round] = relationship()
    given_by: Mapped[Person | None] = relationship(foreign_keys=[given_by_id])
    taken_by: Mapped[Person | None] = relationship(foreign_keys=[taken_by_id])
    items: Mapped[list[HandoverItem]] = relationship(order_by="HandoverItem.position, HandoverItem.id",
                                                     lazy="selectin")

    @property
    def complete(self) -> bool:
        return self.taken_at is not None and all(item.answer is not None for item in self.items)


class HandoverItem(Base):
    """One thing, in the words it had when it was handed over."""

    __tablename__ = "handover_item"
    __table_args__ = (sa.UniqueConstraint("handover_id", "key"), one_of("answer", ANSWERS, "answer_known"),
                      one_of("priority", PRIORITIES, "priority_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    handover_id: Mapped[int] = mapped_column(sa.ForeignKey("handover.id"))
    position: Mapped[int] = mapped_column()
    key: Mapped[str] = mapped_column(sa.Text)  # "flag 12": the same thing keeps its line
    kind: Mapped[str] = mapped_column(sa.Text)
    motor_id: Mapped[int | None] = mapped_column(sa.ForeignKey("motor.id"))
    priority: Mapped[str | None] = mapped_column(sa.Text)
    says: Mapped[str] = mapped_column(sa.Text)
    added_at: Mapped[datetime] = mapped_column(UtcDateTime)
    answer: Mapped[str | None] = mapped_column(sa.Text)
    query: Mapped[str] = mapped_column(sa.Text, default="")  # what the incoming person asks
    motor: Mapped[Motor | None] = relationship(lazy="joined")


@once
def handover_of(session: Session, round_id: int) -> Handover | None:
    return session.scalar(sa.select(Handover).where(Handover.round_id == round_id).options(
        sa.orm.joinedload(Handover.given_by), sa.orm.joinedload(Handover.taken_by)))


@once
def newest_handovers(session: Session, unit_id: int, most: int = 10) -> list[Handover]:
    return list(session.scalars(
        sa.select(Handover).join(Round, Round.id == Handover.round_id).where(Handover.unit_id == unit_id)
        .order_by(Round.starts_at.desc()).limit(most).options(
            sa.orm.contains_eager(Handover.round), sa.orm.joinedload(Handover.given_by),
            sa.orm.joinedload(Handover.taken_by))))


def last_handover(session: Session, unit_id: int) -> Handover | None:
    """The newest that somebody gave or took."""
    return next(iter(newest_handovers(session, unit_id, 1)), None)
