"""Rounds and readings: append-only. A correction is a new reading that names the one it replaces."""

from __future__ import annotations

import uuid
from datetime import date, datetime
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.rules import facts
from app.store.asked import once
from app.store.base import Base, Key16, Real, UtcDateTime, one_of
from app.store.motors import Motor, Nameplate
from app.store.people import Person, Token, with_name
from app.store.prepared import Prepared

#: Somebody wrote something. Word for word in index and query, or neither database uses the index.
HAS_WORDS = "(remarks <> '' OR skip_reason IS NOT NULL)"
#: The same for where the motor was found out, and for a reading that replaces another.
FOUND_OUT = "state IN ('out of service', 'locked out')"
REPLACES = "replaces_id IS NOT NULL"


class Round(Base):
    """One per unit and shift, however many tablets open it at once."""

    __tablename__ = "round"
    __table_args__ = (sa.UniqueConstraint("unit_id", "shift_date", "shift_name"),
                      sa.Index("ix_round_unit_starts", "unit_id", "starts_at"))

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    shift_date: Mapped[date] = mapped_column(sa.Date)
    shift_name: Mapped[str] = mapped_column(sa.Text)
    starts_at: Mapped[datetime] = mapped_column(UtcDateTime)
    ends_at: Mapped[datetime] = mapped_column(UtcDateTime)
    opened_at: Mapped[datetime] = mapped_column(UtcDateTime)
    opened_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    signed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    signed_by_id: Mapped[int | None] = mapped_column(sa.ForeignKey("person.id"))
    signed_state: Mapped[dict[str, Any] | None] = mapped_column(sa.JSON)  # what the signature covered
    opened_by: Mapped[Person | None] = relationship(foreign_keys=[opened_by_id])
    signed_by: Mapped[Person | None] = relationship(foreign_keys=[signed_by_id])

    @property
    def label(self) -> str:
        return f"{self.shift_name} {self.shift_date.isoformat()}"


class Observed:
    """What a reading tells of itself, stored or about to be."""

    skip_reason: Any

    @property
    def skipped(self) -> bool:
        return self.skip_reason is not None

    def as_facts(self) -> facts.Reading:
        """This reading as the rules see it."""
        return facts_from(self)


