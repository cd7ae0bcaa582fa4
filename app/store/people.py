"""People, their sessions, the tokens that stand for control-room systems, and what slows down guessing."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import Base, UtcDateTime, one_of
from app.store.kept import Kept
from app.store.prepared import Glance, Prepared, columns_of, detached
from app.store.units import ShiftPattern, Unit

if TYPE_CHECKING:
    from app.store.devices import Device

OPERATOR, HEAD_OPERATOR, SUPERVISOR = "operator", "head operator", "supervisor"
#: Each may do what those before it may.
ROLES = (OPERATOR, HEAD_OPERATOR, SUPERVISOR)


class Person(Base):
    """Never deleted, only made inactive: their entries keep their name."""

    __tablename__ = "person"
    __table_args__ = (one_of("role", ROLES, "role_known"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    sign_in: Mapped[str] = mapped_column(sa.Text)
    sign_in_key: Mapped[str] = mapped_column(sa.Text, unique=True)  # case-folded
    name: Mapped[str] = mapped_column(sa.Text)
    role: Mapped[str] = mapped_column(sa.Text)
    secret_hash: Mapped[str] = mapped_column(sa.Text)  # with the sign-in name, from anywhere
    pin_hash: Mapped[str | None] = mapped_column(sa.Text)  # on enrolled tablets only, and never a supervisor's
    pin_given: Mapped[bool] = mapped_column(default=False, server_default=sa.false())  # a supervisor knows it
    active: Mapped[bool] = mapped_column(default=True)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    last_sign_in_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    units: Mapped[list[Unit]] = relationship(secondary="person_unit", order_by=Unit.name)

    def may(self, role: str) -> bool:
        return ROLES.index(self.role) >= ROLES.index(role)


class PersonUnit(Base):
    __tablename__ = "person_unit"

    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"), primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"), primary_key=True, index=True)


class SignedIn(Base):
    """A session: the cookie holds a random id, this row its hash. Ended here, it is ended everywhere."""

    __tablename__ = "signed_in"

    key: Mapped[str] = mapped_column(sa.Text, primary_key=True)  # SHA-256 of the cookie's value, hex
    person_id: Mapped[int] = mapped_column(sa.ForeignKey("person.id"), index=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    started_at: Mapped[datetime] = mapped_column(UtcDateTime)
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    address: Mapped[str] = mapped_column(sa.Text, default="")  # where it began: this person's usual tablet
    #: the enrolled tablet it began on; there it is locked when nobody touches the tablet
    device_id: Mapped[int | None] = mapped_column(sa.ForeignKey("device.id"), index=True)
    touched_at: Mapped[datetime | None] = mapped_column(UtcDateTime)  # to the minute, by hand
    browser: Mapped[str | None] = mapped_column(sa.Text)  # in our words, "Firefox on Windows"
    person: Mapped[Person] = relationship(lazy="joined")
    unit: Mapped[Unit] = relationship(lazy="joined")
    device: Mapped[Device | None] = relationship(lazy="joined")

    @property
    def last_used_at(self) -> datetime:
        return self.touched_at or self.started_at

    def locked(self, now: datetime, desk_idle: timedelta) -> bool:
        """Nobody used it for as long as it may lie there: a tablet's own minutes, else a desk's."""
        idle = timedelta(minutes=self.device.idle_min) if self.device else desk_idle
        return now - self.last_used_at > idle


class FailedTry(Base):
    """A wrong secret or token: counted per name and per address, to slow the next one."""

    __tablename__ = "failed_try"
    __table_args__ = (sa.Index("ix_failed_try_who", "who", "at"), sa.Index("ix_failed_try_address", "address", "at"))

    id: Mapped[int] = mapped_column(primary_key=True)
    who: Mapped[str] = mapped_column(sa.Text)
    address: Mapped[str] = mapped_column(sa.Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)


class Token(Base):
    """A bearer token of the JSON door: only its hash is kept; the token itself is shown once."""

    __tablename__ = "token"
    __table_args__ = (sa.UniqueConstraint("unit_id", "name"), one_of("scope", ("read", "record"), "scope_known"))

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_id: Mapped[int] = mapped_column(sa.ForeignKey("unit.id"))
    name: Mapped[str] = mapped_column(sa.Text)
    scope: Mapped[str] = mapped_column(sa.Text)
    hash: Mapped[str] = mapped_column(sa.Text, unique=True)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    last_used_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    unit: Mapped[Unit] = relationship(lazy="joined")


def with_name(person: Any) -> Any:
    """Loads the person of a row in the same query, and not every unit of theirs: a list shows only the name."""
    return sa.orm.joinedload(person).lazyload(Person.units)


def person_by_sign_in(session: Session, sign_in: str) -> Person | None:
    """The person with the units given to them."""
    return session.scalar(sa.select(Person).where(Person.sign_in_key == sign_in.strip().casefold())
                          .options(sa.orm.selectinload(Person.units)))


def people_of(session: Session, unit: Unit) -> list[Person]:
    return list(session.scalars(
        sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id)
        .where(PersonUnit.unit_id == unit.id).order_by(Person.active.desc(), Person.name, Person.id)
        .options(sa.orm.selectinload(Person.units).lazyload(Unit.patterns))
    ))


def one_of_unit(session: Session, unit_id: int, person_id: int) -> Person | None:
    """A person of this unit; another unit's does not exist here."""
    return session.scalar(sa.select(Person).join(PersonUnit, PersonUnit.person_id == Person.id).where(
        Person.id == person_id, PersonUnit.unit_id == unit_id))


