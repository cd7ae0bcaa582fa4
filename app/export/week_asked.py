"""What the week's rounds are counted from, asked at once: the rounds with what was entered in each, and the motors in
walking order with when each was read before the week and the plate fitted at its end."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased
from sqlalchemy.types import NullType

from app.export.week import Week
from app.export.week_stood import FROM, UNIT
from app.store.base import Key16, UtcDateTime
from app.store.motors import Motor, Nameplate, fitted_plate, walking_order
from app.store.people import Person
from app.store.prepared import Prepared, Question, Row, ask
from app.store.rounds import Reading, Round, real_look, replaced_by
from app.store.routes import checked_every

#: A night begun on the date before may read what is checked every day or week in this one.
DAY = timedelta(days=1)


# the rounds ------------------------------------------------------------------------------------------------


#: An entry as the count of a round needs it, as `_rounds_and_looks` gives it: the ids of round and motor, whose, why
#: skipped, whether by token, whether it makes the motor read (as on the sheet: app.sheets.makes_read), whether entered
#: later, when taken and when received. A week has thousands: they are taken apart where they are counted.
Look = list[Any]
TAKEN_AT = 7


class Opened(NamedTuple):
    """A round, as the week tells of it."""

    id: int
    shift_date: date
    shift_name: str
    signed_at: datetime | None
    opened_by: str | None  # the names
    signed_by: str | None


def _rounds_and_looks() -> sa.CompoundSelect[Any]:
    """The rounds of some dates, then the looks in them: of a look's row the names of its round would be half the cost.
    Of the dates before the week only the looks at motors that are checked every day or week.

    A round has no motor, and stands in a look's columns: opened by whom, signed by whom, signed when.
    """
    def yes(condition: Any) -> Any:
        return sa.type_coerce(condition, sa.Integer())  # 1 or True, whatever the driver gives: not turned row by row

    def none(type_: Any) -> Any:
        return sa.cast(sa.null(), type_)

    opener, signer = aliased(Person), aliased(Person)
    dates = (Round.unit_id == UNIT, Round.shift_date >= sa.bindparam("first", type_=sa.Date()),
             Round.shift_date <= sa.bindparam("last", type_=sa.Date()))
    counts = sa.or_(Reading.token_id.is_(None), Reading.smoke.is_not(None), Reading.skip_reason.is_not(None))
    seldom = sa.select(Motor.id).where(Motor.unit_id == UNIT, checked_every() != "shift")
    no, at = yes(sa.false()), UtcDateTime()
    rounds = (
        sa.select(Round.id, none(sa.Integer), opener.name, signer.name, no, no, no,
                  sa.type_coerce(Round.signed_at, at).label("at"), none(at).label("received_at"), Round.shift_date,
                  Round.shift_name, sa.type_coerce(none(Key16()), NullType()).label("key"))  # only to put in order
        .outerjoin(opener, opener.id == Round.opened_by_id).outerjoin(signer, signer.id == Round.signed_by_id)
        .where(*dates))
    looks = (
        sa.select(Reading.round_id, Reading.motor_id, Person.name, Reading.skip_reason,
                  yes(Reading.token_id.is_not(None)), yes(real_look()), yes(Reading.entered_later), Reading.taken_at,
                  Reading.received_at, none(sa.Date), none(sa.Text), Reading.id)
        .select_from(Round).join(Reading, sa.and_(
            Reading.round_id == Round.id, Reading.taken_back.is_(False), replaced_by().is_(None), counts))
        .join(Person, Person.id == Reading.person_id)
        .where(*dates, sa.or_(Round.shift_date >= sa.bindparam("of_week", type_=sa.Date()),
                              Reading.motor_id.in_(seldom))))
    return sa.union_all(rounds, looks).order_by("at", "received_at", "key")


_ROUNDS = Prepared(_rounds_and_looks)
#: Rounds by date and name of the shift; who entered what when, by the round's id.
Walked = tuple[dict[tuple[date, str], Opened], dict[int, list[Look]]]


def week_floor(week: Week) -> date:
    """The Monday of the span's first day: what is checked every week may have been read since then."""
    return week.span.first - timedelta(days=week.span.first.isoweekday() - 1)


def asked_rounds(unit_id: int, week: Week) -> Question[Walked]:
    """The rounds of the week's dates and what was entered in each, in the order it was taken; since when a motor may
    have been read that is checked every day or week, what was entered there.

    No corrected entries, no bare values by token: a control room may send values every minute, which are no look and
    are left where they are.
    """
    def answer(session: Session, rows: list[Row]) -> Walked:
        opened, looks = {}, defaultdict(list)
        for values in _ROUNDS.all_values(session, rows):
            if values[1] is not None:
                looks[values[0]].append(values)
            else:
                key, _, opener, signer, _, _, _, signed_at, _, on, name, _ = values
                opened[on, name] = Opened(key, on, name, signed_at, opener, signer)
        return opened, looks

    return Question(_ROUNDS, {"unit_id": unit_id, "first": week_floor(week) - DAY, "of_week": week.span.first,
                              "last": week.span.last}, answer)


# the route -------------------------------------------------------------------------------------------------


class Place(NamedTuple):
    """A motor as the week needs it."""

    id: int
    area: str
    tag: str
    service: str
    created_at: datetime
    start_basis: str
    written_starts_per_hour: float | None
    written_spacing_min: float | None
    written_run_min: float | None
    written_tries: int | None


class Plate(NamedTuple):
    """Of a machine's nameplate, what its starts are judged by."""

    hp: float | None
    poles: int | None
    load_wk2_lbft2: float | None


class OnRoute(NamedTuple):
    """A motor in walking order: when it was last read before the week, and the plate fitted at the week's end."""

    motor: Place
    last_read: datetime | None
    plate: Plate | None
    every: str  # how often it is checked: shift, day or week


_OF_PLACE = len(Place._fields)


def _route() -> sa.Select[Any]:
    newest = (sa.select(Reading.taken_at).where(
        Reading.motor_id == Motor.id, Reading.taken_at < FROM, real_look())
        .order_by(Reading.taken_at.desc()).limit(1).correlate(Motor).scalar_subquery())
    return (
        sa.select(*(getattr(Motor, name) for name in Place._fields), newest, checked_every(), Nameplate.id,
                  *(getattr(Nameplate, name) for name in Plate._fields))
        .outerjoin(Nameplate, Nameplate.id == fitted_plate(sa.bindparam("at_the_end", type_=UtcDateTime())))
        .where(Motor.unit_id == UNIT).order_by(*walking_order()))


_ROUTE = Prepared(_route)


def asked_route(unit_id: int, week: Week) -> Question[list[OnRoute]]:
    """The motors in walking order. An index look-up or three a motor, however long the history."""
    def answer(session: Session, rows: list[Row]) -> list[OnRoute]:
        return [OnRoute(Place._make(values[:_OF_PLACE]), last_read,
                        Plate._make(plate) if plate_id is not None else None, every)
                for values in _ROUTE.all_values(session, rows)
                for last_read, every, plate_id, *plate in [values[_OF_PLACE:]]]

    return Question(_ROUTE, {"unit_id": unit_id, "start": week.start,
                             "at_the_end": week.end - timedelta(microseconds=1)}, answer)


def route_of(session: Session, unit_id: int, week: Week) -> list[OnRoute]:
    """The motors in walking order, as they were looked at before the week and fitted at its end."""
    return ask(session, asked_route(unit_id, week))