class Reading(Observed, Base):
    """What one person found at one motor at one time, or why it was skipped."""

    __tablename__ = "reading"
    __table_args__ = (
        sa.Index("ix_reading_motor_taken", "motor_id", "taken_at"),
        sa.Index("ix_reading_round", "round_id"),
        # With what makes a motor read: five weeks of them are counted without opening each.
        sa.Index("ix_reading_unit_taken", "unit_id", "taken_at", "id", "skip_reason", "watch", "token_id", "smoke"),
        sa.Index("ix_reading_person", "person_id", "taken_at"),
        # Only corrections: with every reading in it, SQLite takes it for what replaces nothing, which is all of them.
        sa.Index("uq_reading_replaces", "replaces_id", unique=True,
                 sqlite_where=sa.text(REPLACES), postgresql_where=sa.text(REPLACES)),
        sa.Index("ix_reading_unit_received", "unit_id", "received_at"),  # what came after a signature
        sa.Index("ix_reading_correction", "motor_id", "taken_at",
                 sqlite_where=sa.text(REPLACES), postgresql_where=sa.text(REPLACES)),
        sa.Index("ix_reading_running", "motor_id", "taken_at",
                 sqlite_where=sa.text("state = 'running' AND skip_reason IS NULL"),
                 postgresql_where=sa.text("state = 'running' AND skip_reason IS NULL")),
        sa.Index("ix_reading_words", "unit_id", "taken_at",
                 sqlite_where=sa.text(HAS_WORDS), postgresql_where=sa.text(HAS_WORDS)),
        # Few rows: when the motor was last seen out, without a walk through its history.
        sa.Index("ix_reading_out", "motor_id", "taken_at",
                 sqlite_where=sa.text(FOUND_OUT), postgresql_where=sa.text(FOUND_OUT)),
        one_of("state", facts.STATES, "state_known"),
        # A motor that nobody reached has no observed state, only the reason.
        sa.CheckConstraint("state IS NOT NULL OR skip_reason IS NOT NULL", name="state_or_skipped"),
    )

    id: Mapped[uuid.UUID] = mapped_column(Key16, primary_key=True)
    content: Mapped[str] = mapped_column(sa.Text)  # SHA-256 of what was sent: same id, same content, is one reading
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    round_id: Mapped[int] = mapped_column(sa.ForeignKey("round.id"))
    motor_id: Mapped[int] = mapped_column(sa.ForeignKey("motor.id"))
    nameplate_id: Mapped[int | None] = mapped_column(sa.ForeignKey("nameplate.id"))
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"))
    token_id: Mapped[int | None] = mapped_column(sa.ForeignKey("token.id"))
    taken_at: Mapped[datetime] = mapped_column(UtcDateTime)  # corrected for the tablet's clock
    taken_at_device: Mapped[datetime] = mapped_column(UtcDateTime)  # as the tablet said
    clock_offset_s: Mapped[float] = mapped_column(Real, default=0.0)  # server minus tablet
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    entered_later: Mapped[bool] = mapped_column(default=False)
    #: a timed look of the first-run watch after a start: judged, but no round's check of the motor
    watch: Mapped[bool] = mapped_column(default=False, server_default=sa.false())
    state: Mapped[str | None] = mapped_column(sa.Text)
    condition_before: Mapped[str | None] = mapped_column(sa.Text)  # the motor's condition when this was received
    skip_reason: Mapped[str | None] = mapped_column(sa.Text)
    smoke: Mapped[str | None] = mapped_column(sa.Text)
    guard: Mapped[str | None] = mapped_column(sa.Text)
    ground: Mapped[str | None] = mapped_column(sa.Text)
    leak: Mapped[str | None] = mapped_column(sa.Text)
    vibration_feel_de: Mapped[str | None] = mapped_column(sa.Text)
    vibration_feel_ode: Mapped[str | None] = mapped_column(sa.Text)
    vibration_mm_s_de: Mapped[float | None] = mapped_column(Real)
    vibration_mm_s_ode: Mapped[float | None] = mapped_column(Real)
    bearing_feel_de: Mapped[str | None] = mapped_column(sa.Text)
    bearing_feel_ode: Mapped[str | None] = mapped_column(sa.Text)
    bearing_temp_c_de: Mapped[float | None] = mapped_column(Real)
    bearing_temp_c_ode: Mapped[float | None] = mapped_column(Real)
    winding_feel: Mapped[str | None] = mapped_column(sa.Text)
    winding_temp_c: Mapped[float | None] = mapped_column(Real)
    winding_method: Mapped[str | None] = mapped_column(sa.Text)
    current_a_1: Mapped[float | None] = mapped_column(Real)
    current_a_2: Mapped[float | None] = mapped_column(Real)
    current_a_3: Mapped[float | None] = mapped_column(Real)
    voltage_v_1: Mapped[float | None] = mapped_column(Real)
    voltage_v_2: Mapped[float | None] = mapped_column(Real)
    voltage_v_3: Mapped[float | None] = mapped_column(Real)
    lubricant_de: Mapped[str | None] = mapped_column(sa.Text)
    lubricant_ode: Mapped[str | None] = mapped_column(sa.Text)
    cleanliness: Mapped[str | None] = mapped_column(sa.Text)
    ambient_c: Mapped[float | None] = mapped_column(Real)
    method: Mapped[str | None] = mapped_column(sa.Text)
    #: keys that somebody looked at and could not give: {"current_a": "not fitted"}
    unread: Mapped[dict[str, str]] = mapped_column(sa.JSON, default=dict)
    #: what was typed, in its own unit, where it differs from what is stored: {"bearing_temp_c.DE": "145 °F"}
    typed: Mapped[dict[str, str]] = mapped_column(sa.JSON, default=dict)
    #: figures that were asked about and stand as typed: {"bearing_temp_c.DE": "158 °C, asked: 158 °F = 70 °C?"}
    confirmed: Mapped[dict[str, str] | None] = mapped_column(sa.JSON)
    remarks: Mapped[str] = mapped_column(sa.Text, default="")
    #: it only takes the entry it replaces back, and tells nothing itself: no look, no skip
    taken_back: Mapped[bool] = mapped_column(default=False, server_default=sa.false())
    replaces_id: Mapped[uuid.UUID | None] = mapped_column(sa.ForeignKey("reading.id"))
    replaces_why: Mapped[str | None] = mapped_column(sa.Text)
    motor: Mapped[Motor] = relationship()
    round: Mapped[Round] = relationship()
    person: Mapped[Person] = relationship()
    token: Mapped[Token | None] = relationship()
    nameplate: Mapped[Nameplate | None] = relationship()

    @property
    def instead(self) -> str | None:
        """Why there is nothing observed here, in words; None where something is."""
        return "taken back" if self.taken_back else f"skipped: {self.skip_reason}" if self.skipped else None

    @property
    def current_a(self) -> tuple[float, ...]:
        return tuple(a for a in (self.current_a_1, self.current_a_2, self.current_a_3) if a is not None)

    @property
    def voltage_v(self) -> tuple[float, ...]:
        return tuple(v for v in (self.voltage_v_1, self.voltage_v_2, self.voltage_v_3) if v is not None)


