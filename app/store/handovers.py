"""Handovers: what one shift leaves the next, each thing on a line of its own, given, taken, understood or queried."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship
from sqlalchemy.orm.attributes import set_committed_value

from app.rules.findings import PRIORITIES
from app.store.asked import once
from app.store.base import Base, UtcDateTime, one_of
from app.store.motors import Motor
from app.store.people import Person, with_name
from app.store.prepared import Prepared
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


_back = sa.orm.aliased(Round, name="back")


@once
def handover_of(session: Session, round_id: int) -> Handover | None:
    return session.scalar(sa.select(Handover).where(Handover.round_id == round_id).options(
        with_name(Handover.given_by), with_name(Handover.taken_by)))


class Earlier(NamedTuple):
    """A handover in a list of them: whose shift, how many things, and who signed."""

    round_id: int
    shift_date: date
    shift_name: str
    things: int
    face_to_face: bool
    given_by: str | None
    taken_by: str | None

    @property
    def label(self) -> str:
        return f"{self.shift_name} {self.shift_date.isoformat()}"


def _newest(unit_id: Any, most: int) -> sa.Select[int]:
    """Ids of the rounds of the newest handovers: walked from the newest round back, however long the history.

    Not further than the oldest round of those made last: none of the newest lies before it. Without that, a unit that
    hands over in words only would have all its rounds walked through at every sheet.
    """
    made_last = (sa.select(Handover.round_id).where(Handover.unit_id == unit_id)
                 .order_by(Handover.made_at.desc()).limit(most).subquery())
    since = sa.select(sa.func.min(_back.starts_at)).join(made_last, made_last.c.round_id == _back.id).scalar_subquery()
    return (sa.select(Round.id).join(Handover, Handover.round_id == Round.id)
            .where(Round.unit_id == unit_id, Round.starts_at >= since)
            .order_by(Round.starts_at.desc()).limit(most))


def _things() -> sa.ScalarSelect[int]:
    return (sa.select(sa.func.count()).select_from(HandoverItem).where(HandoverItem.handover_id == Handover.id)
            .correlate(Handover).scalar_subquery())


def _last() -> Any:
    given, taken = sa.orm.aliased(Person), sa.orm.aliased(Person)
    return (
        sa.select(Round.id, Round.shift_date, Round.shift_name, _things(), Handover.face_to_face, given.name,
                  taken.name)
        .join(Handover, Handover.round_id == Round.id)
        .outerjoin(given, given.id == Handover.given_by_id).outerjoin(taken, taken.id == Handover.taken_by_id)
        .where(Round.id.in_(_newest(sa.bindparam("unit_id", type_=sa.Integer()), 1))))


_LAST = Prepared(_last)


def last_handover(session: Session, unit_id: int) -> Earlier | None:
    """The newest that somebody gave or took."""
    return next((Earlier(*_LAST.values(session, row)) for row in _LAST.rows(session, {"unit_id": unit_id})), None)


@dataclass(frozen=True)
class Around:
    """Rounds that were asked for with their handovers, whole, the newest first; and the unit's newest handovers."""

    held: list[tuple[Round, Handover | None]]
    earlier: list[Earlier]


def around(session: Session, unit_id: int, wanted: sa.ColumnElement[bool], most: int = 8) -> Around:
    """wanted: which rounds, by their columns. One statement, with as many lines as these rounds' handovers have."""
    asked = sa.select(Round.id).where(Round.unit_id == unit_id, wanted)
    newest = _newest(unit_id, most).subquery()
    rows = session.execute(
        sa.select(Round, Handover, HandoverItem, _things(), Round.id.in_(sa.select(newest.c.id)), wanted)
        .outerjoin(Handover, Handover.round_id == Round.id)
        .outerjoin(HandoverItem, sa.and_(HandoverItem.handover_id == Handover.id, wanted))
        .where(Round.id.in_(asked.union_all(sa.select(newest.c.id))))
        .order_by(Round.starts_at.desc(), HandoverItem.position, HandoverItem.id)
        .options(sa.orm.lazyload(Handover.items), with_name(Handover.given_by), with_name(Handover.taken_by)))
    held: dict[int, tuple[Round, Handover | None]] = {}
    items: dict[int, list[HandoverItem]] = {}
    earlier: dict[int, Earlier] = {}
    for opened, there, item, things, is_new, is_asked in rows:
        if is_asked:
            held[opened.id] = opened, there
            items.setdefault(opened.id, []).extend([item] if item is not None else [])
        if is_new:
            names = (who.name if who is not None else None for who in (there.given_by, there.taken_by))
            earlier[opened.id] = Earlier(opened.id, opened.shift_date, opened.shift_name, things, there.face_to_face,
                                         *names)
    for round_id, (_, whole) in held.items():
        if whole is not None:
            set_committed_value(whole, "items", items[round_id])
    return Around(list(held.values()), list(earlier.values()))
