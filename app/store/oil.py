"""Oil at a bearing: levels looked at, top-ups, renewals. Append-only; saved once by the form's own id."""

from __future__ import annotations

import uuid
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import facts
from app.rules.oil import TopUp
from app.store.base import Base, Key16, Real, UtcDateTime, one_of
from app.store.motors import LubricationPoint, Motor, walking_order
from app.store.people import Person, with_name

LEVEL, TOP_UP, RENEWED = "level", "top-up", "renewed"
KINDS = (LEVEL, TOP_UP, RENEWED)
LEVELS = ("at the mark", "below the mark", "above the mark", "could not see")
#: Which mark counts follows from whether the shaft turns: the level stands lower while it does.
MARKS = ("running mark", "stopped mark")


class OilEntry(Base):
    __tablename__ = "oil_entry"
    __table_args__ = (sa.Index("ix_oil_entry_motor", "motor_id", "end", "at"),
                      sa.Index("ix_oil_entry_unit", "unit_id", "at"), one_of("end", facts.ENDS, "end_known"),
                      one_of("kind", KINDS, "kind_known"), one_of("level", LEVELS, "level_known"),
                      one_of("mark", MARKS, "mark_known"))

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    end: Mapped[str] = mapped_column(sa.Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    kind: Mapped[str] = mapped_column(sa.Text)
    level: Mapped[str | None] = mapped_column(sa.Text)
    mark: Mapped[str | None] = mapped_column(sa.Text)
    amount_ml: Mapped[float | None] = mapped_column(Real)
    lubricant: Mapped[str | None] = mapped_column(sa.Text)
    remarks: Mapped[str] = mapped_column(sa.Text, default="")
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()


def oil_entry_by_id(session: Session, unit_id: int, key: uuid.UUID) -> OilEntry | None:
    return session.scalar(sa.select(OilEntry).where(OilEntry.unit_id == unit_id, OilEntry.id == key))


def entries_of(session: Session, motor_id: int, most: int = 40) -> list[OilEntry]:
    """One motor's oil entries, both ends, the newest first."""
    return list(session.scalars(sa.select(OilEntry).where(OilEntry.motor_id == motor_id)
                                .order_by(OilEntry.at.desc(), OilEntry.received_at.desc()).limit(most)
                                .options(with_name(OilEntry.person))))


def oil_lines(session: Session, unit_id: int) -> list[tuple[LubricationPoint, Motor]]:
    """Every bearing that runs in oil by the chart, in walking order."""
    rows = session.execute(
        sa.select(LubricationPoint, Motor).join(Motor, Motor.id == LubricationPoint.motor_id)
        .where(Motor.unit_id == unit_id, LubricationPoint.replaced_at.is_(None), LubricationPoint.kind == "oil")
        .order_by(*walking_order(), LubricationPoint.end))
    return [(point, motor) for point, motor in rows]


def first_entries(session: Session, unit_id: int, motor_id: int | None = None) -> dict[tuple[int, str], datetime]:
    """When each bearing's oil came on record: from then on nothing recorded is nothing taken.

    The whole unit's is driven from the chart's lines, so that it costs the same after ten years.
    """
    if motor_id is not None:
        query = sa.select(OilEntry.motor_id, OilEntry.end, sa.func.min(OilEntry.at)).where(
            OilEntry.unit_id == unit_id, OilEntry.motor_id == motor_id).group_by(OilEntry.motor_id, OilEntry.end)
        return {(m, end): at for m, end, at in session.execute(query)}
    oldest = (sa.select(OilEntry.id).where(
        OilEntry.motor_id == LubricationPoint.motor_id, OilEntry.end == LubricationPoint.end)
        .order_by(OilEntry.at).limit(1).correlate(LubricationPoint).scalar_subquery())
    rows = session.execute(
        sa.select(OilEntry.motor_id, OilEntry.end, OilEntry.at).join(LubricationPoint, OilEntry.id == oldest)
        .join(Motor, Motor.id == LubricationPoint.motor_id)
        .where(Motor.unit_id == unit_id, LubricationPoint.replaced_at.is_(None)))
    return {(m, end): at for m, end, at in rows}


def top_ups(session: Session, unit_id: int, since: datetime, until: datetime,
            motor_id: int | None = None) -> dict[tuple[int, str], list[TopUp]]:
    """What was put in after `since`, up to `until`, by bearing. A renewal is no top-up: it replaces what was there."""
    query = sa.select(OilEntry.motor_id, OilEntry.end, OilEntry.at, OilEntry.amount_ml).where(
        OilEntry.unit_id == unit_id, OilEntry.at > since, OilEntry.at <= until, OilEntry.kind == TOP_UP
    ).order_by(OilEntry.at)
    if motor_id is not None:
        query = query.where(OilEntry.motor_id == motor_id)
    found: dict[tuple[int, str], list[TopUp]] = {}
    for motor, end, at, amount_ml in session.execute(query):
        if amount_ml is not None:
            found.setdefault((motor, end), []).append(TopUp(at, amount_ml))
    return found


def newest_levels(session: Session, unit_id: int) -> dict[tuple[int, str], OilEntry]:
    """The newest look at each bearing's level; driven from the chart, so that it costs the same after ten years."""
    newest = (sa.select(OilEntry.id).where(
        OilEntry.motor_id == LubricationPoint.motor_id, OilEntry.end == LubricationPoint.end,
        OilEntry.level.is_not(None)).order_by(OilEntry.at.desc()).limit(1).correlate(LubricationPoint)
        .scalar_subquery())
    rows = session.scalars(
        sa.select(OilEntry).join(LubricationPoint, OilEntry.id == newest)
        .join(Motor, Motor.id == LubricationPoint.motor_id)
        .where(Motor.unit_id == unit_id, LubricationPoint.replaced_at.is_(None), LubricationPoint.kind == "oil")
        .options(with_name(OilEntry.person)))
    return {(e.motor_id, e.end): e for e in rows}