def facts_from(row: Any) -> facts.Reading:
    """A reading, or a row of the columns below, as the rules see it."""
    return facts.Reading(
        state=row.state or facts.STANDBY, taken_at=row.taken_at, smoke=row.smoke, guard=row.guard,
        ground=row.ground, leak=row.leak, condition_before=row.condition_before,
        vibration_feel=facts.Ends(row.vibration_feel_de, row.vibration_feel_ode),
        vibration_mm_s=facts.Ends(row.vibration_mm_s_de, row.vibration_mm_s_ode),
        bearing_feel=facts.Ends(row.bearing_feel_de, row.bearing_feel_ode),
        bearing_temp_c=facts.Ends(row.bearing_temp_c_de, row.bearing_temp_c_ode),
        winding_feel=row.winding_feel, winding_temp_c=row.winding_temp_c, winding_method=row.winding_method,
        current_a=tuple(a for a in (row.current_a_1, row.current_a_2, row.current_a_3) if a is not None),
        voltage_v=tuple(v for v in (row.voltage_v_1, row.voltage_v_2, row.voltage_v_3) if v is not None),
        lubricant=facts.Ends(row.lubricant_de, row.lubricant_ode), cleanliness=row.cleanliness,
        ambient_c=row.ambient_c, method=row.method, unread=row.unread or {},
        nameplate_key=row.nameplate_id or 0, person=str(row.person_id))


#: The table's alias with its column taken here, while nothing else runs. An alias of the model finds its columns when
#: it is first put into a statement: of two threads that do so at once, one may get the column of `reading` itself, and
#: then no reading ever counts as corrected.
_newer = Reading.__table__.alias("newer").c
_newer_replaces, _newer_id = _newer.replaces_id, _newer.id


def not_corrected(reading: Any = Reading) -> sa.ColumnElement[bool]:
    """True for a reading that no later one replaces. A condition; among the columns of a query `replaced_by` stands.
    reading: the model, or an alias of it."""
    return ~sa.exists().where(_newer_replaces == reading.id)


def replaced_by(reading: Any = Reading) -> sa.ColumnElement[uuid.UUID | None]:
    """For the columns of a query: the id of the later reading that replaces this one, or NULL. A value is looked up by
    its index; asked there whether one exists, PostgreSQL may look at every reading there is to answer for many at once.
    """
    return sa.select(_newer_id).where(_newer_replaces == reading.id).scalar_subquery()


def real_look(reading: Any = Reading) -> sa.ColumnElement[bool]:
    """True for a reading that makes a motor read: no skip, no look of a watch after a start, no bare values by
    token."""
    return sa.and_(reading.skip_reason.is_(None), reading.watch.is_(False),
                   sa.or_(reading.token_id.is_(None), reading.smoke.is_not(None)))


