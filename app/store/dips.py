"""Power dips: when the voltage went, what each motor did afterwards, ticked off one by one. Nothing is assumed."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import Base, UtcDateTime, one_of
from app.store.motors import Motor
from app.store.people import Person

CAME_BACK, DID_NOT, STARTED, LEFT_DOWN, NEVER_STOPPED = (
    "came back by itself", "did not come back", "started again", "left down", "did not stop")
AFTER_DIP = (CAME_BACK, DID_NOT, STARTED, LEFT_DOWN, NEVER_STOPPED)


class Dip(Base):
    __tablename__ = "dip"
    __table_args__ = (sa.Index("ix_dip_unit", "unit_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    recorded_at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    remarks: Mapped[str] = mapped_column(sa.Text, default="")
    person: Mapped[Person] = relationship()
    answers: Mapped[list[DipAnswer]] = relationship(order_by="DipAnswer.id", lazy="selectin")

    def newest_answers(self) -> dict[int, DipAnswer]:
        """Motor -> the newest thing that somebody said of it after this dip."""
        return {answer.motor_id: answer for answer in self.answers}


class DipAnswer(Base):
    """What one motor did after the dip, as a named person saw it."""

    __tablename__ = "dip_answer"
    __table_args__ = (sa.Index("ix_dip_answer_dip", "dip_id", "motor_id"), one_of("answer", AFTER_DIP, "answer_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    dip_id: Mapped[int] = mapped_column(sa.ForeignKey("dip.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    answer: Mapped[str] = mapped_column(sa.Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()


def newest_dips(session: Session, unit_id: int, most: int = 5) -> list[Dip]:
    """Without what was said of each motor, until it is asked for."""
    return list(session.scalars(sa.select(Dip).where(Dip.unit_id == unit_id).order_by(Dip.at.desc()).limit(most)
                                .options(sa.orm.joinedload(Dip.person), sa.orm.lazyload(Dip.answers))))


def dip_by_id(session: Session, unit_id: int, dip_id: int) -> Dip | None:
    return session.scalars(sa.select(Dip).where(Dip.unit_id == unit_id, Dip.id == dip_id)
                           .options(sa.orm.joinedload(Dip.answers))).unique().one_or_none()
