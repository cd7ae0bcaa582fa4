"""The one bridge: facts from the store -> rules -> findings stored with the entry, and the flags they raise or clear.

Page, tablet and JSON door all come through here. Judging the same entry again gives the same findings; a late entry
makes what came after it be judged again, and no person's word on a flag is ever touched.
"""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.rules import clearing, facts, greasing, sheet
from app.rules.findings import Finding
from app.rules.limits import Limits
from app.store import flags, limits, lubrication, motors, rounds, sightings, starts
from app.store.flags import NO_END, Flag, Sighting
from app.store.limits import LimitChange
from app.store.lubrication import Greasing
from app.store.motors import Motor, MotorRun
from app.store.rounds import Reading, Round
from app.store.units import Unit

#: How many entries back the pace of the walk is looked at, for `look_again`.
PACE_LOOK_BACK = 10
#: How many later entries a late one makes us judge again, and how many earlier ones count a flag's good rounds anew.
AGAIN_AFTER_LATE = 60
#: Why a flag closed without a person.
RETURNED, CORRECTED, NOT_FOUND_AGAIN = "returned to normal", "entry corrected", "judged again after a late entry"


@dataclass(frozen=True)
class Cause:
    """What a finding was judged on: an entry, or an opened round."""

    kind: str  # "reading", "greasing", "start", "round"
    id: uuid.UUID
    at: datetime
    received_at: datetime
    person_id: int | None


# facts out of the store ------------------------------------------------------------------------------------


def plate_facts(plate: motors.Nameplate | None) -> facts.Nameplate:
    if plate is None:
        return facts.Nameplate(amps_unknown_because="no nameplate entered")
    waiting = plate.confirmed_at is None and plate.motor is not None and plate is not plate.motor.nameplates[0]
    because = None
    if plate.amps is None and plate.amps_stamped:
        because = "connected voltage not chosen"
    if waiting:
        because = "plate not confirmed"
    return facts.Nameplate(
        key=plate.id, rated_amps=None if because else plate.amps, service_factor=plate.service_factor,
        service_factor_amps=None if because else plate.service_factor_amps, volts=plate.volts, hp=plate.hp,
        phases=plate.phases, hz=plate.hz, rpm=plate.rpm, poles=plate.poles, insulation_class=plate.insulation_class,
        ambient_c=plate.ambient_c, mounting=plate.mounting, bearing=facts.Ends(plate.de_bearing, plate.ode_bearing),
        frame=plate.frame, amps_unknown_because=because, load_wk2_lbft2=plate.load_wk2_lbft2)


def run_h_between(run: MotorRun | None, greased_at: datetime | None, greased_run_s: float | None,
                  at: datetime) -> float | None:
    """Running hours since a greasing, as estimated; before the first observation a motor is taken to have run."""
    if greased_at is None:
        return None
    if run is None:
        return max(0.0, (at - greased_at).total_seconds() / 3600)
    now_s = run.run_s + (max(0.0, (at - run.observed_at).total_seconds()) if run.state == facts.RUNNING else 0.0)
    then_s = greased_run_s
    if then_s is None:
        then_s = min(0.0, -(run.first_observed_at - greased_at).total_seconds())
    return max(0.0, (now_s - then_s) / 3600)


def point_facts(point: motors.LubricationPoint, greased: Greasing | None, run: MotorRun | None,
                at: datetime) -> facts.LubricationPoint:
    """One line of the chart with the newest of the recorded greasings and the register's own date."""
    last_at, run_s = (greased.at, greased.run_s) if greased else (None, None)
    if last_at is None and point.last_greased_at is not None and point.last_greased_at <= at:
        last_at = point.last_greased_at
    return facts.LubricationPoint(
        kind=point.kind, lubricant=point.lubricant, thickener=point.thickener, grease_g=point.grease_g,
        interval_days=point.interval_days, interval_run_h=point.interval_run_h, last_greased_at=last_at,
        run_h_since=run_h_between(run, last_at, run_s, at))