@once
def round_of(session: Session, unit_id: int, shift_date: date, shift_name: str) -> Round | None:
    return session.scalar(sa.select(Round).where(
        Round.unit_id == unit_id, Round.shift_date == shift_date, Round.shift_name == shift_name)
        .options(with_name(Round.opened_by), with_name(Round.signed_by)))


def are(*shifts: tuple[date, str]) -> sa.ColumnElement[bool]:
    """For a query of a unit's rounds: those of these shifts, by date and name. The dates stand by themselves too: they
    are found in the index, where "this or that" alone walks through every round."""
    return sa.and_(Round.shift_date.in_({on for on, _ in shifts}),
                   sa.or_(*(sa.and_(Round.shift_date == on, Round.shift_name == name) for on, name in shifts)))


def rounds_between(session: Session, unit_id: int, start: datetime, end: datetime) -> list[Round]:
    return list(session.scalars(sa.select(Round).where(
        Round.unit_id == unit_id, Round.starts_at >= start, Round.starts_at < end).order_by(Round.starts_at)))


def readings_of_round(session: Session, round_id: int) -> list[Reading]:
    """The round's readings, corrected ones and those taken back left out, in the order they were taken."""
    return list(session.scalars(sa.select(Reading).where(
        Reading.round_id == round_id, Reading.taken_back.is_(False), not_corrected())
                                .order_by(Reading.taken_at, Reading.received_at, Reading.id)
                                .options(sa.orm.joinedload(Reading.motor), with_name(Reading.person),
                                         sa.orm.joinedload(Reading.token).lazyload(Token.unit))))


def readings_as_signed(session: Session, round_id: int) -> list[Reading]:
    """The round's readings, corrected ones too: what a signature may have covered."""
    return list(session.scalars(sa.select(Reading).where(Reading.round_id == round_id)
                                .order_by(Reading.taken_at, Reading.received_at, Reading.id)
                                .options(sa.orm.joinedload(Reading.person).lazyload(Person.units))))


# As words in the statement, not as values: so the index of running readings is known to hold them all.
RUNNING = Reading.state == sa.literal_column("'running'")


@once
def last_running(session: Session, motor_id: int, before: datetime, most: int = 20) -> list[Reading]:
    """The newest running readings taken before an instant, corrected ones left out."""
    return list(session.scalars(sa.select(Reading).where(
        Reading.motor_id == motor_id, Reading.taken_at < before, RUNNING,
        Reading.skip_reason.is_(None), not_corrected()).order_by(Reading.taken_at.desc()).limit(most)))


def anything_after(session: Session, motor_id: int, instant: datetime) -> bool:
    """Whether a reading taken later than an instant is there: then this one arrived late."""
    return session.scalar(sa.select(sa.exists().where(
        Reading.motor_id == motor_id, Reading.taken_at > instant, not_corrected()))) or False


def readings_after(session: Session, motor_id: int, instant: datetime, most: int = 60) -> list[Reading]:
    """Readings taken later than an instant, the oldest first: what a late arrival makes us judge again."""
    return list(session.scalars(sa.select(Reading).where(
        Reading.motor_id == motor_id, Reading.taken_at > instant, not_corrected())
        .order_by(Reading.taken_at).limit(most).options(sa.orm.joinedload(Reading.round))))


_STATES_AFTER = Prepared(lambda: sa.select(Reading.taken_at, Reading.state).where(
    Reading.motor_id == sa.bindparam("motor_id"), Reading.taken_at > sa.bindparam("instant", type_=UtcDateTime()),
    Reading.skip_reason.is_(None), not_corrected())
    .order_by(Reading.taken_at).limit(sa.bindparam("most", type_=sa.Integer())))


def states_after(session: Session, motor_id: int, instant: datetime, most: int = 500) -> list[tuple[datetime, str]]:
    """When a motor was looked at after an instant and how it was found, the oldest first, skips left out."""
    rows = _STATES_AFTER.rows(session, {"motor_id": motor_id, "instant": instant, "most": most})
    return [(at, state) for at, state in (_STATES_AFTER.values(session, row) for row in rows)]


