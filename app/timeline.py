"""One motor on one line of time: everything that is kept of it, in one order, a page at a time.

The order is instant, then kind, then id, the newest first; a page's last entry is the key of the next one. Of each kind
no more than a page is looked at, however long the history.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from app.store.base import Key16
from app.store.changes import Change
from app.store.dips import DipAnswer
from app.store.flags import Flag, Note
from app.store.insulation import InsulationTest
from app.store.limits import LimitChange
from app.store.lubrication import Greasing
from app.store.motors import Motor, Nameplate
from app.store.oil import OilEntry
from app.store.people import Person
from app.store.rounds import Reading
from app.store.starts import PrestartCheck, Release, ShaftTurn, Start, Stop, Trip, TripAct
from app.store.temporary import TemporaryState

PAGE = 50
#: In the place of the other kind of id.
_NO_NUMBER, _NO_KEY = sa.cast(sa.null(), sa.Integer()), sa.cast(sa.null(), Key16())


class BadKey(ValueError):
    """The address names no place in the history."""


@dataclass(frozen=True)
class Kind:
    """Rows of one sort: which filter shows them, and where their instant stands."""

    name: str
    filter: str
    model: Any
    at: Any
    where: Callable[[Motor], Sequence[sa.ColumnElement[bool]]]


@dataclass(frozen=True)
class Entry:
    kind: Kind
    at: datetime
    row: Any


def _of(model: Any, *more: sa.ColumnElement[bool]) -> Callable[[Motor], Sequence[sa.ColumnElement[bool]]]:
    return lambda motor: (model.motor_id == motor.id, *more)


def _limits(motor: Motor) -> Sequence[sa.ColumnElement[bool]]:
    """The motor's own, and the whole unit's, which judge it too."""
    return (LimitChange.unit_id == motor.unit_id,
            sa.or_(LimitChange.motor_id == motor.id, LimitChange.motor_id.is_(None)))


FILTERS = (
    "readings", "corrections", "greasing and oil", "starts and stops", "trips and dips", "swaps", "flags", "notes",
    "limit changes", "pre-start checks", "insulation tests", "temporary states", "register")
(READINGS, CORRECTIONS, GREASING, STARTS, TRIPS, SWAPS, FLAGS, NOTES, LIMITS, CHECKS, TESTS, HALF_WAY,
 REGISTER) = FILTERS

#: The order of those that share an instant.
KINDS = (
    Kind("reading", READINGS, Reading, Reading.taken_at, _of(Reading, Reading.replaces_id.is_(None))),
    Kind("correction", CORRECTIONS, Reading, Reading.taken_at, _of(Reading, Reading.replaces_id.is_not(None))),
    Kind("greasing", GREASING, Greasing, Greasing.at, _of(Greasing)),
    Kind("oil", GREASING, OilEntry, OilEntry.at, _of(OilEntry)),
    Kind("start", STARTS, Start, Start.at, _of(Start)),
    Kind("stop", STARTS, Stop, Stop.at, _of(Stop)),
    Kind("shaft turned", STARTS, ShaftTurn, ShaftTurn.at, _of(ShaftTurn)),
    Kind("trip", TRIPS, Trip, Trip.at, _of(Trip)),
    Kind("tries released", TRIPS, Release, Release.at, _of(Release)),
    Kind("after a dip", TRIPS, DipAnswer, DipAnswer.at, _of(DipAnswer)),
    Kind("nameplate", SWAPS, Nameplate, Nameplate.fitted_from, _of(Nameplate)),
    Kind("flag raised", FLAGS, Flag, Flag.raised_at, _of(Flag)),
    Kind("flag closed", FLAGS, Flag, Flag.closed_at, _of(Flag, Flag.closed_at.is_not(None))),
    Kind("note", NOTES, Note, Note.at,
         lambda motor: (Note.flag_id.in_(sa.select(Flag.id).where(Flag.motor_id == motor.id)),)),
    Kind("limit changed", LIMITS, LimitChange, LimitChange.at, _limits),
    Kind("pre-start check", CHECKS, PrestartCheck, PrestartCheck.at, _of(PrestartCheck)),
    Kind("insulation test", TESTS, InsulationTest, InsulationTest.at, _of(InsulationTest)),
    Kind("temporary state begun", HALF_WAY, TemporaryState, TemporaryState.since, _of(TemporaryState)),
    Kind("temporary state ended", HALF_WAY, TemporaryState, TemporaryState.ended_at,
         _of(TemporaryState, TemporaryState.ended_at.is_not(None))),
    Kind("register changed", REGISTER, Change, Change.at,
         lambda motor: (Change.subject == "motor", Change.subject_id == motor.id)),
)


def page(session: Session, motor: Motor, shown: str = "", key: str = "",
         most: int = PAGE) -> tuple[list[Entry], str | None]:
    """A page of the motor's history, the newest first, and the key of the next (None: that was the last).

    shown: one of FILTERS, "" for all. Raises BadKey for a key that is not of a page.
    """
    after = _read_key(key) if key else None
    found = _newest(session, motor, [(place, kind) for place, kind in enumerate(KINDS) if shown in ("", kind.filter)],
                    after, most + 1)
    entries = found[:most]
    return [entry for _, entry in entries], _key_of(*entries[-1]) if len(found) > most else None


def _at(kind: Kind, row: Any) -> datetime:
    return getattr(row, kind.at.key)  # type: ignore[no-any-return]


def _newest(session: Session, motor: Motor, kinds: list[tuple[int, Kind]], after: tuple[datetime, int, Any] | None,
            most: int) -> list[tuple[int, Entry]]:
    """The newest of these kinds together, each with its kind's place. One statement: the ids of as many of each kind
    as could be among them, cut to the newest, and their rows joined to them."""
    each = (_ids(motor, place, kind, after, most).subquery() for place, kind in kinds)
    every = sa.union_all(*(sa.select(one) for one in each)).subquery()
    ids = sa.select(every).order_by(*_order(every)).limit(most).subquery()
    models = list(dict.fromkeys(kind.model for _, kind in kinds))
    query = sa.select(ids.c.place, *models).select_from(ids).order_by(*_order(ids))
    for model in models:
        places = [place for place, kind in kinds if kind.model is model]
        query = query.outerjoin(model, sa.and_(ids.c.place.in_(places), model.id == (
            ids.c.number if _by_number(model) else ids.c.key)))
        if model is Trip:
            query = query.options(sa.orm.selectinload(Trip.acts).joinedload(TripAct.person))
    found = []
    for place, *rows in session.execute(query):
        kind = KINDS[place]
        row = rows[models.index(kind.model)]
        found.append((place, Entry(kind, _at(kind, row), row)))
    _put_people(session, [entry.row for _, entry in found])
    return found


def _order(of: Any) -> tuple[Any, ...]:
    return of.c.at.desc(), of.c.place, of.c.number.desc(), of.c.key.desc()


def _ids(motor: Motor, place: int, kind: Kind, after: tuple[datetime, int, Any] | None, most: int) -> sa.Select[Any]:
    """The newest of one kind, by id: a number or a key."""
    number, key = (kind.model.id, _NO_KEY) if _by_number(kind.model) else (_NO_NUMBER, kind.model.id)
    query = sa.select(sa.literal(place, sa.Integer()).label("place"), kind.at.label("at"), number.label("number"),
                      key.label("key")).where(*kind.where(motor))
    if after is not None:
        query = query.where(_older(kind, place, *after))
    return query.order_by(kind.at.desc(), kind.model.id.desc()).limit(most)


def _by_number(model: Any) -> bool:
    return isinstance(model.__table__.c.id.type, sa.Integer)


def _put_people(session: Session, rows: list[Any]) -> None:
    """Who did it, in one statement more: joined to each kind they are as many tables again to plan, each time anew."""
    did = [(row, name, getattr(row, f"{name}_id")) for row in rows
           for name in ("person", "closed_by", "raised_by", "ended_by") if hasattr(type(row), name)]
    people = {person.id: person for person in session.scalars(sa.select(Person).where(
        Person.id.in_({key for *_, key in did if key is not None})).options(sa.orm.lazyload(Person.units)))}
    for row, name, key in did:
        set_committed_value(row, name, people[key] if key is not None else None)


def _older(kind: Kind, place: int, at: datetime, last_place: int, last_id: Any) -> sa.ColumnElement[bool]:
    if place > last_place:
        return kind.at <= at  # type: ignore[no-any-return]
    if place < last_place:
        return kind.at < at  # type: ignore[no-any-return]
    return sa.and_(kind.at <= at, sa.or_(kind.at < at, kind.model.id < last_id))  # the first part bounds the index


def _key_of(place: int, entry: Entry) -> str:
    return f"{entry.at.isoformat()}~{place}~{entry.row.id}"


def _read_key(key: str) -> tuple[datetime, int, Any]:
    try:
        at, place, row = key.split("~")
        kind = KINDS[int(place)]
        instant = datetime.fromisoformat(at)
        by_number = _by_number(kind.model)
        if instant.tzinfo is None or int(place) < 0 or (by_number and not 0 <= int(row) < 2**31):
            raise BadKey(key)
        return instant, int(place), int(row) if by_number else uuid.UUID(row)
    except (ValueError, IndexError) as error:
        raise BadKey(key) from error