def add_person(session: Session, sign_in: str, name: str, role: str, secret_hash: str, units: list[Unit],
               now: datetime) -> Person:
    person = Person(sign_in=sign_in.strip(), sign_in_key=sign_in.strip().casefold(), name=name, role=role,
                    secret_hash=secret_hash, units=units, created_at=now)
    session.add(person)
    session.flush()
    return person


class _Live(NamedTuple):
    """The columns that tell who is signed in, by what they are of."""

    session: list[Any]
    device: list[Any]
    unit: list[Any]
    pattern: list[Any]
    person: list[Any]
    theirs: list[Any]


@cache
def _units_of_session() -> tuple[Any, Any]:
    """The unit that is worked in, and those that can be changed to. Made when first asked for: an alias wants every
    model to be there."""
    return sa.orm.aliased(Unit, name="here"), sa.orm.aliased(Unit, name="theirs")


@cache
def _live_columns() -> _Live:
    from app.store.devices import Device

    here, theirs = _units_of_session()
    return _Live(*map(columns_of, (SignedIn, Device, here, ShiftPattern, Person, theirs)))


def _live() -> Any:
    from app.store.devices import Device

    here, theirs = _units_of_session()
    return (sa.select(*itertools.chain(*_live_columns()))
            .join(here, here.id == SignedIn.unit_id).join(Person, Person.id == SignedIn.person_id)
            .outerjoin(Device, Device.id == SignedIn.device_id)
            .outerjoin(ShiftPattern, ShiftPattern.unit_id == here.id)
            .outerjoin(PersonUnit, PersonUnit.person_id == Person.id)
            .outerjoin(theirs, theirs.id == PersonUnit.unit_id)
            .where(SignedIn.key == sa.bindparam("key"), SignedIn.ended_at.is_(None),
                   SignedIn.expires_at > sa.bindparam("now", type_=UtcDateTime()))
            .order_by(ShiftPattern.id, theirs.name))


_LIVE = Prepared(_live)
#: Whoever was signed in lately, by all that is known of them.
_SIGNED_IN: Kept[SignedIn] = Kept(512)


def live_session(session: Session | Glance, key: str, now: datetime) -> SignedIn | None:
    """Who is signed in with this key, with unit, shifts and the units to change to. One statement: every page asks.

    Shared with whoever asks at the same time: to be read, not to be changed.
    """
    rows = _LIVE.rows(session, {"key": key, "now": now})
    if not rows:
        return None
    return _SIGNED_IN.of(tuple(rows), lambda: _signed_in([_LIVE.values(session, row) for row in rows]))


