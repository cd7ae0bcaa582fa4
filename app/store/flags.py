"""Findings as stored with the entry they were judged on, and flags: findings that stand until they are closed."""

from __future__ import annotations

import uuid
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules.findings import PRIORITIES
from app.rules.findings import Finding as RuleFinding
from app.store.asked import once
from app.store.base import Base, Key16, Real, UtcDateTime, one_of
from app.store.motors import Motor
from app.store.people import Person, with_name
from app.store.prepared import Prepared, Question

CAUSES = ("reading", "greasing", "start", "round")
#: No end. A plain word, because NULLs never collide in a unique index.
NO_END = ""


class Finding(Base):
    """What a rule said of one entry, with the limit and source it was judged by."""

    __tablename__ = "finding"
    __table_args__ = (sa.UniqueConstraint("cause_id", "rule", "end"), sa.Index("ix_finding_motor", "motor_id", "at"),
                      one_of("priority", PRIORITIES, "priority_known"), one_of("cause", CAUSES, "cause_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    cause: Mapped[str] = mapped_column(sa.Text)
    cause_id: Mapped[uuid.UUID] = mapped_column(Key16)
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    rule: Mapped[str] = mapped_column(sa.Text)
    end: Mapped[str] = mapped_column(sa.Text)
    priority: Mapped[str] = mapped_column(sa.Text)
    value: Mapped[float | None] = mapped_column(Real)
    limit: Mapped[float | None] = mapped_column("limit_value", Real)
    unit_of_measure: Mapped[str | None] = mapped_column(sa.Text)
    source: Mapped[str] = mapped_column(sa.Text)
    says: Mapped[str] = mapped_column(sa.Text)

    def as_rule(self) -> RuleFinding:
        return RuleFinding(self.rule, self.end or None, self.priority, self.value, self.limit, self.unit_of_measure,
                           self.source, self.says)


class FlagLife:
    """What follows of a flag's columns: of the model, and of a row that holds these columns of it."""

    if TYPE_CHECKING:
        returned_at: Any
        shelved_until: Any
        improving_at: Any
        action: Any
        owner: Any
        due_at: Any
        run_on_reason: Any
        run_on_review_at: Any
        closed_at: Any

    @property
    def open(self) -> bool:
        return self.closed_at is None

    def shelved(self, now: datetime) -> bool:
        return self.shelved_until is not None and self.shelved_until > now

    def look_again(self, now: datetime) -> bool:
        """Run on, and the time to look at it again has come."""
        return (self.open and self.returned_at is None
                and self.run_on_review_at is not None and self.run_on_review_at <= now)

    @property
    def without_action(self) -> bool:
        """Nobody did anything about it yet, said who will, or decided to run on."""
        return self.action is None and self.owner is None and self.run_on_reason is None

    def late(self, now: datetime) -> bool:
        """What was to be done by a time is not done."""
        return self.open and self.returned_at is None and self.due_at is not None and self.due_at < now

    def state(self, now: datetime) -> str:
        """The word of the JSON door and the export."""
        return state_word(now, self.closed_at, self.returned_at, self.shelved_until, self.improving_at)


def state_word(now: datetime, closed_at: datetime | None, returned_at: datetime | None,
               shelved_until: datetime | None, improving_at: datetime | None) -> str:
    """The state of a flag with these instants, in the word of the JSON door and the export."""
    if closed_at is not None and closed_at <= now:
        return "closed"
    if returned_at is not None:
        return "returned to normal"
    if shelved_until is not None and shelved_until > now:
        return "shelved"
    return "improving" if improving_at is not None else "active"


class Flag(FlagLife, Base):
    """One open flag per motor, rule and end, held by the database; open means not closed."""

    __tablename__ = "flag"
    __table_args__ = (
        sa.Index("uq_flag_open", "motor_id", "rule", "end", unique=True,
                 sqlite_where=sa.text("closed_at IS NULL"), postgresql_where=sa.text("closed_at IS NULL")),
        sa.Index("ix_flag_unit_open", "unit_id", "id",
                 sqlite_where=sa.text("closed_at IS NULL"), postgresql_where=sa.text("closed_at IS NULL")),
        # With raised_at, what stood in a span is found in the index; else SQLite walks all that was raised before it.
        sa.Index("ix_flag_unit_closed", "unit_id", "closed_at", "raised_at"),
        sa.Index("ix_flag_unit_raised", "unit_id", "raised_at"),
        sa.Index("ix_flag_motor", "motor_id", "raised_at"),
        sa.Index("ix_flag_motor_closed", "motor_id", "closed_at"),
        one_of("priority", PRIORITIES, "priority_known"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    rule: Mapped[str] = mapped_column(sa.Text)
    end: Mapped[str] = mapped_column(sa.Text)
    priority: Mapped[str] = mapped_column(sa.Text)  # of the newest sighting
    raised_at: Mapped[datetime] = mapped_column(UtcDateTime)
    raised_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    raised_cause: Mapped[str] = mapped_column(sa.Text)
    raised_cause_id: Mapped[uuid.UUID] = mapped_column(Key16)
    last_seen_at: Mapped[datetime] = mapped_column(UtcDateTime)
    times_seen: Mapped[int] = mapped_column(default=1)
    value: Mapped[float | None] = mapped_column(Real)
    limit: Mapped[float | None] = mapped_column("limit_value", Real)
    unit_of_measure: Mapped[str | None] = mapped_column(sa.Text)
    source: Mapped[str] = mapped_column(sa.Text)
    says: Mapped[str] = mapped_column(sa.Text)
    good_rounds: Mapped[int] = mapped_column(default=0)  # rounds running below the limit less the clearing band
    good_round_id: Mapped[int | None] = mapped_column(sa.ForeignKey("round.id"))  # the last that counted
    improving_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # the newest entry that did not show it
    returned_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    seen_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    seen_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    shelved_until: Mapped[datetime | None] = mapped_column(UtcDateTime)
    action: Mapped[str | None] = mapped_column(sa.Text)
    action_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    action_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    owner: Mapped[str | None] = mapped_column(sa.Text)  # who will do what comes next
    due_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    run_on_reason: Mapped[str | None] = mapped_column(sa.Text)
    run_on_watch: Mapped[str | None] = mapped_column(sa.Text)  # the value to watch meanwhile
    run_on_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    run_on_review_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    shelved_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    shelved_why: Mapped[str | None] = mapped_column(sa.Text)
    shelved_watch: Mapped[str | None] = mapped_column(sa.Text)  # the condition to watch meanwhile
    shelved_priority: Mapped[str | None] = mapped_column(sa.Text)  # as it was when shelved: worse wakes it
    shelved_value: Mapped[float | None] = mapped_column(Real)
    woken_why: Mapped[str | None] = mapped_column(sa.Text)  # before its time
    unstable_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # came and went too often to close itself
    closed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    closed_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))  # None: closed itself
    closed_why: Mapped[str | None] = mapped_column(sa.Text)
    closed_reading_id: Mapped[uuid.UUID | None] = mapped_column(Key16)  # the reading that shows it
    before_id: Mapped[int | None] = mapped_column(sa.ForeignKey("flag.id"))  # the earlier flag it follows
    arrived_late: Mapped[bool] = mapped_column(default=False)
    version: Mapped[int] = mapped_column(default=1)  # the second of two people acting at once is told
    motor: Mapped[Motor] = relationship()
    raised_by: Mapped[Person | None] = relationship(foreign_keys=[raised_by_id])
    seen_by: Mapped[Person | None] = relationship(foreign_keys=[seen_by_id])
    action_by: Mapped[Person | None] = relationship(foreign_keys=[action_by_id])
    closed_by: Mapped[Person | None] = relationship(foreign_keys=[closed_by_id])


class Sighting(Base):
    """One entry that showed a flag's condition: the readings behind it. Counts are made from these rows."""

    __tablename__ = "sighting"
    __table_args__ = (sa.UniqueConstraint("flag_id", "cause_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    flag_id: Mapped[int] = mapped_column(sa.ForeignKey("flag.id"))
    cause: Mapped[str] = mapped_column(sa.Text)
    cause_id: Mapped[uuid.UUID] = mapped_column(Key16)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    priority: Mapped[str] = mapped_column(sa.Text)
    value: Mapped[float | None] = mapped_column(Real)
    limit: Mapped[float | None] = mapped_column("limit_value", Real)
    unit_of_measure: Mapped[str | None] = mapped_column(sa.Text)
    source: Mapped[str] = mapped_column(sa.Text)
    says: Mapped[str] = mapped_column(sa.Text)
    person: Mapped[Person | None] = relationship()


class FlagReturn(Base):
    """One time that a condition came and went: from these an unstable one is known."""

    __tablename__ = "flag_return"
    __table_args__ = (sa.Index("ix_flag_return_key", "motor_id", "rule", "end", "returned_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    flag_id: Mapped[int] = mapped_column(sa.ForeignKey("flag.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    rule: Mapped[str] = mapped_column(sa.Text)
    end: Mapped[str] = mapped_column(sa.Text)
    opened_at: Mapped[datetime] = mapped_column(UtcDateTime)
    returned_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Note(Base):
    """Words on a flag: append-only. kind: seen, done, run on, shelved, woken, closed, accepted."""

    __tablename__ = "note"
    __table_args__ = (sa.Index("ix_note_flag", "flag_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    flag_id: Mapped[int] = mapped_column(sa.ForeignKey("flag.id"))
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    kind: Mapped[str] = mapped_column(sa.Text, default="note")
    text: Mapped[str] = mapped_column(sa.Text)
    person: Mapped[Person] = relationship()


def by_priority() -> sa.ColumnElement[int]:
    return sa.case({word: i for i, word in enumerate(PRIORITIES)}, value=Flag.priority, else_=len(PRIORITIES))


def all_open(unit_id: int) -> sa.Select[Any]:
    """For a larger query: what stands, by priority, then age, with the motor and who did what."""
    return (sa.select(Flag).where(Flag.unit_id == unit_id, Flag.closed_at.is_(None))
            .order_by(by_priority(), Flag.raised_at, Flag.id).options(
                sa.orm.joinedload(Flag.motor), *map(with_name, (Flag.raised_by, Flag.seen_by, Flag.action_by))))


@once
def open_flags(session: Session, unit_id: int) -> list[Flag]:
    """What stands: by priority, then age."""
    return list(session.scalars(all_open(unit_id)))


class Standing(NamedTuple):
    """Just where a flag stands and how grave it is."""

    motor_id: int
    priority: str


_STANDING = Prepared(lambda: sa.select(Flag.motor_id, Flag.priority).where(
    Flag.unit_id == sa.bindparam("unit_id", type_=sa.Integer()), Flag.closed_at.is_(None)).order_by(by_priority()))


def standing_of(session: Session, unit_id: int) -> list[Standing]:
    """The unit's open flags, the gravest first, without what they say."""
    return [Standing._make(row) for row in _STANDING.rows(session, {"unit_id": unit_id})]


@cache
def _open_of_motor() -> Any:
    return (sa.select(Flag).where(Flag.motor_id == sa.bindparam("motor_id"), Flag.closed_at.is_(None))
            .order_by(by_priority(), Flag.raised_at, Flag.id))


@once
def open_flags_of_motor(session: Session, motor_id: int) -> list[Flag]:
    return list(session.scalars(_open_of_motor(), {"motor_id": motor_id}))


class OpenOn(NamedTuple):
    """What of a motor's open flag decides whether an entry says something of it."""

    rule: str
    end: str
    measured: bool  # raised on a figure
    returned: bool


_OPEN_ON = Prepared(lambda: sa.select(
    Flag.rule, Flag.end, Flag.value.is_not(None), Flag.returned_at.is_not(None)).where(
    Flag.motor_id == sa.bindparam("motor_id", type_=sa.Integer()), Flag.closed_at.is_(None)))


def asking_open_on(motor_id: int) -> Question[list[OpenOn]]:
    """What stands on this motor."""
    return Question(_OPEN_ON, {"motor_id": motor_id}, lambda _, rows: [OpenOn._make(row) for row in rows])


def any_closed_after(session: Session, unit_id: int, motor_id: int, instant: datetime) -> bool:
    """Whether a flag of this motor closed after an instant."""
    return session.scalar(sa.select(sa.exists().where(
        Flag.unit_id == unit_id, Flag.closed_at > instant, Flag.motor_id == motor_id))) or False


def open_flag(session: Session, motor_id: int, rule: str, end: str) -> Flag | None:
    return session.scalar(sa.select(Flag).where(
        Flag.motor_id == motor_id, Flag.rule == rule, Flag.end == end, Flag.closed_at.is_(None)))


def last_closed(session: Session, motor_id: int, rule: str, end: str) -> Flag | None:
    return session.scalar(sa.select(Flag).where(
        Flag.motor_id == motor_id, Flag.rule == rule, Flag.end == end, Flag.closed_at.is_not(None))
        .order_by(Flag.closed_at.desc(), Flag.id.desc()).limit(1))


def flag_by_id(session: Session, unit_id: int, flag_id: int) -> Flag | None:
    return session.scalar(sa.select(Flag).where(Flag.unit_id == unit_id, Flag.id == flag_id))


def flags_after(session: Session, unit_id: int, after: tuple[datetime, int] | None, most: int, only_open: bool = False,
                motor_id: int | None = None) -> list[Flag]:
    """A page of flags for the JSON door, the one raised first first. after: when the last one of the page before was
    raised, and its id: by these the index leads to the place. motor_id: of this motor, of this unit."""
    query = sa.select(Flag).where(Flag.unit_id == unit_id if motor_id is None else Flag.motor_id == motor_id)
    if only_open:
        query = query.where(Flag.closed_at.is_(None))
    if after is not None:
        query = query.where(Flag.raised_at >= after[0], sa.or_(Flag.raised_at > after[0], Flag.id > after[1]))
    return list(session.scalars(query.order_by(Flag.raised_at, Flag.id).limit(most)
                                .options(sa.orm.joinedload(Flag.motor))))


def flags_standing(session: Session, unit_id: int, start: datetime, end: datetime) -> list[Flag]:
    """Flags that stood at any time in [start, end): raised before its end, not closed before its start."""
    closed = sa.select(Flag.id).where(Flag.unit_id == unit_id, Flag.closed_at >= start, Flag.raised_at < end)
    still = sa.select(Flag.id).where(Flag.unit_id == unit_id, Flag.closed_at.is_(None), Flag.raised_at < end)
    return list(session.scalars(
        sa.select(Flag).where(Flag.id.in_(closed.union(still)))
        .order_by(by_priority(), Flag.raised_at, Flag.id).options(
            sa.orm.joinedload(Flag.motor), sa.orm.joinedload(Flag.raised_by), sa.orm.joinedload(Flag.seen_by),
            sa.orm.joinedload(Flag.action_by), sa.orm.joinedload(Flag.closed_by))))


@once
def sightings_of(session: Session, flag_id: int) -> list[Sighting]:
    return list(session.scalars(sa.select(Sighting).where(Sighting.flag_id == flag_id)
                                .order_by(Sighting.at, Sighting.id).options(sa.orm.joinedload(Sighting.person))))


def notes_of(session: Session, flag_id: int) -> list[Note]:
    return list(session.scalars(sa.select(Note).where(Note.flag_id == flag_id).order_by(Note.at, Note.id)
                                .options(sa.orm.joinedload(Note.person))))


def findings_of(session: Session, cause_ids: list[uuid.UUID]) -> dict[uuid.UUID, list[Finding]]:
    """Findings by the entry they were judged on, gravest first."""
    found: dict[uuid.UUID, list[Finding]] = {}
    if not cause_ids:
        return found
    gravest_first = sa.case({word: i for i, word in enumerate(PRIORITIES)}, value=Finding.priority)
    for row in session.scalars(sa.select(Finding).where(Finding.cause_id.in_(cause_ids))
                               .order_by(gravest_first, Finding.rule, Finding.end)):
        found.setdefault(row.cause_id, []).append(row)
    return found
