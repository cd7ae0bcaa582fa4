"""The one bridge: facts from the store -> rules -> findings stored with the entry, and the flags they raise or clear.

Page, tablet and JSON door all come through here. Judging the same entry again gives the same findings; a late entry
makes what came after it be judged again, and no person's word on a flag is ever touched.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import limits_kept
from app.flagging import CORRECTED, NOT_FOUND_AGAIN, Cause, answer, give_back, let_go, raise_flags, stand_anew
from app.flagging import RETURNED as RETURNED
from app.flagging import store_findings as store_findings
from app.flagging import take_back as take_back
from app.gathering import due_facts, facts_of
from app.gathering import plate_facts as plate_facts
from app.gathering import run_then as run_then
from app.rules import clearing, facts, greasing, sheet
from app.rules.findings import Finding, rank
from app.rules.limits import Limits
from app.store import earlier_readings, flags, limits, rounds, sightings
from app.store.entry_ground import Ground
from app.store.flags import NO_END, Flag, OpenOn
from app.store.limits import LimitChange
from app.store.lubrication import Greasing
from app.store.motors import Motor, MotorRun
from app.store.new_reading import NewReading
from app.store.rounds import Reading, Round
from app.store.units import Unit

#: How many later entries a late one makes us judge again, and how many earlier ones count a flag's good rounds anew.
AGAIN_AFTER_LATE = 60


# judging an entry ------------------------------------------------------------------------------------------


def judge_newest(session: Session, unit: Unit, ground: Ground, reading: NewReading,
                 standing: list[OpenOn]) -> list[Finding]:
    """Judges the newest reading of a motor, stored just now. ground: how it stands with the motor since then;
    standing: its open flags.

    Where nothing is found and nothing is said of a flag, as mostly, nothing is stored and no row is loaded.
    """
    at, motor = reading.taken_at, ground.motor
    in_force = limits.limits_from(limits_kept.changes(session, unit.id, ground.limits_at), motor.id, at)
    given = facts_of(session, unit, motor, reading, at, in_force, ground)
    assert given.reading is not None
    earlier_readings.keep(session, reading, given.reading)
    found = sheet.judge(given, in_force)
    better = standing and _called_better(given, found, standing, in_force)
    if not found and not better:
        return found
    cause = Cause("reading", reading.id, at, reading.received_at, reading.person_id)
    store_findings(session, motor, cause, found, first=True)
    stood = flags.open_flags_of_motor(session, motor.id) if standing else []
    raise_flags(session, unit, motor, cause, found, stood)
    if better:
        _answer_others(session, unit, given, found, session.get_one(Reading, reading.id), stood, in_force)
    session.flush()
    return found


def _called_better(given: facts.Facts, found: list[Finding], standing: list[OpenOn], in_force: Limits) -> bool:
    """Whether the entry moves a flag that it does not show: one that has returned already stays as it is."""
    fired = _fired(found)
    return any(clearing.verdict(given, flag.rule, flag.end or None, flag.measured, in_force)
               in (clearing.GONE, clearing.IN_BAND)
               for flag in standing if not flag.returned and (flag.rule, flag.end) not in fired)


def judge_reading(session: Session, unit: Unit, motor: Motor, reading: Reading,
                  replaced: Reading | None = None) -> list[Finding]:
    """Judges one reading, stores its findings, raises and clears flags. A late one, and a correction, make what came
    after be judged again."""
    session.flush()
    changes = limits.limit_changes(session, unit.id)
    if replaced is None and not rounds.anything_after(session, motor.id, reading.taken_at):
        return _judge_one(session, unit, motor, reading, changes, reading.received_at)
    bare, touched = take_back(session, replaced) if replaced is not None else ([], [])
    since = min(r.taken_at for r in (reading, replaced) if r is not None)
    found = _judge_again(session, unit, motor, since, reading.received_at, changes, touched)
    for flag, sighting in bare:
        let_go(session, flag, sighting, reading.received_at, CORRECTED)
    return found[reading.id]


def judge_anew(session: Session, unit: Unit, motor: Motor, since: datetime, known_at: datetime) -> None:
    """Judges what was taken from an instant on once more: a fact it was judged by has become known."""
    session.flush()
    _judge_again(session, unit, motor, since, known_at, limits.limit_changes(session, unit.id))


def _judge_again(session: Session, unit: Unit, motor: Motor, since: datetime, known_at: datetime,
                 changes: list[LimitChange], touched: Iterable[Flag] = ()) -> dict[uuid.UUID, list[Finding]]:
    """Judges everything taken from an instant on once more, in order. Flags count their good rounds anew.

    known_at: when the entry that makes us do this was received.
    """
    just_before = since - timedelta(microseconds=1)
    _run = session.get(MotorRun, motor.id)  # held, or the session would forget it and ask for each entry anew
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
        stand_anew(session, flag, since)
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
    _answer_others(session, unit, given, found, reading, flags.open_flags_of_motor(session, motor.id), in_force)
    fired = _fired(found)
    for flag, sighting in sightings.sightings_by(session, cause.id) if sightings.any_by(session, cause.id) else ():
        if flag.open and (flag.rule, flag.end) not in fired:
            let_go(session, flag, sighting, known_at, NOT_FOUND_AGAIN)
    session.flush()
    return found


def _fired(found: list[Finding]) -> set[tuple[str, str]]:
    return {(f.rule, f.end or NO_END) for f in found}


def _answer_others(session: Session, unit: Unit, given: facts.Facts, found: list[Finding], reading: Reading,
                   standing: list[Flag], in_force: Limits) -> None:
    """What the reading says of the motor's flags that it does not show itself."""
    fired = _fired(found)
    for flag in standing:
        if (flag.rule, flag.end) not in fired and _has_a_say(flag, reading):
            answer(session, unit, flag, _verdict(given, flag, in_force), reading)