def _state_at(session: Session, motor_id: int, at: datetime) -> str | None:
    """The state last observed by an instant."""
    return session.scalar(sa.select(Reading.state).where(
        Reading.motor_id == motor_id, Reading.taken_at <= at, Reading.skip_reason.is_(None), rounds.not_corrected())
        .order_by(Reading.taken_at.desc()).limit(1))


def run_then(session: Session, motor: Motor, at: datetime) -> MotorRun | None:
    """How long the motor had run by an instant: for an entry judged after newer ones are known."""
    run = session.get(MotorRun, motor.id)
    if run is None or at >= run.observed_at:
        return run
    if at < run.first_observed_at:
        return None
    seen = [(at, _state_at(session, motor.id, at))]
    seen += [(r.taken_at, r.state) for r in rounds.readings_after(session, motor.id, at, 500) if not r.skipped]
    later_s = sum((until - since).total_seconds() for (since, state), (until, _) in itertools.pairwise(
        [*seen, (run.observed_at, None)]) if state == facts.RUNNING)
    return MotorRun(motor_id=motor.id, first_observed_at=run.first_observed_at, observed_at=at,
                    state=seen[0][1] or facts.STANDBY, run_s=max(0.0, run.run_s - later_s))


def motor_facts(session: Session, motor: Motor, at: datetime, greased: list[Greasing]) -> facts.Motor:
    run = run_then(session, motor, at)

    def chart(end: str) -> facts.LubricationPoint | None:
        point = motor.point(end)
        newest = next((g for g in greased if g.end == end), None)
        return point_facts(point, newest, run, at) if point else None

    ammeter_there = {"current_a"} if motor.ammeter == "control room" else set()
    return facts.Motor(
        tag=motor.tag, nameplate=plate_facts(motor.nameplate_at(at)), ammeter=motor.ammeter, interlock=motor.interlock,
        accepted_normal_feel=motor.accepted_normal_feel, lubrication=facts.Ends(chart("DE"), chart("ODE")),
        by_control_room=frozenset(ammeter_there | {k for k in motor.by_control_room.split(",") if k}))


def _pace(session: Session, reading: Reading, fast_s: float) -> tuple[float | None, int]:
    """Seconds since this person's entry before, and how many entries in a row came within `fast_s`."""
    before = rounds.previous_by_person(session, reading.person_id, reading.taken_at, PACE_LOOK_BACK)
    times = [reading.taken_at, *(r.taken_at for r in before)]
    gaps = [(later - earlier).total_seconds() for later, earlier in itertools.pairwise(times)]
    if not gaps or reading.token_id is not None:
        return None, 0
    return gaps[0], sum(1 for _ in itertools.takewhile(lambda gap: gap <= fast_s, gaps))


def facts_of(session: Session, unit: Unit, motor: Motor, reading: Reading | None, at: datetime,
             in_force: Limits | None = None) -> facts.Facts:
    """Everything the rules are given for one motor at one instant."""
    greased = lubrication.last_greasings(session, motor.id, at + timedelta(microseconds=1))
    before = [r.as_facts() for r in rounds.last_running(session, motor.id, at)] if reading is not None else []
    fast_s = (in_force or Limits()).value("look_again_pace_s")
    pace_s, fast = _pace(session, reading, fast_s) if reading is not None else (None, 0)
    started = starts.newest_starts(session, motor.id, 1, before=at) if reading is not None else []
    return facts.Facts(
        motor=motor_facts(session, motor, at, greased), now=at, reading=reading.as_facts() if reading else None,
        history=facts.History(running=tuple(before), greasings=tuple(g.as_facts() for g in greased),
                              last_start_at=started[0].at if started else None,
                              new_normal_at=motor.new_normal_at, pace_s=pace_s, fast_in_a_row=fast),
        walked=reading is not None and reading.token_id is None and not reading.skipped and not reading.watch,
        show=unit.show)


# judging an entry ------------------------------------------------------------------------------------------


