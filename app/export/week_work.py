"""What was done in the week: starts, trips, greasings, changes of the register, corrections of readings."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased, lazyload

from app.export.tables import NUMBER, TEXT, TIME, Cell, Column, Row, figure, local_iso
from app.export.week import AT_ONCE, Week, stood
from app.export.week_done import allowances, broken_rules
from app.export.week_rounds import OnRoute
from app.rules.greased import TOO_SOON, WRONG
from app.store.changes import Change
from app.store.dips import Dip
from app.store.flags import Flag
from app.store.limits import limit_changes
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor
from app.store.oil import OilEntry
from app.store.people import Person
from app.store.rounds import Reading
from app.store.starts import Start, Stop, Trip, TripAct
from app.store.temporary import TemporaryState
from app.store.units import Unit

AREA = Column("area", TEXT, "Part of the unit that is walked together", 16)
TAG = Column("tag", TEXT, "The motor's tag, as typed", 14)
SERVICE = Column("service", TEXT, "What the motor drives", 22)
END = Column("end", TEXT, "Bearing: DE drive end, ODE opposite drive end", 6)


# starts and trips ------------------------------------------------------------------------------------------

HOUR = timedelta(minutes=60)

STARTS = (
    TAG,
    Column("at", TIME, "When it was started"),
    Column("outcome", TEXT, "ran, did not start, tripped while starting, automatic", 20),
    Column("duration_s", NUMBER, "How long it was energised, seconds, where it did not run on", 10),
    Column("by", TEXT, "Who recorded it", 18),
    Column("starts_last_60_min", NUMBER, "Starts of this motor in the 60 minutes up to and with this one; one exactly "
                                         "60 minutes before no longer counts", 10),
    Column("allowed", TEXT, "yes, or no with the rules that it broke", 34),
    Column("allowance_60_min", NUMBER, "Starts that the motor is allowed in any 60 minutes, by the plate and the "
                                       "limits in force at the end of the week; empty: no figure allows any", 10),
    Column("allowance_by", TEXT, "Where that figure comes from, or why there is none", 30),
    Column("min_since_stop", NUMBER, "Minutes from the last recorded stop or trip before this start", 10),
)
TRIPS = (
    TAG,
    Column("at", TIME, "When it tripped"),
    Column("protection", TEXT, "What opened: overload relay, low voltage, fuse, circuit breaker, unknown", 18),
    Column("cause", TEXT, "The cause, as found when the trip was recorded or afterwards", 36),
    Column("by", TEXT, "Who recorded it", 18),
    AREA, SERVICE,
    Column("dip_at", TIME, "The power dip that it came with; empty: with none"),
    Column("done_since", TEXT, "Relay reset, agreed, cleared: when and by whom", 40),
)


def start_rows(session: Session, unit: Unit, week: Week, route: Iterable[OnRoute]) -> Iterator[Row]:
    """Starts of the week, oldest first. route: the unit's motors with their plates. Two queries."""
    lately: dict[int, deque[datetime]] = {}
    allowed: dict[int, tuple[float | None, str]] = {}
    stopped = [sa.select(sa.func.max(kind.at)).where(kind.motor_id == Start.motor_id, kind.at <= Start.at)
               .correlate(Start).scalar_subquery() for kind in (Stop, Trip)]
    # From an hour before the week on, for the first starts of it; half-open, in elapsed time.
    found = session.execute(
        sa.select(Start, Motor.tag, Person.name, broken_rules("start", Start.id), *stopped)
        .join(Motor, Motor.id == Start.motor_id).join(Person, Person.id == Start.person_id)
        .where(Start.unit_id == unit.id, Start.at > week.start - HOUR, Start.at < week.end)
        .order_by(Start.at, Start.received_at, Start.id).execution_options(yield_per=AT_ONCE))
    for start, tag, name, broke, *stops in found:
        window = lately.setdefault(start.motor_id, deque())
        window.append(start.at)
        while window[0] <= start.at - HOUR:
            window.popleft()
        if week.holds(start.at):
            allowed = allowed or allowances(route, limit_changes(session, unit.id), None, week)
            since = max((at for at in stops if at is not None), default=None)
            yield (tag, local_iso(start.at, week.zone), start.outcome, figure(start.duration_s), name, len(window),
                   f"no: {', '.join(sorted(broke.split(', ')))}" if broke else "yes", *allowed[start.motor_id],
                   None if since is None else round((start.at - since).total_seconds() / 60.0, 1))