def _signed_in(rows: list[list[Any]]) -> SignedIn:
    """The session with all it is read with, from the rows of `_live`: one for each shift pattern and unit."""
    from app.store.devices import Device

    columns = _live_columns()
    bounds = list(itertools.accumulate(map(len, columns), initial=0))
    parts = [_Live(*(row[a:b] for a, b in itertools.pairwise(bounds))) for row in rows]

    def each(entity: type[Any], name: str) -> list[Any]:
        of_key = {getattr(part, name)[0]: getattr(part, name) for part in parts}
        return [made for values in of_key.values() if (made := detached(entity, getattr(columns, name), values))]

    here = detached(Unit, columns.unit, parts[0].unit, patterns=each(ShiftPattern, "pattern"))
    person = detached(Person, columns.person, parts[0].person, units=each(Unit, "theirs"))
    device = detached(Device, columns.device, parts[0].device)
    made = detached(SignedIn, columns.session, parts[0].session, unit=here, person=person, device=device)
    assert made is not None
    return made


def touch(session: Session, signed: SignedIn, now: datetime) -> None:
    """Somebody is there, and so is the tablet they hold."""
    from app.store import devices

    session.execute(sa.update(SignedIn).where(SignedIn.key == signed.key).values(touched_at=now))
    if signed.device_id is not None:
        devices.touch(session, signed.device_id, now)


def live_sessions_of(session: Session, person_id: int, now: datetime, desk_idle: timedelta) -> list[SignedIn]:
    """Where a person is signed in and could go on, the last used first; what lies locked is over."""
    found = session.scalars(
        sa.select(SignedIn).where(SignedIn.person_id == person_id, SignedIn.ended_at.is_(None),
                                  SignedIn.expires_at > now)
        .options(sa.orm.lazyload(SignedIn.person), sa.orm.joinedload(SignedIn.unit).lazyload(Unit.patterns)))
    return sorted((s for s in found if not s.locked(now, desk_idle)), key=lambda s: s.last_used_at, reverse=True)


def end_these(session: Session, ended: list[SignedIn], now: datetime) -> None:
    for one in ended:
        one.ended_at = now
    session.flush()


def end_at_desks(session: Session, person_id: int, here: str, now: datetime) -> None:
    """Everywhere but on other shared tablets, which may be on their walk."""
    session.execute(sa.update(SignedIn).where(
        SignedIn.person_id == person_id, SignedIn.ended_at.is_(None),
        sa.or_(SignedIn.device_id.is_(None), SignedIn.key == here)).values(ended_at=now))


def end_sessions(session: Session, person: Person, now: datetime) -> None:
    session.execute(sa.update(SignedIn).where(SignedIn.person_id == person.id, SignedIn.ended_at.is_(None))
                    .values(ended_at=now))


def end_sessions_on(session: Session, device_id: int, now: datetime) -> None:
    session.execute(sa.update(SignedIn).where(SignedIn.device_id == device_id, SignedIn.ended_at.is_(None))
                    .values(ended_at=now))


def session_of_old(session: Session, key: str) -> SignedIn | None:
    """A session by its key whether it still holds or not: whose it was."""
    return session.get(SignedIn, key)


def newest_sessions_on(session: Session, device_id: int, most: int = 20) -> list[SignedIn]:
    """Who had this tablet in their hands, the newest first."""
    return list(session.scalars(sa.select(SignedIn).where(SignedIn.device_id == device_id)
                                .order_by(SignedIn.started_at.desc()).limit(most)))


def newest_failures(session: Session, since: datetime, *, who: str | None = None,
                    address: str | None = None) -> tuple[int, datetime | None]:
    """How many tries failed since then for a name, from an address, or both; and when the last one was."""
    query = sa.select(sa.func.count(), sa.func.max(FailedTry.at)).where(FailedTry.at > since)
    if who is not None:
        query = query.where(FailedTry.who == who)
    if address is not None:
        query = query.where(FailedTry.address == address)
    count, last = session.execute(query).one()
    return count, last


def has_signed_in_from(session: Session, who: str, address: str) -> bool:
    """Whether this person ever got in from this address: their usual tablet."""
    return session.scalar(sa.select(sa.exists().where(
        SignedIn.person_id == Person.id, Person.sign_in_key == who, SignedIn.address == address))) or False


def live_token(session: Session, token_hash: str) -> Token | None:
    return session.scalar(sa.select(Token).where(Token.hash == token_hash, Token.revoked_at.is_(None)))


def tokens_of(session: Session, unit: Unit) -> list[Token]:
    return list(session.scalars(sa.select(Token).where(Token.unit_id == unit.id).order_by(Token.name)))