def judge_reading(session: Session, unit: Unit, motor: Motor, reading: Reading,
                  replaced: Reading | None = None) -> list[Finding]:
    """Judges one reading, stores its findings, raises and clears flags. A late one, and a correction, make what came
    after be judged again."""
    changes = limits.limit_changes(session, unit.id)
    if replaced is None and not rounds.readings_after(session, motor.id, reading.taken_at, 1):
        return _judge_one(session, unit, motor, reading, changes, reading.received_at)
    bare, touched = _take_back(session, replaced) if replaced is not None else ([], [])
    since = min(r.taken_at for r in (reading, replaced) if r is not None)
    found = _judge_again(session, unit, motor, since, reading.received_at, changes, touched)
    for flag, sighting in bare:
        _let_go(session, flag, sighting, reading.received_at, CORRECTED)
    return found[reading.id]


def _judge_again(session: Session, unit: Unit, motor: Motor, since: datetime, known_at: datetime,
                 changes: list[LimitChange], touched: Iterable[Flag] = ()) -> dict[uuid.UUID, list[Finding]]:
    """Judges everything taken from an instant on once more, in order. Flags count their good rounds anew.

    known_at: when the entry that makes us do this was received.
    """
    just_before = since - timedelta(microseconds=1)
    counting = _count_anew(session, motor, just_before, touched)
    for earlier in _readings_up_to(session, motor, just_before) if counting else []:
        _answer_flags(session, unit, motor, earlier, counting, changes)
    return {r.id: _judge_one(session, unit, motor, r, changes, known_at)
            for r in rounds.readings_after(session, motor.id, just_before, AGAIN_AFTER_LATE)}


def _readings_up_to(session: Session, motor: Motor, until: datetime) -> list[Reading]:
    """The last readings taken up to an instant, the oldest first, corrected ones left out."""
    corrected = rounds.corrected_among(session, motor.id)
    newest = rounds.newest_readings(session, motor.id, AGAIN_AFTER_LATE, until)
    return [r for r in reversed(newest) if r.id not in corrected]


def _count_anew(session: Session, motor: Motor, since: datetime, touched: Iterable[Flag]) -> list[Flag]:
    """Flags whose good rounds an entry of then may change: counted from the beginning, open again if they had closed
    themselves. What a person said of them stays."""
    found = {flag.id: flag for flag in (*touched, *sightings.answered_after(session, motor.id, since))
             if flag.rule not in clearing.BY_ACT_ONLY}
    for flag in list(found.values()):
        if flag.closed_at is not None and (flag.closed_by_id is not None or flag.closed_why != RETURNED
                                           or sightings.has_follower(session, flag)):
            del found[flag.id]
            continue
        flag.closed_at, flag.closed_why, flag.returned_at = None, None, None
        flag.improving_at, flag.good_rounds, flag.good_round_id = None, 0, None
    session.flush()
    return list(found.values())


def _judge_one(session: Session, unit: Unit, motor: Motor, reading: Reading, changes: list[LimitChange],
               known_at: datetime) -> list[Finding]:
    in_force = limits.limits_from(changes, motor.id, reading.taken_at)
    given = facts_of(session, unit, motor, reading, reading.taken_at, in_force)
    found = sheet.judge(given, in_force)
    cause = Cause("reading", reading.id, reading.taken_at, reading.received_at, reading.person_id)
    store_findings(session, motor, cause, found)
    raise_flags(session, unit, motor, cause, found)
    fired = {(f.rule, f.end or NO_END) for f in found}
    for flag in flags.open_flags_of_motor(session, motor.id):
        if (flag.rule, flag.end) not in fired and _has_a_say(flag, reading):
            _answer(flag, _verdict(given, flag, in_force), reading)
    for flag, sighting in sightings.sightings_by(session, cause.id):
        if flag.open and (flag.rule, flag.end) not in fired:
            _let_go(session, flag, sighting, known_at, NOT_FOUND_AGAIN)
    session.flush()
    return found


def _answer_flags(session: Session, unit: Unit, motor: Motor, reading: Reading, standing: list[Flag],
                  changes: list[LimitChange]) -> None:
    """What one reading says of some flags, and nothing else."""
    asked = [flag for flag in standing if flag.open and _has_a_say(flag, reading)]
    if asked:
        given = facts_of(session, unit, motor, reading, reading.taken_at)
        in_force = limits.limits_from(changes, motor.id, reading.taken_at)
        for flag in asked:
            _answer(flag, _verdict(given, flag, in_force), reading)


