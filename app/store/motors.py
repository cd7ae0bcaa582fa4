"""The register: motors in walking order, the nameplates fitted there, the lubrication chart."""

from __future__ import annotations

import re
import secrets
import unicodedata
from datetime import date, datetime
from types import SimpleNamespace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import facts, running_hours
from app.store.asked import ASKED, once
from app.store.base import Base, Real, UtcDateTime, one_of
from app.store.people import Person
from app.store.prepared import Prepared, Question, no_answer
from app.store.units import Unit

CHECKED_EVERY = ("shift", "day", "week")
START_BASES = ("general practice", "table", "written procedure")
LUBRICATION_KINDS = ("grease", "oil", "sealed")

_DASHES = re.compile("[\u2010-\u2015\u2212\u2043\ufe58\ufe63\uff0d]")
_UNSEEN = re.compile("[\u00ad\u200b-\u200f\u2060\ufeff]")


def tag_key(tag: str) -> str:
    """What makes two spellings of a tag the same tag: kinds of dash, invisible characters and case do not count.

    >>> tag_key("P\u2011101\u200b") == tag_key("p-101 ")
    True
    """
    text = unicodedata.normalize("NFKC", _UNSEEN.sub("", tag))
    return " ".join(_DASHES.sub("-", text).split()).casefold()


#: What a label's key is made of: no letter that is taken for another, in print or by eye.
LABEL_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


def new_label_key() -> str:
    """Random, so that a label of another database leads nowhere and never to the wrong motor."""
    return "".join(secrets.choice(LABEL_LETTERS) for _ in range(8))


