"""Starts, stops and trips; what cleared a trip; pre-start checks; shafts turned. All append-only."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules.facts import RUNNING, STANDBY
from app.store.asked import once
from app.store.base import Base, Key16, Real, UtcDateTime, one_of
from app.store.motors import Motor
from app.store.people import Person, Token

OUTCOMES = ("ran", "did not start", "tripped while starting", "automatic")
PROTECTIONS = ("overload relay", "low voltage", "fuse", "circuit breaker", "unknown")
#: What people record on a trip after it happened.
RELAY_RESET, HEAD_OPERATOR_AGREES, CLEARED = "relay reset", "head operator agrees", "cleared"
TRIP_ACTS = (RELAY_RESET, HEAD_OPERATOR_AGREES, CLEARED)


class Start(Base):
    """Every energising: tries that failed, bumps and automatic restarts too."""

    __tablename__ = "start"
    __table_args__ = (sa.Index("ix_start_motor", "motor_id", "at"), sa.Index("ix_start_unit", "unit_id", "at"),
                      one_of("outcome", OUTCOMES, "outcome_known"))

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    content: Mapped[str] = mapped_column(sa.Text)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    at_device: Mapped[datetime] = mapped_column(UtcDateTime)
    clock_offset_s: Mapped[float] = mapped_column(Real, default=0.0)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    outcome: Mapped[str] = mapped_column(sa.Text)
    duration_s: Mapped[float | None] = mapped_column(Real)  # how long it was energised, where it did not run on
    condition_before: Mapped[str | None] = mapped_column(sa.Text)  # the motor's condition when this was received
    then_continuous: Mapped[bool] = mapped_column(default=False)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    token_id: Mapped[int | None] = mapped_column(sa.ForeignKey("token.id"))
    dip_id: Mapped[int | None] = mapped_column(sa.ForeignKey("dip.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()
    token: Mapped[Token | None] = relationship()


class Stop(Base):
    __tablename__ = "stop"
    __table_args__ = (sa.Index("ix_stop_motor", "motor_id", "at"), sa.Index("ix_stop_unit", "unit_id", "at"))

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    content: Mapped[str] = mapped_column(sa.Text)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    at_device: Mapped[datetime] = mapped_column(UtcDateTime)
    clock_offset_s: Mapped[float] = mapped_column(Real, default=0.0)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    token_id: Mapped[int | None] = mapped_column(sa.ForeignKey("token.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()
    token: Mapped[Token | None] = relationship()


class Trip(Base):
    """A protection opened. What opened decides who may do what next."""

    __tablename__ = "trip"
    __table_args__ = (sa.Index("ix_trip_motor", "motor_id", "at"), sa.Index("ix_trip_unit", "unit_id", "at"),
                      one_of("protection", PROTECTIONS, "protection_known"))

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    content: Mapped[str] = mapped_column(sa.Text)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    at_device: Mapped[datetime] = mapped_column(UtcDateTime)
    clock_offset_s: Mapped[float] = mapped_column(Real, default=0.0)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    protection: Mapped[str] = mapped_column(sa.Text)
    cause: Mapped[str | None] = mapped_column(sa.Text)  # as found when it was recorded; None: not found yet
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    token_id: Mapped[int | None] = mapped_column(sa.ForeignKey("token.id"))
    dip_id: Mapped[int | None] = mapped_column(sa.ForeignKey("dip.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()
    token: Mapped[Token | None] = relationship()
    acts: Mapped[list[TripAct]] = relationship(order_by="TripAct.id", lazy="selectin")


class TripAct(Base):
    """What was done about a trip, by whom: relay reset, the head operator's word, a qualified person's clearance."""

    __tablename__ = "trip_act"
    __table_args__ = (sa.Index("ix_trip_act_trip", "trip_id"), one_of("kind", TRIP_ACTS, "kind_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    trip_id: Mapped[uuid.UUID] = mapped_column(sa.ForeignKey("trip.id"))
    kind: Mapped[str] = mapped_column(sa.Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    qualified_name: Mapped[str | None] = mapped_column(sa.Text)  # whose word it is, where it needs one
    found: Mapped[str | None] = mapped_column(sa.Text)  # the cause, or what was found
    person: Mapped[Person] = relationship()


class Release(Base):
    """Tries were used up: the head operator lets the motor be tried again, with the cause that was found."""

    __tablename__ = "release"
    __table_args__ = (sa.Index("ix_release_motor", "motor_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    cause: Mapped[str] = mapped_column(sa.Text)
    person: Mapped[Person] = relationship()


class PrestartCheck(Base):
    """A pre-start check: why it was due, and each item's answer with the name of who answered."""

    __tablename__ = "prestart_check"
    __table_args__ = (sa.Index("ix_prestart_check_motor", "motor_id", "at"),)

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    why: Mapped[str] = mapped_column(sa.Text)
    answers: Mapped[dict[str, Any]] = mapped_column(sa.JSON)  # item -> {"answer": yes|no|not needed, "by": name}
    passed: Mapped[bool] = mapped_column()
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    motor: Mapped[Motor] = relationship()
    person: Mapped[Person] = relationship()


