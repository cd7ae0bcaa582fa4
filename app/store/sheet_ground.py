"""What a round's sheet is made of: the unit's motors in walking order, the routes they are on, and when those checked
every day or week were looked at before; what was entered in the round, and what was found in that. Each is one
statement, whatever the history: so asked, a round's entries are found once and not for each motor anew. For a page that
asks much beside, motors and entries come in one.

A sheet is opened again after every entry and is then what it was but for one line: what its rows are made of is
compared, and only what differs is made anew (app/store/kept.py).
"""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from functools import cache
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased
from sqlalchemy.orm.attributes import set_committed_value

from app.rules.findings import PRIORITIES
from app.store.base import UtcDateTime
from app.store.flags import Finding
from app.store.kept import Newest
from app.store.motors import LubricationPoint, Motor, Nameplate, walking_order
from app.store.people import Person, Token
from app.store.prepared import Prepared, Row, columns_of, detached
from app.store.rounds import Reading, Round, not_corrected, real_look, replaced_by
from app.store.routes import Route, RouteStop

#: Of a plate: whether the machine fitted now waits for a second person.
_PLATE = ("id", "motor_id", "fitted_from", "confirmed_at")
#: Of a line of the chart: whether there is anything to look at.
_POINT = ("id", "end", "kind")
_WHO = ("id", "name")


class OnRoute(NamedTuple):
    """A route that a motor is on."""

    name: str
    checked_every: str
    place: tuple[int, int, int]  # of the route among the unit's, then of the motor on it
    looked_at: datetime | None  # the newest look before the round in the local date or ISO week; None where it is due


class Walked(NamedTuple):
    """One motor as a sheet needs it."""

    #: Shared with other requests: to be read only. Of its plates and chart there is just what the sheet tells.
    motor: Motor
    routes: tuple[OnRoute, ...]  # in the unit's order of routes
    looked_at: datetime | None = None  # as on a route, for a motor that is on none


class Opened(NamedTuple):
    """The round, as its sheet tells of it."""

    id: int
    shift_name: str
    shift_date: date
    opened_at: datetime
    opened_by: str | None
    signed_at: datetime | None
    signed_by: str | None
    sealed: bool  # what the signature covers is kept, and can be printed


class Asked(NamedTuple):
    """Which sheet is asked for. Bounds in time are half-open; a look counts before `until`."""

    unit_id: int
    shift_date: date
    shift_name: str
    day_from: datetime
    day_until: datetime
    week_from: datetime
    week_until: datetime


class _Columns(NamedTuple):
    #: what a motor is made of
    motor: list[Any]
    plate: list[Any]
    drive_end: list[Any]
    opposite_end: list[Any]
    #: where and how often it is walked
    route: list[Any]
    opened: list[Any]


class _Entry(NamedTuple):
    """What an entry is made of."""

    reading: list[Any]
    person: list[Any]
    token: list[Any]


_UNIT = sa.bindparam("unit_id", type_=sa.Integer())
_ROUND = sa.bindparam("round_id", type_=sa.Integer())


@cache
def _ends() -> tuple[Any, Any]:
    return aliased(LubricationPoint, name="drive_end"), aliased(LubricationPoint, name="opposite_end")


@cache
def _openers() -> tuple[Any, Any]:
    return aliased(Person, name="opener"), aliased(Person, name="signer")


def _named(entity: Any, names: tuple[str, ...]) -> list[Any]:
    return [getattr(entity, name) for name in names]


@cache
def _columns() -> _Columns:
    (drive, opposite), (opener, signer) = _ends(), _openers()
    any_route = aliased(Route)
    every = sa.func.coalesce(Route.checked_every, Motor.checked_every)
    looked = sa.case(*((every == word, _looked_at(word)) for word in ("day", "week")))
    return _Columns(
        columns_of(Motor), _named(Nameplate, _PLATE), _named(drive, _POINT), _named(opposite, _POINT),
        [Route.id, Route.name, Route.checked_every, Route.place, RouteStop.place, looked,
         sa.exists().where(any_route.unit_id == _UNIT)],
        [Round.id, Round.shift_name, Round.shift_date, Round.opened_at, opener.name, Round.signed_at, signer.name,
         Round.signed_state.is_not(None)])


@cache
def _entry() -> _Entry:
    return _Entry(columns_of(Reading), _named(Person, _WHO), _named(Token, _WHO))


@cache
def _finding() -> list[Any]:
    return columns_of(Finding)


def _unseen(name: str) -> Any:
    """An instant that PostgreSQL does not see while it plans: it would take the plan for these very days to be cheaper,
    and make it anew at each page, which takes longer than the page's own questions."""
    return sa.select(sa.bindparam(name, type_=UtcDateTime())).scalar_subquery()


