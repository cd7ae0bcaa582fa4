"""Greasings: append-only, and what the chart makes due."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import facts
from app.store.base import Base, Key16, Real, UtcDateTime, one_of
from app.store.kept import Kept
from app.store.motors import LubricationPoint, Motor, MotorRun, Nameplate, SeenRun, walking_order
from app.store.people import Person, Token, with_name
from app.store.prepared import Prepared, Question, Row, ask


class Greasing(Base):
    __tablename__ = "greasing"
    __table_args__ = (sa.Index("ix_greasing_motor", "motor_id", "end", "at"),
                      sa.Index("ix_greasing_motor_at", "motor_id", "at"),
                      sa.Index("ix_greasing_unit", "unit_id", "at"), one_of("end", facts.ENDS, "end_known"))

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    content: Mapped[str] = mapped_column(sa.Text)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    end: Mapped[str] = mapped_column(sa.Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    lubricant: Mapped[str | None] = mapped_column(sa.Text)
    thickener: Mapped[str | None] = mapped_column(sa.Text)
    grams: Mapped[float | None] = mapped_column(Real)
    run_s: Mapped[float | None] = mapped_column(Real)  # the motor's running seconds when it was greased
    unsure_s: Mapped[float | None] = mapped_column(Real)  # of these, seconds in which it may have been otherwise
    gun: Mapped[str | None] = mapped_column(sa.Text)  # its name then
    stroke_g: Mapped[float | None] = mapped_column(Real)  # what its stroke gave then
    strokes: Mapped[float | None] = mapped_column(Real)
    why: Mapped[str | None] = mapped_column(sa.Text)  # the reason given for going on after a warning
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    token_id: Mapped[int | None] = mapped_column(sa.ForeignKey("token.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()
    token: Mapped[Token | None] = relationship()

    def as_facts(self) -> facts.Greasing:
        return facts.Greasing(self.end, self.at, self.lubricant, self.thickener, self.grams, self.person.name)


class ChartRow(NamedTuple):
    """A current line of the chart as the lists need it."""

    point: LubricationPoint
    motor: Motor
    greased: Greasing | None  # the newest in which something went in
    run: MotorRun | None
    bearing: str | None  # the number on the plate fitted now, or "sleeve"


def something_went_in() -> sa.ColumnElement[bool]:
    """Nothing went in (0 g): the fitting was blocked, say. That is kept, and greases nothing."""
    return sa.or_(Greasing.grams.is_(None), Greasing.grams > 0)


def newest_of_each_end() -> sa.Subquery:
    """Ids of the newest of one motor's greasings before an instant. Joined, not asked for by "in this or in that":
    PostgreSQL would look at every greasing there is."""
    ends = [sa.select(Greasing.id).where(
        Greasing.motor_id == sa.bindparam("motor_id"), Greasing.end == end,
        Greasing.at < sa.bindparam("before", type_=UtcDateTime()))
        .order_by(Greasing.at.desc()).limit(sa.bindparam("most", type_=sa.Integer())).subquery() for end in facts.ENDS]
    return sa.union_all(*(sa.select(end.c.id) for end in ends)).subquery()


def last_greasings(session: Session, motor_id: int, before: datetime, most: int = 10) -> list[Greasing]:
    """One motor's greasings before an instant, the newest first; `most` of each end, however often the other is."""
    newest = newest_of_each_end()
    return list(session.scalars(
        sa.select(Greasing).join(newest, Greasing.id == newest.c.id)
        .order_by(Greasing.at.desc(), Greasing.received_at.desc()).options(with_name(Greasing.person)),
        {"motor_id": motor_id, "before": before, "most": most}))


class Greased(NamedTuple):
    """A greasing as the rules need it: no row of the session."""

    end: str
    at: datetime
    lubricant: str | None
    thickener: str | None
    grams: float | None
    run_s: float | None
    unsure_s: float | None
    by: str

    def as_facts(self) -> facts.Greasing:
        return facts.Greasing(self.end, self.at, self.lubricant, self.thickener, self.grams, self.by)


def _last_greased() -> Any:
    newest = newest_of_each_end()
    return (sa.select(Greasing.end, Greasing.at, Greasing.lubricant, Greasing.thickener, Greasing.grams, Greasing.run_s,
                      Greasing.unsure_s, Person.name)
            .join(newest, Greasing.id == newest.c.id).join(Person, Person.id == Greasing.person_id)
            .order_by(Greasing.at.desc(), Greasing.received_at.desc()))


_GREASED = Prepared(_last_greased)
_DONE: Kept[Greased] = Kept(4_000)


def asking_last_greased(motor_id: int, before: datetime, most: int = 10) -> Question[list[Greased]]:
    """The same, just what the rules need."""
    def made(session: Session, row: Row) -> Greased:
        return Greased._make(_GREASED.values(session, row))

    return Question(_GREASED, {"motor_id": motor_id, "before": before, "most": most}, lambda session, rows: [
        _DONE.of(row, lambda row=row: made(session, row)) for row in rows])  # type: ignore[misc]


def last_greased(session: Session, motor_id: int, before: datetime, most: int = 10) -> list[Greased]:
    return ask(session, asking_last_greased(motor_id, before, most))