class Motor(Base):
    """A position in the plant. The machine in it changes; the tag and the history stay."""

    __tablename__ = "motor"
    __table_args__ = (
        sa.UniqueConstraint("unit_id", "tag_key"),
        sa.Index("ix_motor_walk", "unit_id", "route_order", "id"),
        one_of("condition", facts.STATES, "condition_known"),
        one_of("checked_every", CHECKED_EVERY, "checked_every_known"),
        one_of("interlock", facts.INTERLOCKS, "interlock_known"),
        one_of("ammeter", facts.AMMETERS, "ammeter_known"),
        one_of("start_basis", START_BASES, "start_basis_known"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    tag: Mapped[str] = mapped_column(sa.Text)  # always text, as typed: 1E05, 3-4 and 007 stay
    tag_key: Mapped[str] = mapped_column(sa.Text)
    label_key: Mapped[str] = mapped_column(sa.Text, unique=True, default=new_label_key)  # in the code on its label
    service: Mapped[str] = mapped_column(sa.Text, default="")
    area: Mapped[str] = mapped_column(sa.Text)
    route_order: Mapped[float | None] = mapped_column(Real)
    checked_every: Mapped[str] = mapped_column(sa.Text, default="shift")
    condition: Mapped[str | None] = mapped_column(sa.Text)
    condition_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # observed, not received
    lock_tag: Mapped[str | None] = mapped_column(sa.Text)  # number on the lock-out tag
    lock_owner: Mapped[str | None] = mapped_column(sa.Text)
    interlock: Mapped[str | None] = mapped_column(sa.Text)
    ammeter: Mapped[str | None] = mapped_column(sa.Text)
    by_control_room: Mapped[str] = mapped_column(sa.Text, default="")  # reading keys that arrive by token, commas
    standby_partner: Mapped[str | None] = mapped_column(sa.Text)
    start_basis: Mapped[str] = mapped_column(sa.Text, default="general practice")
    accepted_normal_feel: Mapped[str | None] = mapped_column(sa.Text)
    new_normal_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    written_starts_per_hour: Mapped[float | None] = mapped_column(Real)
    written_spacing_min: Mapped[float | None] = mapped_column(Real)
    written_run_min: Mapped[float | None] = mapped_column(Real)
    written_tries: Mapped[int | None] = mapped_column()
    restart_order: Mapped[float | None] = mapped_column(Real)  # place in the order of starting again after a dip
    remarks: Mapped[str] = mapped_column(sa.Text, default="")
    version: Mapped[int] = mapped_column(default=1)  # counts saved edits: the later of two editors is asked
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    unit: Mapped[Unit] = relationship()
    nameplates: Mapped[list[Nameplate]] = relationship(order_by="Nameplate.id", back_populates="motor")
    points: Mapped[list[LubricationPoint]] = relationship(
        primaryjoin="and_(Motor.id == LubricationPoint.motor_id, LubricationPoint.replaced_at.is_(None))",
        order_by="LubricationPoint.end", viewonly=True)

    @property
    def nameplate(self) -> Nameplate | None:
        """The plate fitted now: the newest by the instant it was fitted."""
        return max(self.nameplates, key=lambda p: (p.fitted_from, p.id), default=None)

    @property
    def plate_waits(self) -> bool:
        """The machine fitted now has a plate that no second person has confirmed."""
        plate = self.nameplate
        return plate is not None and plate.confirmed_at is None and plate is not self.nameplates[0]

    def nameplate_at(self, instant: datetime) -> Nameplate | None:
        """The plate that was fitted then; the first one for anything before it."""
        fitted = sorted(self.nameplates, key=lambda p: (p.fitted_from, p.id))
        before = [p for p in fitted if p.fitted_from <= instant]
        return before[-1] if before else (fitted[0] if fitted else None)

    def point(self, end: str) -> LubricationPoint | None:
        return next((p for p in self.points if p.end == end), None)

    @property
    def may_start_by_itself(self) -> bool:
        """Stopped, and a dip or a process switch can start it with nobody near the button."""
        return self.interlock in ("low-voltage release", "automatic start") and self.condition not in (
            facts.RUNNING, facts.LOCKED_OUT, facts.OUT_OF_SERVICE)


class Nameplate(Base):
    """The machine fitted from an instant on. A swap adds one; nothing is overwritten but by a noted correction.

    A plate's own words are kept as stamped (`*_stamped`); the numbers beside them are for the connected voltage.
    """

    __tablename__ = "nameplate"
    __table_args__ = (sa.Index("ix_nameplate_motor", "motor_id", "fitted_from"),
                      one_of("mounting", ("rigid", "flexible"), "mounting_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    fitted_from: Mapped[datetime] = mapped_column(UtcDateTime)
    fitted_on: Mapped[date | None] = mapped_column(sa.Date)  # the day as entered, which passes through no clock
    entered_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    confirmed_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    confirmed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # a first plate needs no second person
    hp_stamped: Mapped[str | None] = mapped_column(sa.Text)
    volts_stamped: Mapped[str | None] = mapped_column(sa.Text)
    amps_stamped: Mapped[str | None] = mapped_column(sa.Text)
    sfa_stamped: Mapped[str | None] = mapped_column(sa.Text)
    hp: Mapped[float | None] = mapped_column(Real)
    connected_volts: Mapped[float | None] = mapped_column(Real)
    volts: Mapped[float | None] = mapped_column(Real)  # rated, for the connected pair; None until it is chosen
    amps: Mapped[float | None] = mapped_column(Real)
    service_factor: Mapped[float | None] = mapped_column(Real)
    service_factor_amps: Mapped[float | None] = mapped_column(Real)
    phases: Mapped[int | None] = mapped_column()
    hz: Mapped[float | None] = mapped_column(Real)
    rpm: Mapped[float | None] = mapped_column(Real)
    poles: Mapped[int | None] = mapped_column()
    code_letter: Mapped[str | None] = mapped_column(sa.Text)
    frame: Mapped[str | None] = mapped_column(sa.Text)
    enclosure: Mapped[str | None] = mapped_column(sa.Text)
    insulation_class: Mapped[str | None] = mapped_column(sa.Text)
    ambient_c: Mapped[float | None] = mapped_column(Real)
    serial: Mapped[str | None] = mapped_column(sa.Text)
    mounting: Mapped[str | None] = mapped_column(sa.Text)
    load_wk2_lbft2: Mapped[float | None] = mapped_column(Real)
    de_bearing: Mapped[str | None] = mapped_column(sa.Text)  # number as stamped, or "sleeve"
    ode_bearing: Mapped[str | None] = mapped_column(sa.Text)
    motor: Mapped[Motor] = relationship(back_populates="nameplates")

    @property
    def waits(self) -> bool:
        """Of a machine swapped in, and no second person has confirmed it: no load in percent until then."""
        return self.confirmed_at is None and self.motor is not None and self is not self.motor.nameplates[0]

    @property
    def rated_amps(self) -> float | None:
        """What load in percent is counted by: nothing while the plate waits to be confirmed."""
        return None if self.waits else self.amps


class LubricationPoint(Base):
    """A line of the lubrication chart. One current row an end; a change closes the old row and adds a new one."""

    __tablename__ = "lubrication_point"
    __table_args__ = (
        sa.Index("uq_lubrication_point_current", "motor_id", "end", unique=True,
                 sqlite_where=sa.text("replaced_at IS NULL"), postgresql_where=sa.text("replaced_at IS NULL")),
        sa.Index("ix_lubrication_point_motor", "motor_id", "valid_from"),
        one_of("end", facts.ENDS, "end_known"),
        one_of("kind", LUBRICATION_KINDS, "kind_known"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    end: Mapped[str] = mapped_column(sa.Text)
    kind: Mapped[str | None] = mapped_column(sa.Text)
    lubricant: Mapped[str | None] = mapped_column(sa.Text)
    thickener: Mapped[str | None] = mapped_column(sa.Text)
    grease_g: Mapped[float | None] = mapped_column(Real)
    interval_days: Mapped[float | None] = mapped_column(Real)
    interval_run_h: Mapped[float | None] = mapped_column(Real)
    last_greased: Mapped[date | None] = mapped_column(sa.Date)  # the register's word, before the first record here
    last_greased_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # noon of that day in the unit's zone
    valid_from: Mapped[datetime] = mapped_column(UtcDateTime)
    replaced_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    person_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    why: Mapped[str | None] = mapped_column(sa.Text)
    greased_while: Mapped[str | None] = mapped_column(sa.Text)  # "running" or "stopped": makers disagree
    drain_plug: Mapped[bool | None] = mapped_column()  # None: nobody has looked
    #: figures that the handbook gave and a person confirmed, by column, commas: "grease_g,interval_run_h"
    computed: Mapped[str | None] = mapped_column(sa.Text)
    person: Mapped[Person | None] = relationship()

    @property
    def computed_columns(self) -> frozenset[str]:
        return frozenset(filter(None, (self.computed or "").split(",")))


class Ran:
    """What a motor's running time tells of itself, stored or read with a save's ground."""

    observed_at: Any
    state: Any
    run_s: Any
    unsure_s: Any

    def observe(self, state: str, at: datetime, exact: bool) -> None:
        """The next observation, in the order of time. exact: it says itself when the state changed."""
        self.run_s, self.unsure_s = self.until(at, state != self.state, exact)
        self.observed_at, self.state = at, state

    def until(self, at: datetime, changed: bool = False, exact: bool = False) -> tuple[float, float]:
        """Running and unsure seconds up to an instant not before the newest observation."""
        gap_s = max(0.0, (at - self.observed_at).total_seconds())
        unsure_s = 3600.0 * running_hours.unsure_h(gap_s / 3600.0, changed, exact)
        return self.run_s + (gap_s if self.state == facts.RUNNING else 0.0), self.unsure_s + unsure_s


class MotorRun(Ran, Base):
    """How long a motor has run, kept up with every observation so that no page adds up history.

    The method, and what makes hours unsure, stand in app/rules/running_hours.py. Rebuilt from the entries when one
    arrives late.
    """

    __tablename__ = "motor_run"

    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"), primary_key=True)
    first_observed_at: Mapped[datetime] = mapped_column(UtcDateTime)
    observed_at: Mapped[datetime] = mapped_column(UtcDateTime)
    state: Mapped[str] = mapped_column(sa.Text)
    run_s: Mapped[float] = mapped_column(Real, default=0.0)  # running seconds from the first observation to the newest
    unsure_s: Mapped[float] = mapped_column(Real, default=0.0, server_default=sa.text("0"))  # may have been otherwise


class SeenRun(Ran, SimpleNamespace):
    """The same of no session, by its columns: what becomes of it is stored by `storing_run`."""

    motor_id: int
    first_observed_at: datetime


_SEEN = Prepared(lambda: sa.update(Motor.__table__).where(  # type: ignore[arg-type]
    Motor.id == sa.bindparam("which", type_=sa.Integer())).values(
    condition=sa.bindparam("condition", type_=sa.Text()), condition_at=sa.bindparam("at", type_=UtcDateTime())))
_RUN = Prepared(lambda: sa.update(MotorRun.__table__).where(  # type: ignore[arg-type]
    MotorRun.motor_id == sa.bindparam("which", type_=sa.Integer())).values(
    {name: sa.bindparam(name, type_=MotorRun.__table__.c[name].type)
     for name in ("observed_at", "state", "run_s", "unsure_s")}))


def storing_condition(motor_id: int, condition: str, at: datetime) -> Question[None]:
    """The motor's condition, without its row having been loaded."""
    return Question(_SEEN, {"which": motor_id, "condition": condition, "at": at}, no_answer)


def begin_run(session: Session, motor_id: int, state: str, at: datetime) -> MotorRun:
    """The first observation of a motor."""
    run = MotorRun(motor_id=motor_id, first_observed_at=at, observed_at=at, state=state, run_s=0.0, unsure_s=0.0)
    session.add(run)
    session.flush()
    return run


def storing_run(run: MotorRun | SeenRun) -> Question[None]:
    """The motor's running time, from an object of no session."""
    return Question(_RUN, {"which": run.motor_id, "observed_at": run.observed_at, "state": run.state,
                           "run_s": run.run_s, "unsure_s": run.unsure_s}, no_answer)


def fitted_plate(at: datetime) -> sa.ScalarSelect[int]:
    """For a query of motors: the id of the plate that was fitted then, else of the first one."""
    plate = sa.orm.aliased(Nameplate)
    return (sa.select(plate.id).where(plate.motor_id == Motor.id)
            .order_by(sa.case((plate.fitted_from <= at, 0), else_=1),
                      sa.case((plate.fitted_from <= at, plate.fitted_from)).desc(),
                      plate.fitted_from, plate.id.desc()).limit(1).correlate(Motor).scalar_subquery())


def walking_order() -> tuple[sa.SQLColumnExpression[Any], ...]:
    """Route order, those without one last, on both databases alike."""
    return (sa.case((Motor.route_order.is_(None), 1), else_=0), Motor.route_order, Motor.tag_key, Motor.id)


@once
def motors_of(session: Session, unit_id: int) -> list[Motor]:
    """The unit's motors in walking order, with plate and chart. One statement: a motor has few of either."""
    return list(session.scalars(
        sa.select(Motor).where(Motor.unit_id == unit_id).order_by(*walking_order())
        .options(sa.orm.joinedload(Motor.nameplates), sa.orm.joinedload(Motor.points))).unique())


@once
def motor_by_id(session: Session, unit_id: int, motor_id: int) -> Motor | None:
    """A motor of this unit, for reading with plate and chart; another unit's is None, as if it did not exist."""
    query = sa.select(Motor).where(Motor.unit_id == unit_id, Motor.id == motor_id)
    if ASKED in session.info:  # for writing its row may be locked, and PostgreSQL locks no row of an outer join
        query = query.options(sa.orm.joinedload(Motor.nameplates), sa.orm.joinedload(Motor.points))
    return session.scalars(query).unique().first()


def motor_to_change(session: Session, unit_id: int, motor_id: int) -> Motor | None:
    """A motor of this unit with plates and chart, its row held until the transaction ends: of two who change it at once
    the second sees what the first did."""
    return session.scalars(
        sa.select(Motor).where(Motor.unit_id == unit_id, Motor.id == motor_id)
        .options(sa.orm.joinedload(Motor.nameplates), sa.orm.joinedload(Motor.points))
        .with_for_update(of=Motor)).unique().first()


def motor_whole(session: Session, unit_id: int, motor_id: int) -> Motor | None:
    """The same with its plates and its lubrication chart, in one query."""
    return session.scalars(
        sa.select(Motor).where(Motor.unit_id == unit_id, Motor.id == motor_id)
        .options(sa.orm.joinedload(Motor.nameplates), sa.orm.joinedload(Motor.points))).unique().one_or_none()


def motor_by_tag(session: Session, unit_id: int, tag: str) -> Motor | None:
    if "\x00" in tag:  # PostgreSQL refuses to compare with it, and no tag holds it
        return None
    return session.scalar(sa.select(Motor).where(Motor.unit_id == unit_id, Motor.tag_key == tag_key(tag)))


def motor_by_label(session: Session, label_key: str) -> Motor | None:
    """Whatever unit it is in: whether it may be seen is for the caller to say."""
    return session.scalar(sa.select(Motor).where(Motor.label_key == label_key))


def motors_after(session: Session, unit_id: int, after_id: int, most: int) -> list[Motor]:
    """A page of the register by key, for the JSON door."""
    return list(session.scalars(
        sa.select(Motor).where(Motor.unit_id == unit_id, Motor.id > after_id).order_by(Motor.id).limit(most)
        .options(sa.orm.selectinload(Motor.nameplates), sa.orm.selectinload(Motor.points))))


def next_motor(session: Session, motor: Motor) -> Motor | None:
    """The one after this in walking order, None at the end."""
    ids = list(session.scalars(sa.select(Motor.id).where(Motor.unit_id == motor.unit_id).order_by(*walking_order())))
    place = ids.index(motor.id)
    return session.get(Motor, ids[place + 1]) if place + 1 < len(ids) else None


def runs_of(session: Session, unit_id: int) -> dict[int, MotorRun]:
    """How long each motor of the unit has run, by motor."""
    return {run.motor_id: run for run in session.scalars(
        sa.select(MotorRun).join(Motor, Motor.id == MotorRun.motor_id).where(Motor.unit_id == unit_id))}