def _has_a_say(flag: Flag, reading: Reading) -> bool:
    """A skip says nothing. Else what was taken after the flag was last seen; and a motor that was thought not to be
    checked was, when a look of that same round arrives."""
    if reading.skipped:
        return False
    of_that_round = reading.round.starts_at <= flag.last_seen_at < reading.round.ends_at
    return flag.last_seen_at <= reading.taken_at or (flag.rule == "not_checked" and of_that_round)


def _verdict(given: facts.Facts, flag: Flag, in_force: Limits) -> str:
    return clearing.verdict(given, flag.rule, flag.end or None, flag.value is not None, in_force)


def judge_start(session: Session, unit: Unit, motor: Motor, cause: Cause, found: list[Finding],
                known_at: datetime) -> None:
    """Keeps what a start broke. Judged again after a late one, what it no longer breaks is let go."""
    store_findings(session, motor, cause, found)
    raise_flags(session, unit, motor, cause, found)
    fired = {(f.rule, f.end or NO_END) for f in found}
    for flag, sighting in sightings.sightings_by(session, cause.id):
        if flag.open and (flag.rule, flag.end) not in fired:
            _let_go(session, flag, sighting, known_at, NOT_FOUND_AGAIN)
    session.flush()


def judge_greasing(session: Session, unit: Unit, motor: Motor, done: Greasing) -> list[Finding]:
    """Judges one greasing against the chart, and lets go of `greasing_overdue` where nothing is due any more."""
    before = facts_of(session, unit, motor, None, done.at - timedelta(microseconds=1))
    changes = limits.limit_changes(session, unit.id)
    in_force = limits.limits_from(changes, motor.id, done.at)
    found = greasing.check_greasing(done.as_facts(), before, in_force)
    cause = Cause("greasing", done.id, done.at, done.received_at, done.person_id)
    store_findings(session, motor, cause, found)
    raise_flags(session, unit, motor, cause, found)
    if rounds.readings_after(session, motor.id, done.at, 1):
        _judge_again(session, unit, motor, done.at, done.received_at, changes)
    settle_overdue(session, unit, motor, done.at)
    session.flush()
    return found


def settle_overdue(session: Session, unit: Unit, motor: Motor, at: datetime) -> None:
    """Greased: an overdue flag returns at once. It has no band and no second round to wait for."""
    for flag in flags.open_flags_of_motor(session, motor.id):
        if flag.rule != "greasing_overdue":
            continue
        then = max(at, flag.last_seen_at)  # recorded late, it may have been seen overdue after it was done
        given = facts_of(session, unit, motor, None, then)
        still = {f.end or NO_END for f in overdue(given, limits.limits_at(session, unit.id, motor.id, then))}
        if flag.end not in still:
            flag.improving_at = then
            give_back(flag, then)


def overdue(given: facts.Facts, in_force: Limits) -> list[Finding]:
    """`greasing_overdue` alone, for when only the clock moved."""
    return [f for f in greasing.check(given, in_force) if f.rule == "greasing_overdue"]


def judge_opened_round(session: Session, unit: Unit, opened: Round, at: datetime) -> None:
    """Raises what the clock alone made due: overdue greasing, once a round."""
    changes = limits.limit_changes(session, unit.id)
    cause = Cause("round", uuid.uuid5(uuid.NAMESPACE_OID, f"round {opened.id}"), at, at, opened.opened_by_id)
    for motor, given in due_facts(session, unit, at):
        found = overdue(given, limits.limits_from(changes, motor.id, at))
        if found:
            raise_flags(session, unit, motor, cause, found)


# overdue greasing, computed when read ----------------------------------------------------------------------