def _looked_at(every: str) -> Any:
    """The newest look at a motor earlier in the round's local date or ISO week."""
    before = aliased(Reading, name=f"looked_{every}")
    return (sa.select(before.taken_at).where(
        before.motor_id == Motor.id, before.taken_at >= _unseen(f"{every}_from"),
        before.taken_at < _unseen(f"{every}_until"),
        sa.or_(Round.id.is_(None), before.round_id != Round.id), real_look(before), not_corrected(before))
        .order_by(before.taken_at.desc()).limit(1).correlate(Motor, Round).scalar_subquery())


def _walk() -> sa.Select[Any]:
    (drive, opposite), (opener, signer) = _ends(), _openers()

    def line(point: Any, end: str) -> Any:
        return sa.and_(point.motor_id == Motor.id, point.end == end, point.replaced_at.is_(None))

    return (
        sa.select(*itertools.chain(*_columns())).select_from(Motor)
        .outerjoin(Nameplate, Nameplate.motor_id == Motor.id)
        .outerjoin(drive, line(drive, "DE")).outerjoin(opposite, line(opposite, "ODE"))
        .outerjoin(Round, sa.and_(Round.unit_id == _UNIT, Round.shift_date == sa.bindparam("shift_date"),
                                  Round.shift_name == sa.bindparam("shift_name")))
        .outerjoin(opener, opener.id == Round.opened_by_id).outerjoin(signer, signer.id == Round.signed_by_id)
        .outerjoin(RouteStop, RouteStop.motor_id == Motor.id).outerjoin(Route, Route.id == RouteStop.route_id)
        .where(Motor.unit_id == _UNIT).order_by(*walking_order()))


_BY_ROUTE = Nameplate.id, Route.place, Route.id
_AS_TAKEN = Reading.taken_at, Reading.received_at, Reading.id


def _counts() -> sa.ColumnElement[bool]:
    """An entry that tells something of its motor: neither corrected nor what takes another back."""
    return sa.and_(Reading.taken_back.is_(False), replaced_by().is_(None))


def _ground() -> Any:
    return _walk().order_by(*_BY_ROUTE)


def _ground_and_entries() -> Any:
    # By the round, never by the motor: without figures of its tables SQLite takes a motor's ten years for as few rows
    # as a round's, and which of the two indexes it goes by hangs on which was made first. + 0 is in no index.
    of_motor = Reading.motor_id + 0 == Motor.id
    return (_walk().add_columns(*itertools.chain(*_entry()))
            .outerjoin(Reading, sa.and_(of_motor, Reading.round_id == Round.id, _counts()))
            .outerjoin(Person, Person.id == Reading.person_id).outerjoin(Token, Token.id == Reading.token_id)
            .order_by(*_AS_TAKEN, *_BY_ROUTE))


def _entries() -> Any:
    return (sa.select(*itertools.chain(*_entry())).select_from(Reading)
            .join(Person, Person.id == Reading.person_id).outerjoin(Token, Token.id == Reading.token_id)
            .where(Reading.round_id == _ROUND, _counts()).order_by(*_AS_TAKEN))


def _findings() -> Any:
    gravest_first = sa.case({word: i for i, word in enumerate(PRIORITIES)}, value=Finding.priority)
    of_round = sa.select(Reading.id).where(Reading.round_id == _ROUND)
    return (sa.select(*_finding()).where(Finding.cause_id.in_(of_round))
            .order_by(gravest_first, Finding.rule, Finding.end))


_GROUND, _GROUND_AND_ENTRIES = Prepared(_ground), Prepared(_ground_and_entries)
_ENTRIES, _FINDINGS = Prepared(_entries), Prepared(_findings)
#: The motors of some units and the entries of their sheets, by all that is known of them.
_WALKED: Newest[Walked] = Newest(2_000)
_READINGS: Newest[Reading] = Newest(2_000)
_FOUND: Newest[Finding] = Newest(4_000)


class Ground(NamedTuple):
    """A sheet's rows, and what holds of it whole."""

    motors: list[Walked]  # in the register's own order
    has_routes: bool  # the unit's
    opened: Opened | None  # None: nobody has opened the round


def ground_of(session: Session, asked: Asked) -> Ground:
    """Where the sheet of a shift is walked. In a unit without motors nothing is known of routes and round."""
    return _Maker(session, _GROUND).ground(_GROUND.rows(session, asked._asdict()))


Entries = dict[int, list[Reading]]