def trip_rows(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    """Trips of the week, oldest first, each with what was done about it since. One query."""
    doer = aliased(Person)
    found = session.execute(
        sa.select(Trip, Motor, Person.name, Dip.at, TripAct, sa.func.coalesce(TripAct.qualified_name, doer.name))
        .join(Motor, Motor.id == Trip.motor_id).join(Person, Person.id == Trip.person_id)
        .outerjoin(Dip, Dip.id == Trip.dip_id).outerjoin(TripAct, TripAct.trip_id == Trip.id)
        .outerjoin(doer, doer.id == TripAct.person_id)
        .where(Trip.unit_id == unit.id, Trip.at >= week.start, Trip.at < week.end)
        .order_by(Trip.at, Trip.id, TripAct.id).options(lazyload(Trip.acts)))
    for _, rows in groupby(found, key=lambda row: row[0].id):
        (trip, motor, name, dip_at, *_), *_ = told = list(rows)
        acts = [(act, who) for *_, act, who in told if act is not None]
        causes = [trip.cause, *(f"{act.found} ({who})" for act, who in acts if act.found)]
        done = "; ".join(f"{act.kind} {local_iso(act.at, week.zone)} by {who}" for act, who in acts)
        yield (motor.tag, local_iso(trip.at, week.zone), trip.protection, "; ".join(filter(None, causes)), name,
               motor.area, motor.service, local_iso(dip_at, week.zone), done)


# lubrication -----------------------------------------------------------------------------------------------

LUBRICATION = (
    Column("what", TEXT, "greased; oil, with what was done; overdue: past the interval of the chart in the week", 14),
    Column("at", TIME, "When it was greased or oiled; overdue: when that was first raised"),
    AREA, TAG, SERVICE, END,
    Column("lubricant", TEXT, "What was put in", 22),
    Column("thickener", TEXT, "Its thickener", 16),
    Column("grease_g", NUMBER, "How much, grams", 10),
    Column("chart_lubricant", TEXT, "What the lubrication chart says now", 22),
    Column("chart_grease_g", NUMBER, "How much the chart says now, grams", 10),
    Column("chart_interval_days", NUMBER, "How often, days", 10),
    Column("chart_interval_run_h", NUMBER, "How often, running hours", 10),
    Column("days_since_last", NUMBER, "Days since the recorded greasing before this one", 10),
    Column("by", TEXT, "Who greased", 18),
    Column("reason", TEXT, "The reason given for going on after a warning; overdue: what the flag says", 40),
    Column("doubled", TEXT, "yes: again too soon, too much, or where nothing may go in", 9),
    Column("wrong_lubricant", TEXT, "yes: not the chart's, or one that does not mix", 9),
    Column("gun", TEXT, "The grease gun", 14),
    Column("stroke_g", NUMBER, "What its stroke gave then, grams", 9),
    Column("strokes", NUMBER, "How many strokes", 9),
    Column("oil_ml", NUMBER, "Oil put in, millilitres", 9),
    Column("drain_plug_in_at", TIME, "When the drain plug left out with it was back in"),
)


def lubrication_rows(session: Session, unit: Unit, week: Week, now: datetime) -> Iterator[Row]:
    """What was greased in the week, oldest first, then oil, then what stood overdue."""
    yield from _greased(session, unit, week)
    yield from _oiled(session, unit, week)
    if week.start <= now:
        yield from _overdue(session, unit, week)


def _chart(point: LubricationPoint | None) -> tuple[Cell, ...]:
    if point is None:
        return None, None, None, None
    return point.lubricant, figure(point.grease_g), figure(point.interval_days), figure(point.interval_run_h)


def _greased(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    earlier = aliased(Greasing)
    before = (sa.select(sa.func.max(earlier.at)).where(
        earlier.motor_id == Greasing.motor_id, earlier.end == Greasing.end, earlier.at < Greasing.at)
        .correlate(Greasing).scalar_subquery())
    rules = broken_rules("greasing", Greasing.id)
    plug = (sa.select(sa.func.max(TemporaryState.ended_at)).where(TemporaryState.greasing_id == Greasing.id)
            .scalar_subquery())
    found = session.execute(
        sa.select(Greasing, Motor, LubricationPoint, Person.name, before, rules, plug)
        .join(Motor, Motor.id == Greasing.motor_id).join(Person, Person.id == Greasing.person_id)
        .outerjoin(LubricationPoint, sa.and_(
            LubricationPoint.motor_id == Greasing.motor_id, LubricationPoint.end == Greasing.end,
            LubricationPoint.replaced_at.is_(None)))
        .where(Greasing.unit_id == unit.id, Greasing.at >= week.start, Greasing.at < week.end)
        .order_by(Greasing.at, Greasing.id).execution_options(yield_per=AT_ONCE))
    for done, motor, point, name, last, broke, plug_in in found:
        lubricant, grease_g, days, run_h = _chart(point)
        yield ("greased", local_iso(done.at, week.zone), motor.area, motor.tag, motor.service, done.end,
               done.lubricant, done.thickener, figure(done.grams), lubricant, grease_g, days, run_h,
               None if last is None else round((done.at - last) / timedelta(days=1), 1), name, done.why,
               "yes" if TOO_SOON in (broke or "") else "", "yes" if WRONG in (broke or "") else "", done.gun,
               figure(done.stroke_g), figure(done.strokes), None, local_iso(plug_in, week.zone))


def _oiled(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    found = session.execute(
        sa.select(OilEntry, Motor, Person.name).join(Motor, Motor.id == OilEntry.motor_id)
        .join(Person, Person.id == OilEntry.person_id)
        .where(OilEntry.unit_id == unit.id, OilEntry.at >= week.start, OilEntry.at < week.end)
        .order_by(OilEntry.at, OilEntry.id).execution_options(yield_per=AT_ONCE))
    for done, motor, name in found:
        yield (f"oil: {done.kind}", local_iso(done.at, week.zone), motor.area, motor.tag, motor.service, done.end,
               done.lubricant, None, None, None, None, None, None, None, name, done.remarks, "", "", None, None, None,
               figure(done.amount_ml), None)


def _overdue(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    found = session.execute(
        sa.select(Flag, Motor, LubricationPoint).join(Motor, Motor.id == Flag.motor_id)
        .outerjoin(LubricationPoint, sa.and_(LubricationPoint.motor_id == Flag.motor_id,
                                             LubricationPoint.end == Flag.end, LubricationPoint.replaced_at.is_(None)))
        .where(Flag.id.in_(stood(unit.id, week.start, week.end)), Flag.rule == "greasing_overdue")
        .order_by(Flag.raised_at, Flag.id))
    for flag, motor, point in found:
        lubricant, grease_g, days, run_h = _chart(point)
        yield ("overdue", local_iso(flag.raised_at, week.zone), motor.area, motor.tag, motor.service, flag.end, None,
               None, None, lubricant, grease_g, days, run_h, None, "", flag.says, "", "", None, None, None, None, None)


# changes ---------------------------------------------------------------------------------------------------

CHANGES = (
    Column("at", TIME, "When it was changed; a correction: when it was received"),
    Column("subject", TEXT, "What was changed: motor, nameplate, lubrication point, person, limit, reading", 18),
    Column("label", TEXT, "Which one, as people call it: the tag, the sign-in name, the limit", 20),
    Column("field", TEXT, "The field", 22),
    Column("before", TEXT, "What it was; empty: nothing", 26),
    Column("after", TEXT, "What it is now; empty: nothing", 26),
    Column("by", TEXT, "Who changed it", 18),
    Column("why", TEXT, "The reason given", 40),
)
#: What a reading says, as against who made it, when, and what it was judged by.
_NOT_OBSERVED = {"id", "content", "unit_id", "round_id", "motor_id", "nameplate_id", "person_id", "token_id",
                 "taken_at_device", "clock_offset_s", "received_at", "entered_later", "typed", "replaces_id",
                 "replaces_why"}
OBSERVED = tuple(a.key for a in sa.inspect(Reading).column_attrs if a.key not in _NOT_OBSERVED)


def change_rows(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    """Changes of register, people and limits in the week, oldest first; then corrections of the week's readings."""
    found = session.execute(
        sa.select(Change, Person.name).outerjoin(Person, Person.id == Change.person_id)
        .where(Change.unit_id == unit.id, Change.at >= week.start, Change.at < week.end)
        .order_by(Change.at, Change.id).execution_options(yield_per=AT_ONCE))
    for change, name in found:
        yield (local_iso(change.at, week.zone), change.subject, change.label, change.field, change.before,
               change.after, name or "command line", change.why)
    yield from _corrections(session, unit, week)


def _corrections(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    old = aliased(Reading)
    found = session.execute(
        sa.select(Reading, old, Motor.tag, Person.name).join(old, old.id == Reading.replaces_id)
        .join(Motor, Motor.id == Reading.motor_id).join(Person, Person.id == Reading.person_id)
        .where(Reading.unit_id == unit.id, Reading.taken_at >= week.start, Reading.taken_at < week.end)
        .order_by(Reading.received_at, Reading.id).execution_options(yield_per=AT_ONCE))
    for new, before, tag, name in found:
        for key in OBSERVED:
            was, now = getattr(before, key), getattr(new, key)
            if was != now:
                yield (local_iso(new.received_at, week.zone), "reading", tag, key, _told(was, week), _told(now, week),
                       name, new.replaces_why)


def _told(value: Any, week: Week) -> str | None:
    """A reading's value in words: times local, nothing for nothing."""
    if isinstance(value, datetime):
        return local_iso(value, week.zone)
    if isinstance(value, dict):
        return ", ".join(f"{key}: {word}" for key, word in sorted(value.items())) or None
    return None if value is None or value == "" else str(value)
