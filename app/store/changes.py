"""Who changed what in register, people and limits: before and after, in the same transaction as the change."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules.facts import STATES
from app.store.asked import once
from app.store.base import Base, UtcDateTime
from app.store.people import Person


class Change(Base):
    __tablename__ = "change"
    __table_args__ = (
        sa.Index("ix_change_unit_at", "unit_id", "at"),
        sa.Index("ix_change_subject", "subject", "subject_id", "at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int | None] = mapped_column(sa.ForeignKey("unit.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))  # None: the command line
    subject: Mapped[str] = mapped_column(sa.Text)  # "motor", "nameplate", "lubrication point", "person", "limit", ...
    subject_id: Mapped[int] = mapped_column()
    label: Mapped[str] = mapped_column(sa.Text)  # what a person calls it: the tag, the sign-in name
    field: Mapped[str] = mapped_column(sa.Text)
    before: Mapped[str | None] = mapped_column(sa.Text)
    after: Mapped[str | None] = mapped_column(sa.Text)
    why: Mapped[str | None] = mapped_column(sa.Text)
    person: Mapped[Person | None] = relationship()

    @property
    def by(self) -> str:
        return self.person.name if self.person else "command line"


def as_text(value: object) -> str | None:
    return None if value is None else str(value)


def note_change(session: Session, *, unit_id: int | None, at: datetime, person: Person | None, subject: str,
                subject_id: int, label: str, field: str, before: object, after: object,
                why: str | None = None) -> None:
    session.add(Change(unit_id=unit_id, at=at, person_id=person.id if person else None, subject=subject,
                       subject_id=subject_id, label=label, field=field, before=as_text(before),
                       after=as_text(after), why=why))


def changes_between(session: Session, unit_id: int, start: datetime, end: datetime) -> list[Change]:
    return list(session.scalars(sa.select(Change).where(
        Change.unit_id == unit_id, Change.at >= start, Change.at < end).order_by(Change.at, Change.id)))


@once
def changes_of(session: Session, subject: str, subject_id: int, most: int = 50) -> list[Change]:
    return list(session.scalars(sa.select(Change).where(
        Change.subject == subject, Change.subject_id == subject_id).order_by(Change.at.desc(), Change.id.desc())
        .limit(most)))


def state_named(after: str | None) -> str | None:
    """The state that a change of a motor's condition by hand put it in; None where the words name none."""
    return next((state for state in STATES if after and after.startswith(state)), None)


def newest_changes(session: Session, unit_id: int, most: int, *, subject: str = "", person_id: int | None = None,
                   words: str = "", before_id: int | None = None) -> list[Change]:
    """The unit's changes, the newest first by key. words: in the label, the field, the values or the reason."""
    query = sa.select(Change).where(Change.unit_id == unit_id)
    if subject:
        query = query.where(Change.subject == subject)
    if person_id is not None:
        query = query.where(Change.person_id == person_id)
    if before_id is not None:
        query = query.where(Change.id < before_id)
    if words:
        query = query.where(sa.or_(*(column.icontains(words, autoescape=True) for column in (
            Change.label, Change.field, Change.before, Change.after, Change.why))))
    return list(session.scalars(query.order_by(Change.id.desc()).limit(most)
                                .options(sa.orm.joinedload(Change.person))))


def subjects_of(session: Session, unit_id: int) -> list[str]:
    """What has been changed so far, for a filter."""
    return list(session.scalars(sa.select(Change.subject).where(Change.unit_id == unit_id).distinct()
                                .order_by(Change.subject)))
