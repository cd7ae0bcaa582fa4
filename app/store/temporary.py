"""Temporary states: what stands half-way on a motor, since when, by whom, until when. Ended by name, never deleted."""

from __future__ import annotations

import uuid
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import facts
from app.rules.temporary import KINDS, OTHER
from app.store.asked import once
from app.store.base import Base, Key16, UtcDateTime, one_of
from app.store.changes import Change, note_change
from app.store.motors import Motor
from app.store.people import Person, with_name

SUBJECT = "temporary state"
NO_END = ""


class TemporaryState(Base):
    __tablename__ = "temporary_state"
    __table_args__ = (
        sa.UniqueConstraint("key"),
        sa.Index("ix_temporary_state_standing", "unit_id", "since",
                 sqlite_where=sa.text("ended_at IS NULL"), postgresql_where=sa.text("ended_at IS NULL")),
        sa.Index("ix_temporary_state_motor", "motor_id", "since"),
        one_of("end", (NO_END, *facts.ENDS), "end_known"), one_of("kind", KINDS, "kind_known"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[uuid.UUID] = mapped_column(Key16)  # made by the form: sent twice, it is one
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    end: Mapped[str] = mapped_column(sa.Text, default=NO_END)
    kind: Mapped[str] = mapped_column(sa.Text)
    words: Mapped[str] = mapped_column(sa.Text, default="")
    since: Mapped[datetime] = mapped_column(UtcDateTime)
    expected_end: Mapped[datetime] = mapped_column(UtcDateTime)
    recorded_at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    greasing_id: Mapped[uuid.UUID | None] = mapped_column(sa.ForeignKey("greasing.id"))  # begun with this greasing
    ended_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    ended_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    ended_words: Mapped[str] = mapped_column(sa.Text, default="")
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship(foreign_keys=[person_id])
    ended_by: Mapped[Person | None] = relationship(foreign_keys=[ended_by_id])

    @property
    def what(self) -> str:
        """In words: "drain plug out", or what was written for another one."""
        return self.words if self.kind == OTHER and self.words else self.kind

    def past_end(self, now: datetime) -> bool:
        return self.ended_at is None and self.expected_end < now

    def as_facts(self) -> facts.TemporaryState:
        return facts.TemporaryState(self.kind, self.since, self.expected_end, self.end or None, self.person.name)


@once
def standing(session: Session, unit_id: int) -> list[TemporaryState]:
    """What stands half-way in the unit now, for sheet and handover: what should end first comes first."""
    return list(session.scalars(
        sa.select(TemporaryState).where(TemporaryState.unit_id == unit_id, TemporaryState.ended_at.is_(None))
        .order_by(TemporaryState.expected_end, TemporaryState.id)
        .options(sa.orm.joinedload(TemporaryState.motor), with_name(TemporaryState.person))))


def standing_then(session: Session, motor_id: int, at: datetime) -> list[TemporaryState]:
    """What stood half-way on one motor at an instant: for an entry that arrives late, one may have ended since."""
    return list(session.scalars(
        sa.select(TemporaryState).where(
            TemporaryState.motor_id == motor_id, TemporaryState.since <= at,
            sa.or_(TemporaryState.ended_at.is_(None), TemporaryState.ended_at > at))
        .order_by(TemporaryState.expected_end, TemporaryState.id)
        .options(with_name(TemporaryState.person))))


def newest_ended(session: Session, unit_id: int, most: int = 30) -> list[TemporaryState]:
    return list(session.scalars(
        sa.select(TemporaryState).where(TemporaryState.unit_id == unit_id, TemporaryState.ended_at.is_not(None))
        .order_by(TemporaryState.ended_at.desc(), TemporaryState.id.desc()).limit(most)
        .options(sa.orm.joinedload(TemporaryState.motor), with_name(TemporaryState.person),
                 with_name(TemporaryState.ended_by))))


def temporary_by_id(session: Session, unit_id: int, state_id: int) -> TemporaryState | None:
    return session.scalar(sa.select(TemporaryState).where(
        TemporaryState.unit_id == unit_id, TemporaryState.id == state_id))


def temporary_by_key(session: Session, unit_id: int, key: uuid.UUID) -> TemporaryState | None:
    return session.scalar(sa.select(TemporaryState).where(
        TemporaryState.unit_id == unit_id, TemporaryState.key == key))


def moves_of(session: Session, state: TemporaryState) -> list[Change]:
    """How its expected end was moved, the oldest first, with who and why."""
    return list(session.scalars(sa.select(Change).where(
        Change.subject == SUBJECT, Change.subject_id == state.id, Change.field == "expected_end")
        .order_by(Change.at, Change.id)))


def note(session: Session, state: TemporaryState, person: Person, at: datetime, field: str, before: object,
         after: object, why: str | None = None) -> None:
    note_change(session, unit_id=state.unit_id, at=at, person=person, subject=SUBJECT, subject_id=state.id,
                label=state.motor.tag, field=field, before=before, after=after, why=why)