def chart_rows(session: Session, unit_id: int, *, with_interval: bool) -> list[ChartRow]:
    """The current lines of the chart in walking order, each with its newest greasing and its motor's running time.

    One query, driven from the chart with a correlated look-up, so that it costs the same after ten years.
    with_interval: only those that something makes due.
    """
    query = (sa.select(LubricationPoint, Motor, Greasing, MotorRun, newest_bearing())
             .join(Motor, Motor.id == LubricationPoint.motor_id)
             .outerjoin(Greasing, Greasing.id == newest_greasing())
             .outerjoin(MotorRun, MotorRun.motor_id == Motor.id)
             .where(Motor.unit_id == unit_id, LubricationPoint.replaced_at.is_(None))
             .order_by(*walking_order(), LubricationPoint.end).options(with_name(Greasing.person)))
    if with_interval:
        query = query.where(is_due_by_something())
    return [ChartRow(*row) for row in session.execute(query)]


class Interval(NamedTuple):
    """A current line of the chart that has an interval, and what its due date comes from: no row of the session. How
    the motor ran is asked only where running hours count, the bearing only where the line does not say its kind."""

    kind: str | None
    interval_days: float | None
    interval_run_h: float | None
    last_greased_at: datetime | None
    greased_at: datetime | None
    greased_run_s: float | None
    first_observed_at: datetime | None
    observed_at: datetime | None
    state: str | None
    run_s: float | None
    unsure_s: float | None
    bearing: str | None  # as in a ChartRow

    @property
    def run(self) -> SeenRun | None:
        """How long the motor has run, where that is known."""
        if self.observed_at is None:
            return None
        return SeenRun(first_observed_at=self.first_observed_at, observed_at=self.observed_at, state=self.state,
                       run_s=self.run_s, unsure_s=self.unsure_s)


def newest_bearing() -> Any:
    """For a query of the chart's lines: what the plate fitted now stamps at the line's end, a number or "sleeve"."""
    stamped = sa.case((LubricationPoint.end == "DE", Nameplate.de_bearing), else_=Nameplate.ode_bearing)
    return (sa.select(stamped).where(Nameplate.motor_id == LubricationPoint.motor_id)
            .order_by(Nameplate.fitted_from.desc(), Nameplate.id.desc()).limit(1).correlate(LubricationPoint)
            .scalar_subquery())


def newest_greasing(column: Any = Greasing.id) -> Any:
    """For a query of the chart's lines: the id (or a column) of the newest greasing of each in which something went in.
    """
    return (sa.select(column).where(
        Greasing.motor_id == LubricationPoint.motor_id, Greasing.end == LubricationPoint.end, something_went_in())
        .order_by(Greasing.at.desc()).limit(1).correlate(LubricationPoint).scalar_subquery())


def is_due_by_something() -> sa.ColumnElement[bool]:
    """For a query of the chart's lines: those that an interval makes due."""
    # Said in the statement: of a value that comes later PostgreSQL takes it that no line is otherwise.
    sealed = sa.literal_column("'sealed'", sa.Text())
    return sa.and_(sa.or_(LubricationPoint.kind.is_(None), LubricationPoint.kind != sealed),
                   sa.or_(LubricationPoint.interval_days.is_not(None), LubricationPoint.interval_run_h.is_not(None)))


def newest_before(session: Session, unit_id: int, instant: datetime) -> dict[tuple[int, str], Greasing]:
    """The newest greasing of every bearing on the chart before an instant."""
    newest = (sa.select(Greasing.id).where(
        Greasing.motor_id == LubricationPoint.motor_id, Greasing.end == LubricationPoint.end, something_went_in(),
        Greasing.at < instant).order_by(Greasing.at.desc()).limit(1).correlate(LubricationPoint).scalar_subquery())
    rows = session.scalars(
        sa.select(Greasing).join(LubricationPoint, Greasing.id == newest)
        .join(Motor, Motor.id == LubricationPoint.motor_id)
        .where(Motor.unit_id == unit_id, LubricationPoint.replaced_at.is_(None)))
    return {(g.motor_id, g.end): g for g in rows}


def greasings_between(session: Session, unit_id: int, start: datetime, end: datetime) -> list[Greasing]:
    return list(session.scalars(sa.select(Greasing).where(
        Greasing.unit_id == unit_id, Greasing.at >= start, Greasing.at < end).order_by(Greasing.at, Greasing.id)
        .options(sa.orm.joinedload(Greasing.motor), with_name(Greasing.person))))


def greasings_of(session: Session, motor_id: int) -> list[Greasing]:
    return list(session.scalars(sa.select(Greasing).where(Greasing.motor_id == motor_id).order_by(Greasing.at.desc())))


def greasing_by_id(session: Session, unit_id: int, key: uuid.UUID) -> Greasing | None:
    return session.scalar(sa.select(Greasing).where(Greasing.unit_id == unit_id, Greasing.id == key))


def greasing_with_motor(session: Session, unit_id: int, key: uuid.UUID) -> Greasing | None:
    """The same for reading: with who did it, and the motor with its plates and its chart, in one query."""
    motor = sa.orm.joinedload(Greasing.motor)
    return session.scalars(
        sa.select(Greasing).where(Greasing.unit_id == unit_id, Greasing.id == key)
        .options(with_name(Greasing.person), motor.joinedload(Motor.nameplates), motor.joinedload(Motor.points)))\
        .unique().one_or_none()
