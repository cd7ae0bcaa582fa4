"""Starts, stops, trips and what follows them: recorded once, judged, and asked "may it be started?".

The answer counts over the whole crew: page and JSON door ask the same function over the same record.
"""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app import judging, recording
from app.entries import Entry
from app.judging import Cause
from app.observing import observe, state_word
from app.recording import Recorded, Sender
from app.rules import facts, prestart, starting, starting_ahead, trips, unlogged
from app.rules.findings import Finding
from app.rules.limits import Limits
from app.rules.starting import Permission
from app.rules.starting_bars import TRIES
from app.rules.starting_check import check_start
from app.rules.starting_facts import ReleaseRecord, StartHistory, StartPlan, StartRecord, TripRecord
from app.store import changes, flags, limits, rounds, start_ground, starts
from app.store.motors import Motor
from app.store.people import Person
from app.store.start_ground import Checked, Energised, OnRecord, Tripped, Unlogged
from app.store.starts import CLEARED, HEAD_OPERATOR_AGREES, RELAY_RESET, PrestartCheck, Start, Stop, Trip, TripAct
from app.store.units import Unit

#: A late start, stop or trip can change what those that follow it broke: so long after it, and so many at most.
AGAIN_WITHIN, MOST_AGAIN = timedelta(hours=24), 20
#: So far back a start that nobody logged can still hold the next one: written figures go below one start in a day.
UNLOGGED_COUNTS = timedelta(days=7)
OUT = (facts.OUT_OF_SERVICE, facts.LOCKED_OUT)
#: Which act belongs to which protection.
ACTS = {"overload relay": (RELAY_RESET, HEAD_OPERATOR_AGREES), "low voltage": ()}


# what the rules are given ----------------------------------------------------------------------------------


def plan_of(motor: Motor) -> StartPlan:
    plate = motor.nameplate
    return StartPlan(motor.start_basis, motor.written_starts_per_hour, motor.written_spacing_min,
                     motor.written_run_min, motor.written_tries, plate.load_wk2_lbft2 if plate else None)


def history_of(session: Session, unit: Unit, motor: Motor, now: datetime, but: Start | None = None) -> StartHistory:
    """One motor's record as the start rules want it; a fixed number of newest rows of each kind.

    but: a start that is being judged, which is no part of what stood before it.
    """
    condition, since = condition_on_record(session, motor, now) if but is None else (but.condition_before, None)
    plate, known = motor.nameplate_at(now), _on_record(session, motor, now, but)
    return StartHistory(
        condition=condition or facts.STANDBY, condition_since=since,
        starts=(*(StartRecord(s.at, s.outcome, s.duration_s)
                  for s in known.starts if but is None or s.id != but.id), *_not_logged(known)),
        stops=tuple(known.stops), trips=tuple(_trip_record(unit, t) for t in known.trips),
        releases=tuple(ReleaseRecord(r.at, r.by, r.cause) for r in known.releases),
        running_since=since if condition == facts.RUNNING else None,
        shift_start=unit.calendar.shift_of(now).starts_at,
        prestart_checks=(known.passed_at,) if known.passed_at else (), prestart_refused_at=known.refused_at,
        back_in_service_at=_back_in_service(motor, known, now), seen_running_at=known.seen_running_at,
        fitted_at=plate.fitted_from if plate and plate.fitted_on else None)


def _on_record(session: Session, motor: Motor, now: datetime, but: Start | None = None) -> OnRecord:
    """What stands on record at an instant. but: a start being judged, and no finding of its instant was before it."""
    unlogged_until = now if but is None else now - timedelta(microseconds=1)
    return start_ground.on_record(session, motor.id, now,
                                  Unlogged(unlogged.RULE, now - UNLOGGED_COUNTS, unlogged_until),
                                  seen_before=now + timedelta(microseconds=1))


def _not_logged(known: OnRecord) -> list[StartRecord]:
    """Starts that readings show and nobody logged, each as late as it can have been: when it was found running.

    One that was logged since, with no stop between, is that start: what runs is not started again.
    """
    logged, ended = [s.at for s in known.starts], _ended(known)
    return [StartRecord(at, logged=False) for at in known.not_logged if not _answered(at, logged, ended)]


def _ended(known: OnRecord) -> list[datetime]:
    """When it stopped or tripped, by the newest on record."""
    return [*known.stops, *(trip.at for trip in known.trips)]


