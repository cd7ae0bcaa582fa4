"""Insulation-resistance tests: the value as measured, its temperature, and what the correction makes of it."""

from __future__ import annotations

import uuid
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import Base, Key16, Real, UtcDateTime
from app.store.motors import Motor, Nameplate
from app.store.people import Person


class InsulationTest(Base):
    __tablename__ = "insulation_test"
    __table_args__ = (sa.Index("ix_insulation_test_motor", "motor_id", "at"),)

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    nameplate_id: Mapped[int | None] = mapped_column(sa.ForeignKey("nameplate.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    r1_mohm: Mapped[float] = mapped_column(Real)  # after one minute
    r10_mohm: Mapped[float | None] = mapped_column(Real)  # after ten minutes
    temp_c: Mapped[float | None] = mapped_column(Real)  # of the winding
    winding: Mapped[str | None] = mapped_column(sa.Text)  # "random" or "form"
    wound_year: Mapped[int | None] = mapped_column()
    test_volts: Mapped[float | None] = mapped_column(Real)
    measured_by: Mapped[str] = mapped_column(sa.Text)  # the competent person who measured
    remarks: Mapped[str] = mapped_column(sa.Text, default="")
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))  # who wrote it down
    motor: Mapped[Motor] = relationship()
    nameplate: Mapped[Nameplate | None] = relationship()
    person: Mapped[Person] = relationship()


def insulation_tests(session: Session, motor_id: int, most: int = 20) -> list[InsulationTest]:
    """One motor's tests, the newest first."""
    return list(session.scalars(sa.select(InsulationTest).where(InsulationTest.motor_id == motor_id)
                                .order_by(InsulationTest.at.desc()).limit(most)
                                .options(sa.orm.joinedload(InsulationTest.person))))
