"""Starts, stops, trips and what follows them: recorded once, judged, and asked "may it be started?".

The answer counts over the whole crew: page and JSON door ask the same function over the same record.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app import judging, recording
from app.entries import Entry
from app.judging import Cause
from app.recording import Recorded, Sender, observe
from app.rules import facts, prestart, starting, trips
from app.rules.findings import Finding
from app.rules.starting import Permission
from app.rules.starting_bars import TRIES
from app.rules.starting_check import check_start
from app.rules.starting_facts import ReleaseRecord, StartHistory, StartPlan, StartRecord, TripRecord
from app.store import changes, limits, motors, rounds, starts
from app.store.motors import Motor, MotorRun
from app.store.people import Person
from app.store.rounds import Reading
from app.store.starts import CLEARED, HEAD_OPERATOR_AGREES, RELAY_RESET, PrestartCheck, Start, Stop, Trip, TripAct
from app.store.units import Unit

#: A late start can break the limits of those that follow it within this time.
AGAIN_WITHIN = timedelta(hours=2)
OUT = (facts.OUT_OF_SERVICE, facts.LOCKED_OUT)
#: When the bearings are looked at after a first start, in minutes.
WATCH_AT_MIN = (10, 30, 60, 120)


# what the rules are given ----------------------------------------------------------------------------------


def plan_of(motor: Motor) -> StartPlan:
    plate = motor.nameplate
    return StartPlan(motor.start_basis, motor.written_starts_per_hour, motor.written_spacing_min,
                     motor.written_run_min, motor.written_tries, plate.load_wk2_lbft2 if plate else None)


def history_of(session: Session, unit: Unit, motor: Motor, now: datetime, but: Start | None = None) -> StartHistory:
    """One motor's record as the start rules want it; a fixed number of newest rows of each kind.

    but: a start that is being judged, which is no part of what stood before it.
    """
    condition, since = (motor.condition, motor.condition_at) if but is None else (but.condition_before, None)
    running = rounds.last_running(session, motor.id, now + timedelta(microseconds=1), 1)
    plate = motor.nameplate_at(now)
    return StartHistory(
        condition=condition or facts.STANDBY, condition_since=since,
        starts=tuple(StartRecord(s.at, s.outcome, s.duration_s) for s in starts.newest_starts(session, motor.id, 40)
                     if but is None or s.id != but.id),
        stops=tuple(s.at for s in starts.newest_stops(session, motor.id, 40)),
        trips=tuple(_trip_record(unit, t) for t in starts.newest_trips(session, motor.id, 20)),
        releases=tuple(ReleaseRecord(r.at, r.person.name, r.cause) for r in starts.releases_of(session, motor.id)),
        running_since=since if condition == facts.RUNNING else None,
        shift_start=unit.calendar.shift_of(now).starts_at,
        prestart_checks=tuple(c.at for c in starts.passed_checks(session, motor.id)),
        back_in_service_at=_back_in_service(session, motor), seen_running_at=running[0].taken_at if running else None,
        fitted_at=plate.fitted_from if plate and plate.fitted_on else None)


def _trip_record(unit: Unit, trip: Trip) -> TripRecord:
    acts = {act.kind: act for act in trip.acts}  # the newest of each kind
    reset, agreed, cleared = acts.get(RELAY_RESET), acts.get(HEAD_OPERATOR_AGREES), acts.get(CLEARED)
    return TripRecord(
        trip.at, trip.protection, trip.cause or (reset.found if reset else None), reset.at if reset else None,
        agreed.at if agreed else None, cleared.at if cleared else None, cleared.qualified_name if cleared else None,
        unit.calendar.shift_of(trip.at).starts_at)


def _back_in_service(session: Session, motor: Motor) -> datetime | None:
    """When it last came back from out of service or locked out; None while it is out, or where it never was."""
    if motor.condition in OUT:
        return None
    by_hand = [c.at for c in changes.changes_of(session, "motor", motor.id, 200)
               if c.field == "condition" and c.before in OUT and c.after not in OUT]
    seen_out = rounds.last_seen_in(session, motor.id, OUT)
    return max([*by_hand[:1], *([seen_out] if seen_out else [])], default=None)


def permission(session: Session, unit: Unit, motor: Motor, now: datetime, *,
               then_continuous: bool = False) -> Permission:
    """May this motor be started at this instant? Advice on the limits; it clears nobody and releases nothing."""
    return starting.start_permission(
        judging.plate_facts(motor.nameplate_at(now)), plan_of(motor), history_of(session, unit, motor, now),
        now.astimezone(unit.calendar.zone), then_continuous=then_continuous,
        limits=limits.limits_at(session, unit.id, motor.id, now))


def prestart_why(session: Session, unit: Unit, motor: Motor, now: datetime) -> str | None:
    """Why a pre-start check is due and not answered; None when it is not."""
    return prestart.prestart_due(history_of(session, unit, motor, now), now,
                                 limits.limits_at(session, unit.id, motor.id, now))


# recording -------------------------------------------------------------------------------------------------


def record_start(session: Session, sender: Sender, entry: Entry, dip_id: int | None = None) -> Recorded:
    """Stores a start once, flags what it broke, and moves the condition. Raises BadEntry, OtherContent."""
    there = recording.stored_before(session, Start, entry, sender.unit)
    if there is not None:
        return recording.answer_of(session, there, False)
    motor, row = _row(session, sender, entry, Start, condition_before=None, dip_id=dip_id)
    row.condition_before = recording.condition_then(session, motor, row.at)
    if not recording.add_once(session, row):
        return recording.answer_of(session, session.get_one(Start, entry.id), False)
    found = _judge(session, sender.unit, motor, row, sender.received_at)
    for later in starts.starts_of(session, motor.id, row.at):  # one that arrives late moves the count of those after
        if later.id != row.id and later.at < row.at + AGAIN_WITHIN:
            _judge(session, sender.unit, motor, later, sender.received_at)
    for at, state in starts.states_of_start(row.at, row.outcome, row.duration_s):
        if at <= sender.received_at:
            observe(session, motor, state, at)
    session.flush()
    return Recorded(row.id, True, found)


def _judge(session: Session, unit: Unit, motor: Motor, row: Start, known_at: datetime) -> list[Finding]:
    """Judges one start against what stood before it; judged again, the same."""
    found = check_start(
        StartRecord(row.at, row.outcome, row.duration_s), judging.plate_facts(motor.nameplate_at(row.at)),
        plan_of(motor), history_of(session, unit, motor, row.at, but=row), then_continuous=row.then_continuous,
        limits=limits.limits_at(session, unit.id, motor.id, row.at))
    judging.judge_start(session, unit, motor, Cause("start", row.id, row.at, row.received_at, row.person_id), found,
                        known_at)
    return found


def record_stop(session: Session, sender: Sender, entry: Entry) -> Recorded:
    there = recording.stored_before(session, Stop, entry, sender.unit)
    if there is not None:
        return Recorded(there.id, False)
    motor, row = _row(session, sender, entry, Stop)
    if not recording.add_once(session, row):
        return Recorded(entry.id, False)
    observe(session, motor, facts.STANDBY, row.at)
    return Recorded(row.id, True)


def record_trip(session: Session, sender: Sender, entry: Entry, dip_id: int | None = None) -> Recorded:
    """Stores a trip once. What opened decides who may do what next; nobody resets by this tool."""
    there = recording.stored_before(session, Trip, entry, sender.unit)
    if there is not None:
        return Recorded(there.id, False)
    motor, row = _row(session, sender, entry, Trip, dip_id=dip_id)
    if not recording.add_once(session, row):
        return Recorded(entry.id, False)
    observe(session, motor, facts.STANDBY, row.at)
    return Recorded(row.id, True)


def _row(session: Session, sender: Sender, entry: Entry, kind: Any, **extra: Any) -> tuple[Motor, Any]:
    motor = recording.motor_of(session, sender, entry)
    person = recording.person_of(session, sender, entry)
    at, offset = recording.corrected_time(entry, "at", sender.received_at)
    return motor, kind(
        id=entry.id, content=entry.content, unit_id=sender.unit.id, motor_id=motor.id, at=at,
        at_device=entry.at_device, clock_offset_s=offset, received_at=sender.received_at, person_id=person.id,
        token_id=sender.token.id if sender.token else None, **entry.columns, **extra)


# after a trip ----------------------------------------------------------------------------------------------


def guide(session: Session, unit: Unit, trip: Trip) -> tuple[trips.Step, ...]:
    """The steps after this trip, each with who may do it."""
    return trips.trip_guide(trip.protection, trip.motor.interlock, second_in_shift=second_overload(session, unit, trip))


def act_on_trip(session: Session, unit: Unit, trip: Trip, kind: str, person: Person, at: datetime,
                qualified_name: str | None, found: str | None) -> None:
    """Keeps one act on a trip: append-only, with the name of whoever stands for it."""
    trip.acts.append(TripAct(trip_id=trip.id, kind=kind, at=at, person_id=person.id, qualified_name=qualified_name,
                             found=found))
    changes.note_change(session, unit_id=unit.id, at=at, person=person, subject="motor", subject_id=trip.motor_id,
                        label=trip.motor.tag, field=f"trip {trip.protection}", before=None, after=kind, why=found)
    session.flush()


def second_overload(session: Session, unit: Unit, trip: Trip) -> bool:
    """Another overload of the same motor came before it in the same shift."""
    shift = unit.calendar.shift_of(trip.at)
    return any(t.id != trip.id and t.protection == "overload relay" and shift.holds(t.at) and t.at <= trip.at
               for t in starts.newest_trips(session, trip.motor_id, 20))


def open_trip(session: Session, unit: Unit, motor: Motor, now: datetime) -> Trip | None:
    """The newest trip that still waits for somebody, so that the page can lead there."""
    for trip in starts.newest_trips(session, motor.id, 5):
        done = {act.kind for act in trip.acts}
        if trips.is_fault(trip.protection) and CLEARED not in done:
            return trip
        if trip.protection == "overload relay" and RELAY_RESET not in done:
            return trip
        if (trip.protection == "overload relay" and HEAD_OPERATOR_AGREES not in done
                and unit.calendar.shift_of(now).holds(trip.at) and second_overload(session, unit, trip)):
            return trip
    return None


def needs_release(given: Permission) -> bool:
    return given.answer == "no" and given.decided_by == TRIES


# the pre-start check and the first-run watch ---------------------------------------------------------------


def keep_prestart(session: Session, unit: Unit, motor: Motor, key: str, answers: dict[str, dict[str, str]],
                  person: Person, at: datetime) -> bool:
    """Keeps the answers once; True when none of them is "no"."""
    try:
        check_id = uuid.UUID(key)
    except ValueError:
        check_id = uuid.uuid4()
    passed = all(a["answer"] != "no" for a in answers.values())
    if session.get(PrestartCheck, check_id) is None:
        session.add(PrestartCheck(id=check_id, unit_id=unit.id, motor_id=motor.id, at=at, answers=answers,
                                  passed=passed, person_id=person.id,
                                  why=prestart_why(session, unit, motor, at) or "not due by the rules"))
        session.flush()
    return passed


def watch_rows(session: Session, start: Start) -> list[Reading]:
    """The readings of the first two hours after a start that have a bearing temperature, the oldest first."""
    until = start.at + timedelta(minutes=WATCH_AT_MIN[-1] + 10)
    found = rounds.readings_between(session, start.unit_id, start.at, until, start.motor_id)
    replaced = {r.replaces_id for r in found if r.replaces_id}
    return [r for r in found if r.id not in replaced and r.state == facts.RUNNING
            and (r.bearing_temp_c_de is not None or r.bearing_temp_c_ode is not None)]


def next_prompt(start: Start, now: datetime) -> datetime | None:
    """When the next timed look is due; None when the watch is over."""
    return next((at for m in WATCH_AT_MIN if (at := start.at + timedelta(minutes=m)) > now), None)


@dataclass(frozen=True)
class Watch:
    start: Start
    next_at: datetime


def watch_now(session: Session, motor: Motor, now: datetime) -> Watch | None:
    """The first-run watch in progress: the last start ran, and the motor runs still."""
    newest = starts.newest_starts(session, motor.id, 1)
    if not newest or newest[0].outcome not in ("ran", "automatic") or motor.condition != facts.RUNNING:
        return None
    due = next_prompt(newest[0], now)
    return Watch(newest[0], due) if due else None


# standby pairs ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Partner:
    motor: Motor


@dataclass(frozen=True)
class PairLine:
    """One of a pair: how long it has run on record, and when it last proved to run."""

    tag: str
    run_h: float
    last_run_at: datetime | None
    days_since_run: int | None


def partner_of(session: Session, motor: Motor) -> Partner | None:
    other = motors.motor_by_tag(session, motor.unit_id, motor.standby_partner) if motor.standby_partner else None
    return Partner(other) if other is not None and other.id != motor.id else None


def pair_line(session: Session, motor: Motor, now: datetime) -> PairLine:
    run = session.get(MotorRun, motor.id)
    run_s = 0.0 if run is None else run.run_s + (
        (now - run.observed_at).total_seconds() if run.state == facts.RUNNING else 0.0)
    seen = rounds.last_running(session, motor.id, now, 1)
    began = [s.at for s in starts.newest_starts(session, motor.id, 5) if s.outcome in ("ran", "automatic")]
    last = now if motor.condition == facts.RUNNING else max([r.taken_at for r in seen] + began[:1], default=None)
    return PairLine(motor.tag, run_s / 3600, last, None if last is None else (now - last).days)
