"""What was done in the week: starts, trips, greasings, changes of the register, corrections of readings."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session, aliased

from app.export.tables import NUMBER, TEXT, TIME, Column, Row, figure, local_iso
from app.export.week import Week
from app.export.week_asked import OnRoute
from app.export.week_done import HOUR, allowances, set_limits
from app.export.week_events import OIL, Rows, lubricated_in
from app.export.week_stood import FROM, UNIT, UNTIL
from app.rules.greased import TOO_SOON, WRONG
from app.store.motors import Motor
from app.store.people import Person
from app.store.prepared import Prepared, as_key
from app.store.rounds import Reading
from app.store.units import Unit

AREA = Column("area", TEXT, "Part of the unit that is walked together", 16)
TAG = Column("tag", TEXT, "The motor's tag, as typed", 14)
SERVICE = Column("service", TEXT, "What the motor drives", 22)
END = Column("end", TEXT, "Bearing: DE drive end, ODE opposite drive end", 6)


# starts and trips ------------------------------------------------------------------------------------------

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


def start_rows(starts: Rows, limits: Rows, week: Week, route: Iterable[OnRoute]) -> Iterator[Row]:
    """Starts of the week, oldest first, of `events_in`. route: the unit's motors with their plates."""
    lately: dict[int, deque[datetime]] = {}
    asked = {start.motor_id for start in starts}
    allowed = allowances(route, set_limits((row.what, row.motor_id, row.number, row.at) for row in limits), asked, week)
    for start in starts:  # from an hour before the week on, for the first starts of it; half-open, in elapsed time
        window = lately.setdefault(start.motor_id, deque())
        window.append(start.at)
        while window[0] <= start.at - HOUR:
            window.popleft()
        if week.holds(start.at):
            since = max((at for at in (start.stopped_at, start.tripped_at) if at is not None), default=None)
            yield (start.tag, local_iso(start.at, week.zone), start.what, figure(start.number), start.by, len(window),
                   f"no: {', '.join(sorted(start.why.split(', ')))}" if start.why else "yes", *allowed[start.motor_id],
                   None if since is None else round((start.at - since).total_seconds() / 60.0, 1))


def trip_rows(trips: Rows, week: Week) -> Iterator[Row]:
    """Trips of the week, oldest first, of `events_in`, each with what was done about it since."""
    for _, rows in groupby(trips, key=lambda row: row.key):
        trip, *_ = told = list(rows)
        acts = [row for row in told if row.act_id is not None]
        causes = [trip.words, *(f"{act.found} ({act.act_by})" for act in acts if act.found)]
        done = "; ".join(f"{act.act} {local_iso(act.act_at, week.zone)} by {act.act_by}" for act in acts)
        yield (trip.tag, local_iso(trip.at, week.zone), trip.what, "; ".join(filter(None, causes)), trip.by,
               trip.area, trip.service, local_iso(trip.dip_at, week.zone), done)


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
    """What was greased in the week, oldest first, then oil, then what stood overdue. One query."""
    for done in lubricated_in(session, unit.id, week, overdue=week.start <= now):
        last, broke = done.last_at, done.broke or ""
        yield (f"oil: {done.what}" if done.kind == OIL else done.kind, local_iso(done.at, week.zone), done.area,
               done.tag, done.service, done.end, done.lubricant, done.thickener, figure(done.grams),
               done.chart_lubricant, figure(done.chart_g), figure(done.chart_days), figure(done.chart_run_h),
               None if last is None else round((done.at - last) / timedelta(days=1), 1), done.by, done.reason,
               "yes" if TOO_SOON in broke else "", "yes" if WRONG in broke else "", done.gun,
               figure(done.stroke_g), figure(done.strokes), figure(done.oil_ml), local_iso(done.plug_in_at, week.zone))


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


def change_rows(session: Session, unit: Unit, week: Week, changes: Rows) -> Iterator[Row]:
    """Changes of register, people and limits in the week, oldest first, of `events_in`; then corrections of the
    week's readings, in a query of their own."""
    for change in changes:
        yield (local_iso(change.at, week.zone), change.what, change.words, change.field, change.before, change.after,
               change.by or "command line", change.why)
    yield from _corrections(session, unit, week)


def _corrections(session: Session, unit: Unit, week: Week) -> Iterator[Row]:
    rows = _CORRECTED.rows(session, {"unit_id": unit.id, "start": week.start, "end": week.end})
    for received_at, why, tag, name, *observed in _CORRECTED.all_values(session, rows):
        new, old = observed[:len(OBSERVED)], observed[len(OBSERVED):]
        for key, was, now in zip(OBSERVED, old, new, strict=True):
            if was != now:
                yield (local_iso(received_at, week.zone), "reading", tag, key, _told(was, week), _told(now, week),
                       name, why)


def _corrected() -> sa.Select[Any]:
    old = aliased(Reading)
    return (
        sa.select(Reading.received_at, Reading.replaces_why, Motor.tag, Person.name,
                  *(as_key(getattr(Reading, name)) for name in OBSERVED),
                  *(as_key(getattr(old, name)) for name in OBSERVED))
        .join(old, old.id == Reading.replaces_id)
        .join(Motor, Motor.id == Reading.motor_id).join(Person, Person.id == Reading.person_id)
        .where(Motor.unit_id == UNIT, Reading.replaces_id.is_not(None), Reading.taken_at >= FROM,
               Reading.taken_at < UNTIL)
        .order_by(Reading.received_at, Reading.id))


_CORRECTED = Prepared(_corrected)


def _told(value: Any, week: Week) -> str | None:
    """A reading's value in words: times local, nothing for nothing."""
    if isinstance(value, datetime):
        return local_iso(value, week.zone)
    if isinstance(value, dict):
        return ", ".join(f"{key}: {word}" for key, word in sorted(value.items())) or None
    return None if value is None or value == "" else str(value)
