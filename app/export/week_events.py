"""What the workbook tells beside flags and rounds, in two statements: what happened, and what was lubricated."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from app.export.week import Week
from app.export.week_compare import compared_with, count_arms, weeks_compared
from app.export.week_done import HOUR_BEFORE, broken_rules, given_by
from app.export.week_stood import UNIT, UNTIL, stood, within
from app.store.base import Key16, Real, UtcDateTime
from app.store.changes import Change
from app.store.dips import Dip
from app.store.flags import Flag
from app.store.limits import LimitChange
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor
from app.store.oil import OilEntry
from app.store.people import Person
from app.store.prepared import Prepared
from app.store.starts import Start, Stop, Trip, TripAct
from app.store.temporary import TemporaryState
from app.store.unions import arm, line_of

COUNT, DIP, LIMIT, START, TRIP, CHANGE = "count", "dip", "limit", "start", "trip", "change"
GREASED, OIL, OVERDUE = "greased", "oil", "overdue"

_TEXT, _AT = sa.Text(), UtcDateTime()
#: What each is of a kind stands at the kind's arm.
_HAPPENED = {
    "at": _AT, "received_at": _AT, "key": Key16(), "id": sa.Integer(), "motor_id": sa.Integer(), "tag": _TEXT,
    "area": _TEXT, "service": _TEXT, "what": _TEXT, "words": _TEXT, "field": _TEXT, "before": _TEXT, "after": _TEXT,
    "by": _TEXT, "why": _TEXT, "number": Real(), "stopped_at": _AT, "tripped_at": _AT, "dip_at": _AT,
    "act_id": sa.Integer(), "act": _TEXT, "act_at": _AT, "act_by": _TEXT, "found": _TEXT}
_LUBRICATED = {
    "place": sa.Integer(), "at": _AT, "key": Key16(), "id": sa.Integer(), "area": _TEXT, "tag": _TEXT,
    "service": _TEXT, "end": _TEXT, "what": _TEXT, "lubricant": _TEXT, "thickener": _TEXT, "grams": Real(),
    "chart_lubricant": _TEXT, "chart_g": Real(), "chart_days": Real(), "chart_run_h": Real(), "last_at": _AT,
    "by": _TEXT, "reason": _TEXT, "broke": _TEXT, "gun": _TEXT, "stroke_g": Real(), "strokes": Real(),
    "oil_ml": Real(), "plug_in_at": _AT}

#: Things that happened, each with the columns of `_HAPPENED` by their names.
Rows = list[Any]
_Happened, _Lubricated = line_of(_HAPPENED), line_of(_LUBRICATED)



def events_in(session: Session, unit_id: int, week: Week) -> dict[str, Rows]:
    """What happened in the week, by kind, the oldest first. One statement.

    Starts begin an hour before the week, for the first of it; a trip has a row for each thing done since; limits are
    all those of starts ever set; counts are what the week is compared by (`week_compare.from_counts`).
    """
    asked = _events(len(weeks_compared(week)))
    rows = asked.rows(session, {**given_by(unit_id, week), **compared_with(week)})
    found: dict[str, Rows] = defaultdict(list)
    for values in asked.all_values(session, rows):
        found[values[0]].append(_Happened._make(values))
    return found


@cache
def _events(weeks: int) -> Prepared:
    return Prepared(lambda: _happened(weeks))


def _happened(weeks: int) -> sa.Select[Any]:
    def stopped(kind: Any) -> Any:
        return (sa.select(sa.func.max(kind.at)).where(kind.motor_id == Start.motor_id, kind.at <= Start.at)
                .correlate(Start).scalar_subquery())

    doer, other = aliased(Person), aliased(Trip)
    every = sa.union_all(
        # what: outcome; number: how long it was energised, s; why: the rules that it broke
        arm(_HAPPENED, Start, START, at=Start.at, received_at=Start.received_at, key=Start.id, motor_id=Start.motor_id,
            tag=Motor.tag, what=Start.outcome, number=Start.duration_s, by=Person.name,
            why=broken_rules("start", Start.id), stopped_at=stopped(Stop), tripped_at=stopped(other))
        .join(Motor, Motor.id == Start.motor_id).join(Person, Person.id == Start.person_id)
        .where(Start.unit_id == UNIT, Start.at > HOUR_BEFORE, Start.at < UNTIL),
        # what: the protection that opened; words: the cause as first found
        arm(_HAPPENED, Trip, TRIP, at=Trip.at, key=Trip.id, motor_id=Trip.motor_id, tag=Motor.tag, area=Motor.area,
            service=Motor.service, what=Trip.protection, words=Trip.cause, by=Person.name, dip_at=Dip.at,
            act_id=TripAct.id, act=TripAct.kind, act_at=TripAct.at, found=TripAct.found,
            act_by=sa.func.coalesce(TripAct.qualified_name, doer.name))
        .join(Motor, Motor.id == Trip.motor_id).join(Person, Person.id == Trip.person_id)
        .outerjoin(Dip, Dip.id == Trip.dip_id).outerjoin(TripAct, TripAct.trip_id == Trip.id)
        .outerjoin(doer, doer.id == TripAct.person_id).where(*within(Trip)),
        # what: the subject; words: which one
        arm(_HAPPENED, Change, CHANGE, at=Change.at, id=Change.id, what=Change.subject, words=Change.label,
            field=Change.field, before=Change.before, after=Change.after, by=Person.name, why=Change.why)
        .outerjoin(Person, Person.id == Change.person_id).where(*within(Change)),
        arm(_HAPPENED, Dip, DIP, at=Dip.at, id=Dip.id, words=Dip.remarks).where(*within(Dip)),
        # what: its name; number: the value
        arm(_HAPPENED, LimitChange, LIMIT, at=LimitChange.at, id=LimitChange.id, motor_id=LimitChange.motor_id,
            what=LimitChange.name, number=LimitChange.value)
        .where(LimitChange.unit_id == UNIT, LimitChange.name.startswith("start_", autoescape=True)),
        # what: the measure; at: the start of the week it is of
        *(arm(_HAPPENED, counted, COUNT, at=counted.c.start, what=counted.c.name,
              number=sa.cast(counted.c["count"], Real))
          for counted in count_arms(weeks))).subquery()
    return sa.select(every).order_by(every.c.at, every.c.received_at, every.c.key, every.c.id, every.c.act_id)


def lubricated_in(session: Session, unit_id: int, week: Week, *, overdue: bool) -> Iterator[Any]:
    """What was greased in the week, oldest first, then oil, then, if asked for, what stood overdue. One statement."""
    rows = _LUBRICATED_IN.rows(session, {**given_by(unit_id, week), "overdue": overdue})
    return map(_Lubricated._make, _LUBRICATED_IN.all_values(session, rows))


def _was_lubricated() -> sa.Select[Any]:
    earlier, point = aliased(Greasing), LubricationPoint
    before = (sa.select(sa.func.max(earlier.at)).where(
        earlier.motor_id == Greasing.motor_id, earlier.end == Greasing.end, earlier.at < Greasing.at)
        .correlate(Greasing).scalar_subquery())
    plug_in = (sa.select(sa.func.max(TemporaryState.ended_at)).where(TemporaryState.greasing_id == Greasing.id)
               .scalar_subquery())
    motor = {"area": Motor.area, "tag": Motor.tag, "service": Motor.service}
    chart = {"chart_lubricant": point.lubricant, "chart_g": point.grease_g, "chart_days": point.interval_days,
             "chart_run_h": point.interval_run_h}

    def chart_of(model: Any) -> Any:
        return sa.and_(point.motor_id == model.motor_id, point.end == model.end, point.replaced_at.is_(None))

    every = sa.union_all(
        # broke: the rules that judged it
        arm(_LUBRICATED, Greasing, GREASED, place=sa.literal(1), at=Greasing.at, key=Greasing.id, **motor,
            end=Greasing.end, lubricant=Greasing.lubricant, thickener=Greasing.thickener, grams=Greasing.grams, **chart,
            last_at=before, by=Person.name, reason=Greasing.why, broke=broken_rules("greasing", Greasing.id),
            gun=Greasing.gun, stroke_g=Greasing.stroke_g, strokes=Greasing.strokes, plug_in_at=plug_in)
        .join(Motor, Motor.id == Greasing.motor_id).join(Person, Person.id == Greasing.person_id)
        .outerjoin(point, chart_of(Greasing))
        .where(*within(Greasing)),
        # what: what was done; reason: the remarks
        arm(_LUBRICATED, OilEntry, OIL, place=sa.literal(2), at=OilEntry.at, key=OilEntry.id, **motor, end=OilEntry.end,
            what=OilEntry.kind, lubricant=OilEntry.lubricant, by=Person.name, reason=OilEntry.remarks,
            oil_ml=OilEntry.amount_ml)
        .join(Motor, Motor.id == OilEntry.motor_id).join(Person, Person.id == OilEntry.person_id)
        .where(*within(OilEntry)),
        # at: when it was first raised; reason: what the flag says
        arm(_LUBRICATED, Flag, OVERDUE, place=sa.literal(3), at=Flag.raised_at, id=Flag.id, **motor, end=Flag.end,
            **chart, reason=Flag.says)
        .join(Motor, Motor.id == Flag.motor_id).outerjoin(point, chart_of(Flag))
        .where(sa.bindparam("overdue", type_=sa.Boolean()), Flag.id.in_(stood()), Flag.rule == "greasing_overdue")
    ).subquery()
    return sa.select(every).order_by(every.c.place, every.c.at, every.c.key, every.c.id)


_LUBRICATED_IN = Prepared(_was_lubricated)