def due_facts(session: Session, unit: Unit, at: datetime) -> Iterable[tuple[Motor, facts.Facts]]:
    """The motors with a greasing interval, each with just the facts that `greasing.check` needs. Three queries."""
    lines = lubrication.greasing_lines(session, unit.id)
    runs = motors.runs_of(session, unit.id)
    newest = lubrication.newest_by_point(session, unit.id)
    by_motor: dict[int, tuple[Motor, dict[str, facts.LubricationPoint]]] = {}
    for point, motor in lines:
        held = by_motor.setdefault(motor.id, (motor, {}))[1]
        held[point.end] = point_facts(point, newest.get((motor.id, point.end)), runs.get(motor.id), at)
    for motor, ends in by_motor.values():
        chart = facts.Ends(ends.get("DE"), ends.get("ODE"))
        yield motor, facts.Facts(facts.Motor(motor.tag, lubrication=chart), at, show=unit.show)


@dataclass(frozen=True)
class DueLine:
    """One bearing's greasing as it stands now."""

    motor: Motor
    end: str
    point: facts.LubricationPoint
    finding: Finding | None


def greasing_due(session: Session, unit: Unit, at: datetime) -> list[DueLine]:
    """Every bearing with an interval, and whether it is overdue at this instant."""
    changes = limits.limit_changes(session, unit.id)
    lines = []
    for motor, given in due_facts(session, unit, at):
        found = {f.end: f for f in overdue(given, limits.limits_from(changes, motor.id, at))}
        lines += [DueLine(motor, end, point, found.get(end)) for end, point in given.motor.lubrication.items()]
    return lines


def count_greasing_overdue(session: Session, unit: Unit, at: datetime) -> int:
    """Bearings past their interval now (never recorded ones are not counted: nobody knows that they are late)."""
    return sum(1 for line in greasing_due(session, unit, at) if line.finding and line.point.last_greased_at)


# findings and flags ----------------------------------------------------------------------------------------


def store_findings(session: Session, motor: Motor, cause: Cause, found: list[Finding]) -> None:
    """Replaces what was found on this entry before: judged again, the same."""
    session.execute(sa.delete(flags.Finding).where(flags.Finding.cause_id == cause.id))
    for f in found:
        _add_finding(session, motor, cause, f)


def _add_finding(session: Session, motor: Motor, cause: Cause, f: Finding) -> None:
    session.add(flags.Finding(
        cause=cause.kind, cause_id=cause.id, motor_id=motor.id, at=cause.at, rule=f.rule, end=f.end or NO_END,
        priority=f.priority, value=f.value, limit=f.limit, unit_of_measure=f.unit_of_measure, source=f.source,
        says=f.says))


def raise_flags(session: Session, unit: Unit, motor: Motor, cause: Cause, found: list[Finding]) -> None:
    """Each finding stands as one flag per rule and end: raised, or seen again."""
    for f in found:
        end = f.end or NO_END
        flag = sightings.flag_at(session, motor.id, f.rule, end, cause.id, cause.at)
        _sight(session, flag or _new_flag(session, unit, motor, cause, f), cause, f)


def _new_flag(session: Session, unit: Unit, motor: Motor, cause: Cause, f: Finding) -> Flag:
    """A flag that names the one before it; the one of another server where both raise it in the same moment."""
    end = f.end or NO_END
    earlier = flags.last_closed(session, motor.id, f.rule, end)
    flag = Flag(unit_id=unit.id, motor_id=motor.id, rule=f.rule, end=end, priority=f.priority, raised_at=cause.at,
                raised_by_id=cause.person_id, raised_cause=cause.kind, raised_cause_id=cause.id,
                last_seen_at=cause.at, source=f.source, says=f.says, times_seen=0,
                before_id=earlier.id if earlier else None, arrived_late=_late(unit, cause))
    try:
        with session.begin_nested():
            session.add(flag)
            session.flush()
    except sa.exc.IntegrityError:
        theirs = flags.open_flag(session, motor.id, f.rule, end)
        if theirs is None:
            raise
        return theirs
    return flag


def _late(unit: Unit, cause: Cause) -> bool:
    """An entry received in a later shift than it was observed in."""
    if cause.kind == "round" or cause.received_at <= cause.at:
        return False
    return not unit.calendar.shift_of(cause.at).holds(cause.received_at)