@once
def newest_readings(session: Session, motor_id: int, most: int = 30, before: datetime | None = None) -> list[Reading]:
    """One motor's readings, the newest first, corrected ones and skips included."""
    query = sa.select(Reading).where(Reading.motor_id == motor_id)
    if before is not None:
        query = query.where(Reading.taken_at < before)
    return list(session.scalars(query.order_by(Reading.taken_at.desc(), Reading.received_at.desc()).limit(most)
                                .options(sa.orm.joinedload(Reading.person), sa.orm.joinedload(Reading.token),
                                         sa.orm.joinedload(Reading.nameplate))))


def states_seen(session: Session, motor_id: int) -> list[tuple[datetime, str]]:
    """Every observed state of one motor, the oldest first: for making its running time anew."""
    rows = session.execute(sa.select(Reading.taken_at, Reading.state).where(
        Reading.motor_id == motor_id, Reading.skip_reason.is_(None), not_corrected()).order_by(Reading.taken_at))
    return [(at, state) for at, state in rows if state is not None]


@once
def round_by_id(session: Session, unit_id: int, round_id: int) -> Round | None:
    return session.scalar(sa.select(Round).where(Round.unit_id == unit_id, Round.id == round_id)
                          .options(with_name(Round.opened_by), with_name(Round.signed_by)))


def reading_by_id(session: Session, unit_id: int, key: uuid.UUID) -> Reading | None:
    return session.scalar(sa.select(Reading).where(Reading.unit_id == unit_id, Reading.id == key)
                          .options(*map(sa.orm.joinedload, (Reading.nameplate, Reading.motor, Reading.round))))


def entry_and_newer(session: Session, unit_id: int, key: uuid.UUID) -> tuple[Reading | None, Reading | None]:
    """An entry with everything that its own page tells of it, and the one that replaces it. One statement."""
    load, newer = sa.orm.joinedload, sa.orm.aliased(Reading)
    motor, names = load(Reading.motor), (Reading.person, newer.person)
    row = session.execute(
        sa.select(Reading, newer).outerjoin(newer, newer.replaces_id == Reading.id)
        .where(Reading.unit_id == unit_id, Reading.id == key)
        .options(*map(with_name, names), load(Reading.token).lazyload(Token.unit), load(Reading.round),
                 load(Reading.nameplate), motor.joinedload(Motor.nameplates), motor.joinedload(Motor.points))
    ).unique().first()
    return (row[0], row[1]) if row is not None else (None, None)


@cache
def _motor_and_sent() -> Any:
    return (
        sa.select(Motor, sa.select(Reading.taken_at_device).where(
            Reading.id == sa.bindparam("id", type_=Key16()), Reading.unit_id == Motor.unit_id).scalar_subquery())
        .where(Motor.unit_id == sa.bindparam("unit_id"), Motor.id == sa.bindparam("motor_id"))
        .options(sa.orm.joinedload(Motor.nameplates)))


def motor_and_first_sent(session: Session, unit_id: int, motor_id: int,
                         key: uuid.UUID | None) -> tuple[Motor | None, datetime | None]:
    """A motor of this unit, and the instant that the entry with this id told when it was saved before."""
    row = session.execute(_motor_and_sent(), {"id": key, "unit_id": unit_id, "motor_id": motor_id}).unique().first()
    return (row[0], row[1]) if row is not None else (None, None)


def first_sent_at(session: Session, unit_id: int, key: uuid.UUID) -> datetime | None:
    """The instant that the entry with this id told when it was saved before."""
    return session.scalar(sa.select(Reading.taken_at_device).where(Reading.id == key, Reading.unit_id == unit_id))


def newest_rounds(session: Session, unit_id: int, most: int = 8) -> list[Round]:
    return newest_rounds_and(session, unit_id, None, most)[0]