def _answered(found_at: datetime, logged: list[datetime], ended: list[datetime]) -> bool:
    """Whether a start was logged after a look, and nothing stopped the motor between."""
    return any(found_at <= at and not any(found_at < end <= at for end in ended) for at in logged)


def _trip_record(unit: Unit, trip: Tripped) -> TripRecord:
    acts = {act.kind: act for act in trip.acts}  # the newest of each kind
    reset, agreed, cleared = acts.get(RELAY_RESET), acts.get(HEAD_OPERATOR_AGREES), acts.get(CLEARED)
    return TripRecord(
        trip.at, trip.protection, trip.cause or (reset.found if reset else None), reset.at if reset else None,
        agreed.at if agreed else None, cleared.at if cleared else None, cleared.qualified_name if cleared else None,
        unit.calendar.shift_of(trip.at).starts_at)


def condition_on_record(session: Session, motor: Motor, at: datetime) -> tuple[str | None, datetime | None]:
    """The motor's condition at an instant and since when: entries arrive late, and questions are asked of the past."""
    if motor.condition_at is None or at >= motor.condition_at:
        return motor.condition, motor.condition_at
    known = _on_record(session, motor, at)
    later = [c for c in known.by_hand if c.at > at]
    if later and state_word(later[-1].before) == facts.LOCKED_OUT:  # a lock stands until the act that ends it
        return facts.LOCKED_OUT, None
    seen = [(known.seen.at, known.seen.state)] if known.seen is not None and known.seen.state else []
    seen += [(c.at, state_word(c.after)) for c in known.by_hand if c.at <= at][:1]
    recorded = start_ground.last_state(known, at)
    since, state = max([*seen, *([recorded] if recorded else [])], default=(None, None), key=lambda one: one[0] or at)
    return state, since


def _back_in_service(motor: Motor, known: OnRecord, at: datetime) -> datetime | None:
    """When it last came back from out of service or locked out; None while it is out, or where it never was."""
    if motor.condition in OUT:
        return None
    by_hand = [c.at for c in known.by_hand
               if c.at <= at and state_word(c.before) in OUT and state_word(c.after) not in OUT]
    return max([*by_hand[:1], *([known.seen_out_at] if known.seen_out_at else [])], default=None)


def permission(session: Session, unit: Unit, motor: Motor, now: datetime, *,
               then_continuous: bool = False) -> Permission:
    """May this motor be started at this instant? Advice on the limits; it clears nobody and releases nothing."""
    return permission_and_ahead(session, unit, motor, now, then_continuous=then_continuous)[0]


def permission_and_ahead(session: Session, unit: Unit, motor: Motor, now: datetime, *,
                         then_continuous: bool = False) -> tuple[Permission, dict[str, Any]]:
    """The same, and what a tablet goes on with when the network is gone: ready for JSON."""
    plate, plan = judging.plate_facts(motor.nameplate_at(now)), plan_of(motor)
    history, in_force = history_of(session, unit, motor, now), limits.limits_at(session, unit.id, motor.id, now)
    there = now.astimezone(unit.calendar.zone)
    given = starting.start_permission(plate, plan, history, there, then_continuous=then_continuous, limits=in_force)
    return given, {**starting_ahead.known(plate, plan, history, there, in_force), "motor": motor.id,
                   "zone": unit.time_zone}


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
    row.condition_before = condition_on_record(session, motor, row.at)[0]
    if not recording.add_once(session, row):
        return recording.answer_of(session, session.get_one(Start, entry.id), False)
    found = _judge(session, sender.unit, motor, row, sender.received_at)
    _look_again(session, sender, motor, row)
    _settle_not_logged(session, sender, motor, row)
    _judge_again(session, sender, motor, row)
    for at, state in starts.states_of_start(row.at, row.outcome, row.duration_s):
        if at <= sender.received_at:
            observe(session, motor, state, at)
    session.flush()
    return Recorded(row.id, True, found)


def _judge(session: Session, unit: Unit, motor: Motor, row: Start, known_at: datetime) -> list[Finding]:
    """Judges one start against what stood before it; judged again, the same."""
    found = findings_of_start(session, unit, motor, row, limits.limits_at(session, unit.id, motor.id, row.at))
    judging.judge_start(session, unit, motor, Cause("start", row.id, row.at, row.received_at, row.person_id), found,
                        known_at)
    return found