def entries_of_round(session: Session, round_id: int) -> Entries:
    """A round's entries by the motor, as they were taken; those corrected or taken back left out. Person and token have
    their names. Shared, to be read only."""
    rows = _ENTRIES.rows(session, {"round_id": round_id})
    return _entries_in(session, rows, lambda row: _ENTRIES.values(session, row))


def ground_and_entries(session: Session, asked: Asked) -> tuple[Ground, Entries]:
    """Both in one statement."""
    rows, made = _GROUND_AND_ENTRIES.rows(session, asked._asdict()), _Maker(session, _GROUND_AND_ENTRIES)
    since = made.until
    entered = {row[since:]: row for row in rows if row[since] is not None}  # on two routes it is there twice
    return made.ground(rows), _entries_in(
        session, entered, lambda key: _GROUND_AND_ENTRIES.values(session, entered[key], since))


def _entries_in(session: Session, rows: Iterable[Row], values: Callable[[Row], list[Any]]) -> Entries:
    found: Entries = {}
    for made in _READINGS.each(session, ((row[0], row) for row in rows), lambda row: _reading(values(row))):
        found.setdefault(made.motor_id, []).append(made)
    return found


def findings_of_round(session: Session, round_id: int) -> dict[uuid.UUID, list[Finding]]:
    """Findings of a round's entries by the entry, gravest first. Shared, to be read only."""
    found: dict[uuid.UUID, list[Finding]] = {}
    rows = _FINDINGS.rows(session, {"round_id": round_id})
    for made in _FOUND.each(session, ((row[0], row) for row in rows),
                            lambda row: _made(Finding, _finding(), _FINDINGS.values(session, row))):
        found.setdefault(made.cause_id, []).append(made)
    return found


def _made(entity: type[Any], columns: Sequence[Any], values: Sequence[Any], **related: Any) -> Any:
    """The object of a row that is there: it has its key."""
    return detached(entity, columns, values, **related)


def _bounds(parts: Iterable[list[Any]]) -> list[int]:
    return list(itertools.accumulate(map(len, parts), initial=0))


def _reading(values: list[Any]) -> Reading:
    columns = _entry()
    reading, person, token = (values[a:b] for a, b in itertools.pairwise(_bounds(columns)))
    made: Reading = _made(Reading, columns.reading, reading, person=detached(Person, columns.person, person),
                          token=detached(Token, columns.token, token))
    return made


class _Maker:
    """Makes of a motor's rows (one for each of its plates, routes and entries) what the sheet needs."""

    def __init__(self, session: Session, asked: Prepared) -> None:
        self._session, self._asked, self._columns = session, asked, _columns()
        self._bounds = _bounds(self._columns)
        self._route, self._opened, self.until = self._bounds[4:]

    def ground(self, rows: list[Row]) -> Ground:
        until, of_motors = self._opened, dict[int, list[Row]]()
        for row in rows:
            known, held = row[:until], of_motors.setdefault(row[0], [])
            if known not in held:  # of several entries each has it anew
                held.append(known)
        return Ground(_WALKED.each(self._session, of_motors.items(), self._walked),
                      *(self._whole(rows[0]) if rows else (False, None)))

    def _walked(self, rows: Sequence[Row]) -> Walked:
        motor, first, route = self._motor(rows), rows[0], self._route
        if first[route] is None:
            return Walked(motor, (), self._walk(first)[-2])
        walks = map(self._walk, {row[route]: row for row in rows}.values())
        return Walked(motor, tuple(OnRoute(name, every, (place, key, stop), looked)
                                   for key, name, every, place, stop, looked, _ in walks))

    def _walk(self, row: Row) -> list[Any]:
        return self._asked.values(self._session, row, self._route, self._opened)

    def _whole(self, row: Row) -> tuple[bool, Opened | None]:
        """Whether the unit has routes, and the round: the same in every row."""
        has_routes, *opened = self._asked.values(self._session, row, self._opened - 1, self.until)
        return bool(has_routes), Opened(*opened) if opened[0] is not None else None

    def _made(self, entity: type[Any], part: int, row: Row, **related: Any) -> Any:
        values = self._asked.values(self._session, row, self._bounds[part], self._bounds[part + 1])
        return detached(entity, self._columns[part], values, **related)

    def _motor(self, rows: Sequence[Row]) -> Motor:
        plate = self._bounds[1]
        plates = [made for row in {row[plate]: row for row in rows}.values()
                  if (made := self._made(Nameplate, 1, row)) is not None]
        points = [made for part in (2, 3) if (made := self._made(LubricationPoint, part, rows[0])) is not None]
        motor: Motor = self._made(Motor, 0, rows[0], nameplates=plates, points=points)
        for one in plates:
            set_committed_value(one, "motor", motor)
        return motor