class ShaftTurn(Base):
    """A spare's shaft was turned by hand."""

    __tablename__ = "shaft_turn"
    __table_args__ = (sa.Index("ix_shaft_turn_motor", "motor_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    person: Mapped[Person] = relationship()


# queries ---------------------------------------------------------------------------------------------------


def starts_of(session: Session, motor_id: int, since: datetime, until: datetime | None = None) -> list[Start]:
    """One motor's starts from an instant on, the oldest first, in true order."""
    query = sa.select(Start).where(Start.motor_id == motor_id, Start.at >= since)
    if until is not None:
        query = query.where(Start.at <= until)
    return list(session.scalars(query.order_by(Start.at, Start.received_at, Start.id)
                                .options(sa.orm.joinedload(Start.person))))


def last_start_at(session: Session, motor_id: int, until: datetime) -> datetime | None:
    """When the motor was last energised, up to and with an instant."""
    return session.scalar(sa.select(Start.at).where(Start.motor_id == motor_id, Start.at <= until)
                          .order_by(Start.at.desc()).limit(1))


@once
def newest_trips(session: Session, motor_id: int, most: int = 20, before: datetime | None = None) -> list[Trip]:
    query = sa.select(Trip).where(Trip.motor_id == motor_id)
    if before is not None:
        query = query.where(Trip.at <= before)
    return list(session.scalars(query.order_by(Trip.at.desc(), Trip.received_at.desc()).limit(most)
                                .options(sa.orm.joinedload(Trip.person), sa.orm.joinedload(Trip.token))))


def trip_by_id(session: Session, unit_id: int, key: uuid.UUID) -> Trip | None:
    return session.scalar(sa.select(Trip).where(Trip.unit_id == unit_id, Trip.id == key))


def start_at_dip(session: Session, dip_id: int, motor_id: int) -> Start | None:
    """The automatic start that was counted for a motor after a dip."""
    return session.scalar(sa.select(Start).where(
        Start.dip_id == dip_id, Start.motor_id == motor_id, Start.outcome == "automatic").limit(1))


def motor_and_sent(session: Session, unit_id: int, motor_id: int, kind: Any,
                   key: uuid.UUID | None) -> tuple[Motor | None, Any]:
    """A motor of this unit with plates and chart, and the start or stop, of any motor, that was saved under this id."""
    row = session.execute(
        sa.select(Motor, kind).outerjoin(kind, kind.id == key if key is not None else sa.false())
        .where(Motor.unit_id == unit_id, Motor.id == motor_id)
        .options(sa.orm.joinedload(Motor.nameplates), sa.orm.joinedload(Motor.points))).unique().first()
    return (row[0], row[1]) if row is not None else (None, None)


def start_by_id(session: Session, unit_id: int, key: uuid.UUID) -> Start | None:
    return session.scalar(sa.select(Start).where(Start.unit_id == unit_id, Start.id == key))


def relays_to_reset(session: Session, unit_id: int) -> list[Trip]:
    """Overload trips whose relay nobody has recorded as reset, the newest first."""
    reset = sa.exists().where(TripAct.trip_id == Trip.id, TripAct.kind == RELAY_RESET)
    return list(session.scalars(sa.select(Trip).where(
        Trip.unit_id == unit_id, Trip.protection == "overload relay", ~reset).order_by(Trip.at.desc()).limit(50)
        .options(sa.orm.joinedload(Trip.motor), sa.orm.lazyload(Trip.acts))))


def states_seen(session: Session, motor_id: int) -> list[tuple[datetime, str]]:
    """What starts and stops say of the motor's state, with the end of a start that did not run on; unsorted."""
    seen: list[tuple[datetime, str]] = []
    for at, outcome, duration_s in session.execute(
            sa.select(Start.at, Start.outcome, Start.duration_s).where(Start.motor_id == motor_id)):
        seen += states_of_start(at, outcome, duration_s)
    seen += [(at, STANDBY) for at in session.scalars(sa.select(Stop.at).where(Stop.motor_id == motor_id))]
    seen += [(at, STANDBY) for at in session.scalars(sa.select(Trip.at).where(Trip.motor_id == motor_id))]
    return seen


def states_of_start(at: datetime, outcome: str, duration_s: float | None) -> list[tuple[datetime, str]]:
    """Running from the start on; stopped again after its duration, or at once where it did not run."""
    if outcome in ("ran", "automatic"):
        stopped = [(at + timedelta(seconds=duration_s), STANDBY)] if duration_s is not None else []
        return [(at, RUNNING), *stopped]
    return [(at + timedelta(seconds=duration_s or 0.0), STANDBY)]