def findings_of_start(session: Session, unit: Unit, motor: Motor, row: Start, in_force: Limits) -> list[Finding]:
    """What a start broke, by these limits. Nothing is stored."""
    return check_start(
        StartRecord(row.at, row.outcome, row.duration_s), judging.plate_facts(motor.nameplate_at(row.at)),
        plan_of(motor), history_of(session, unit, motor, row.at, but=row), then_continuous=row.then_continuous,
        limits=in_force)


def _judge_again(session: Session, sender: Sender, motor: Motor, row: Start | Stop | Trip) -> None:
    """One that arrives late moves the count, the run and the rest of those that came after it."""
    after = [s for s in starts.starts_of(session, motor.id, row.at, row.at + AGAIN_WITHIN) if s.id != row.id]
    for later in after[:MOST_AGAIN]:
        _judge(session, sender.unit, motor, later, sender.received_at)


def _look_again(session: Session, sender: Sender, motor: Motor, row: Start | Stop | Trip) -> None:
    """One that arrives after a later look at the motor says whether that look found it started by nobody."""
    later = rounds.readings_after(session, motor.id, row.at, 1)
    if later and later[0].state == facts.RUNNING:
        judging.judge_anew(session, sender.unit, motor, row.at, sender.received_at)


def _settle_not_logged(session: Session, sender: Sender, motor: Motor, row: Start) -> None:
    """Logged with the time at which it was logged, while it ran: the question who started it is answered too."""
    for flag in flags.open_flags_of_motor(session, motor.id):
        if flag.rule == unlogged.RULE and _answered(
                flag.last_seen_at, [row.at], _ended(_on_record(session, motor, row.at))):
            judging.settled(session, sender.unit, flag, row.at)


def record_stop(session: Session, sender: Sender, entry: Entry) -> Recorded:
    there = recording.stored_before(session, Stop, entry, sender.unit)
    if there is not None:
        return Recorded(there.id, False)
    motor, row = _row(session, sender, entry, Stop)
    if not recording.add_once(session, row):
        return Recorded(entry.id, False)
    _look_again(session, sender, motor, row)
    _judge_again(session, sender, motor, row)
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
    _look_again(session, sender, motor, row)
    _judge_again(session, sender, motor, row)
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


def fits(trip: Trip, kind: str) -> bool:
    """This protection asks for this act, and nobody has recorded it yet."""
    return kind in ACTS.get(trip.protection, (CLEARED,)) and kind not in {act.kind for act in trip.acts}


def second_overload(session: Session, unit: Unit, trip: Trip) -> bool:
    """Another overload of the same motor came before it in the same shift."""
    shift = unit.calendar.shift_of(trip.at)
    return trip.protection == "overload relay" and any(
        t.id != trip.id and t.protection == "overload relay" and shift.holds(t.at) and t.at <= trip.at
        for t in starts.newest_trips(session, trip.motor_id, 20, trip.at))


def open_trip(session: Session, unit: Unit, motor: Motor, now: datetime) -> Tripped | None:
    """The trip that stands against a start, as the rules have it, so that the page can lead there."""
    rows = _on_record(session, motor, now).trips
    records = [_trip_record(unit, trip) for trip in rows]
    found = trips.unsettled(StartHistory(trips=tuple(records)))
    return None if found is None else next(t for t, r in zip(rows, records, strict=True) if r is found[0])


def newest_check(session: Session, motor: Motor, now: datetime) -> Checked | None:
    """The pre-start check that was answered last."""
    return _on_record(session, motor, now).check


def newest_start(session: Session, motor: Motor, now: datetime) -> Energised | None:
    return next(iter(_on_record(session, motor, now).starts), None)


def needs_release(given: Permission) -> bool:
    return given.answer == "no" and given.decided_by == TRIES


# the pre-start check ---------------------------------------------------------------------------------------


def keep_prestart(session: Session, unit: Unit, motor: Motor, key: str, answers: dict[str, dict[str, str]],
                  person: Person, at: datetime) -> bool:
    """Keeps the answers once; True when none of them is "no"."""
    try:
        check_id = uuid.UUID(key)
    except ValueError:
        check_id = uuid.uuid4()
    there = session.get(PrestartCheck, check_id)
    if there is not None and there.motor_id == motor.id:
        return there.passed
    passed = all(a["answer"] != "no" for a in answers.values())
    if there is None:
        session.add(PrestartCheck(id=check_id, unit_id=unit.id, motor_id=motor.id, at=at, answers=answers,
                                  passed=passed, person_id=person.id,
                                  why=prestart_why(session, unit, motor, at) or "not due by the rules"))
        session.flush()
    return passed