def newest_rounds_and(session: Session, unit_id: int, round_id: int | None,
                      most: int = 8) -> tuple[list[Round], Round | None]:
    """The unit's newest rounds, and the one with this id, which may be older: None where the unit has no such round."""
    newest = sa.select(Round.id).where(Round.unit_id == unit_id).order_by(Round.starts_at.desc()).limit(most).subquery()
    ids = sa.union(sa.select(newest.c.id),
                   sa.select(Round.id).where(Round.id == round_id, Round.unit_id == unit_id)).subquery()
    found = list(session.scalars(sa.select(Round).join(ids, ids.c.id == Round.id).order_by(Round.starts_at.desc())
                                 .options(with_name(Round.signed_by), with_name(Round.opened_by))))
    return found[:most], next((r for r in found if r.id == round_id), None)


def correction_of(session: Session, key: uuid.UUID) -> Reading | None:
    """The reading that replaces this one."""
    return session.scalar(sa.select(Reading).where(Reading.replaces_id == key))


def corrected_of(session: Session, keys: list[uuid.UUID]) -> set[uuid.UUID]:
    """Which of these readings a later one replaces."""
    rows = session.scalars(sa.select(Reading.replaces_id).where(Reading.replaces_id.in_(keys))) if keys else ()
    return {key for key in rows if key is not None}


#: So many of the newest looks since an instant are told, and the first.
LOOKS = 8


def looks_since(motor_id: Any, instant: Any) -> sa.CompoundSelect[Any]:
    """For a larger query: ids of a motor's newest readings taken later than an instant, and of the first of these. Left
    out are skips and corrected ones, however many there are."""
    looked = (Reading.motor_id == motor_id, Reading.taken_at > instant, Reading.skip_reason.is_(None), not_corrected())
    newest = (sa.select(Reading.id).where(*looked).order_by(Reading.taken_at.desc(), Reading.received_at.desc())
              .limit(LOOKS).subquery())
    first = sa.select(Reading.id).where(*looked).order_by(Reading.taken_at).limit(1).subquery()
    return sa.union(sa.select(newest.c.id), sa.select(first.c.id))


@once
def corrected_among(session: Session, motor_id: int) -> set[uuid.UUID]:
    """The ids of this motor's readings that a later one replaces."""
    rows = session.scalars(sa.select(Reading.replaces_id).where(
        Reading.motor_id == motor_id, Reading.replaces_id.is_not(None)))
    return {key for key in rows if key is not None}


def readings_between(session: Session, unit_id: int, start: datetime, end: datetime, motor_id: int | None = None,
                     after: tuple[datetime, uuid.UUID] | None = None, most: int = 500) -> list[Reading]:
    """Readings taken in [start, end), the oldest first, corrected ones included.

    motor_id: only this motor's, of this unit. after: the instant and id of the reading that these come after: by these
    the index leads to the place, so that no page reads what the pages before it gave.
    """
    # A motor's by its own index: asked for the unit's too, a database may walk through all that the unit has.
    query = sa.select(Reading).where(Reading.unit_id == unit_id if motor_id is None else Reading.motor_id == motor_id,
                                     Reading.taken_at >= (max(start, after[0]) if after else start),
                                     Reading.taken_at < end)
    if after is not None:
        query = query.where(sa.or_(Reading.taken_at > after[0], Reading.id > after[1]))
    return list(session.scalars(query.order_by(Reading.taken_at, Reading.id).limit(most).options(
        sa.orm.joinedload(Reading.motor), sa.orm.joinedload(Reading.person), sa.orm.joinedload(Reading.token))))


def last_running_at(motor_id: Any, before: Any) -> sa.Select[Any]:
    """For a larger query: when a reading last found the motor running, before an instant."""
    return sa.select(Reading.taken_at).where(
        Reading.motor_id == motor_id, Reading.taken_at < before, RUNNING, Reading.skip_reason.is_(None),
        not_corrected()).order_by(Reading.taken_at.desc()).limit(1)


def last_out_at(motor_id: Any) -> sa.Select[Any]:
    """For a larger query: when a reading last found the motor out of service or locked out."""
    return sa.select(Reading.taken_at).where(
        Reading.motor_id == motor_id, sa.text(FOUND_OUT), Reading.skip_reason.is_(None), not_corrected()) \
        .order_by(Reading.taken_at.desc()).limit(1)