def _answer_flags(session: Session, unit: Unit, motor: Motor, reading: Reading, standing: list[Flag],
                  changes: list[LimitChange]) -> None:
    """What one reading says of some flags, and nothing else."""
    asked = [flag for flag in standing if flag.open and _has_a_say(flag, reading)]
    if asked:
        given = facts_of(session, unit, motor, reading, reading.taken_at)
        in_force = limits.limits_from(changes, motor.id, reading.taken_at)
        for flag in asked:
            answer(session, unit, flag, _verdict(given, flag, in_force), reading)


def _has_a_say(flag: Flag, reading: Reading) -> bool:
    """A skip says nothing. Else what was taken after the flag was last seen; and a motor that was thought not to be
    checked was, when a look of that same round arrives."""
    if reading.skipped:
        return False
    if flag.last_seen_at <= reading.taken_at or flag.rule != "not_checked":
        return flag.last_seen_at <= reading.taken_at
    return reading.round.starts_at <= flag.last_seen_at < reading.round.ends_at


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
            let_go(session, flag, sighting, known_at, NOT_FOUND_AGAIN)
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
    if rounds.anything_after(session, motor.id, done.at):
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
            settled(session, unit, flag, then)


def settled(session: Session, unit: Unit, flag: Flag, at: datetime) -> None:
    """What was asked for was done: the flag returns at once, without a band or a second round to wait for."""
    flag.improving_at = at
    give_back(session, unit, flag, at)


def overdue(given: facts.Facts, in_force: Limits) -> list[Finding]:
    """`greasing_overdue` alone, for when only the clock moved."""
    return [f for f in greasing.check(given, in_force) if f.rule == "greasing_overdue"]


def judge_opened_round(session: Session, unit: Unit, opened: Round, at: datetime) -> None:
    """Raises what the clock alone made due: overdue greasing, once a round."""
    changes = limits.limit_changes(session, unit.id)
    cause = Cause("round", uuid.uuid5(uuid.NAMESPACE_OID, f"round {opened.id}"), at, at, opened.opened_by_id)
    for motor, given in due_facts(session, unit, at):
        found = overdue(given, limits.limits_from(changes, motor.id, at))
        raise_flags(session, unit, motor, cause, [f for f in sorted(found, key=lambda f: rank(f.priority))
                                                  if not _seen_since(session, motor, f, opened.starts_at)])


def _seen_since(session: Session, motor: Motor, f: Finding, since: datetime) -> bool:
    """This shift's entries show it already: the opened round counts it no second time."""
    flag = flags.open_flag(session, motor.id, f.rule, f.end or NO_END)
    return flag is not None and flag.last_seen_at >= since