def _sight(session: Session, flag: Flag, cause: Cause, f: Finding) -> None:
    """Adds this entry to the flag's sightings (or renews it), and the flag's figures with it."""
    seen = session.scalar(sa.select(Sighting).where(Sighting.flag_id == flag.id, Sighting.cause_id == cause.id))
    newest = seen is None and cause.at >= flag.last_seen_at
    if seen is None:
        seen = Sighting(flag_id=flag.id, cause=cause.kind, cause_id=cause.id)
        session.add(seen)
    seen.at, seen.received_at, seen.person_id = cause.at, cause.received_at, cause.person_id
    seen.priority, seen.value, seen.limit = f.priority, f.value, f.limit
    seen.unit_of_measure, seen.source, seen.says = f.unit_of_measure, f.source, f.says
    session.flush()
    if newest:  # the usual case costs the same however often it was seen before
        flag.times_seen += 1
        _take_over(flag, seen)
    else:
        recount(session, flag)


def _take_over(flag: Flag, newest: Sighting) -> None:
    """The newest sighting's figures are the flag's. Seen again after it had returned, it is active again."""
    flag.last_seen_at, flag.priority = newest.at, newest.priority
    flag.value, flag.limit, flag.unit_of_measure = newest.value, newest.limit, newest.unit_of_measure
    flag.source, flag.says = newest.source, newest.says
    if flag.open and (flag.improving_at is None or flag.improving_at <= newest.at):
        flag.improving_at, flag.returned_at = None, None
        flag.good_rounds, flag.good_round_id = 0, None


def recount(session: Session, flag: Flag) -> None:
    """A flag's figures made anew from its sightings: after a late, corrected or re-judged entry."""
    seen = flags.sightings_of(session, flag.id)
    if not seen:
        return
    first = seen[0]
    flag.raised_at, flag.raised_by_id = first.at, first.person_id
    flag.raised_cause, flag.raised_cause_id = first.cause, first.cause_id
    flag.times_seen = len(seen)
    _take_over(flag, seen[-1])


def _answer(flag: Flag, verdict: str, reading: Reading) -> None:
    """One later entry's word on a standing flag: two rounds running below the band, and it returns."""
    if verdict in (clearing.NO_WORD, clearing.SHOWS) or flag.returned_at is not None:
        return
    if verdict == clearing.IN_BAND:
        flag.improving_at, flag.good_rounds, flag.good_round_id = reading.taken_at, 0, None
        return
    if verdict == clearing.GONE:
        flag.improving_at = reading.taken_at
        if flag.good_round_id != reading.round_id:
            flag.good_rounds, flag.good_round_id = flag.good_rounds + 1, reading.round_id
        if flag.good_rounds >= 2 or flag.rule == "not_checked":
            give_back(flag, reading.taken_at)


def give_back(flag: Flag, at: datetime) -> None:
    """The condition is gone. Seen already, the flag closes itself; unseen, it waits to be seen."""
    flag.returned_at = max(at, flag.last_seen_at)
    if flag.seen_at is not None:
        flag.closed_at, flag.closed_why = max(flag.returned_at, flag.seen_at), RETURNED


def _let_go(session: Session, flag: Flag, sighting: Sighting, at: datetime, why: str) -> None:
    """An entry shows this no more: its sighting goes. An open flag with none left closes; a closed one keeps its last,
    for somebody acted on it."""
    others = [s for s in flags.sightings_of(session, flag.id) if s.id != sighting.id]
    if others or flag.open:
        session.delete(sighting)
        session.flush()
    if others:
        recount(session, flag)
    elif flag.open:
        flag.times_seen = 0
        flag.closed_at, flag.closed_why = max(at, flag.raised_at), why


def _take_back(session: Session, replaced: Reading) -> tuple[list[tuple[Flag, Sighting]], list[Flag]]:
    """A corrected reading no longer counts: what it found stays readable with it, its sightings go.

    Gives the flags that nothing else shows yet, with the sighting to let go of once the correction is judged, and
    those that others show too.
    """
    bare, touched = [], []
    for flag, sighting in sightings.sightings_by(session, replaced.id):
        if len(flags.sightings_of(session, flag.id)) > 1:
            _let_go(session, flag, sighting, replaced.received_at, CORRECTED)
            touched.append(flag)
        else:
            bare.append((flag, sighting))
    return bare, touched
