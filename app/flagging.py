"""Flags made from findings: raised, seen again, counted, returned, let go. No person's word is touched here."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import flag_course
from app.flag_course import NEVER_UNSTABLE, UNSTABLE_TIMES
from app.rules import shelving
from app.rules.findings import ACT_NOW, Finding
from app.sheets import cell_of
from app.store import flags, sightings
from app.store.flags import NO_END, Flag, Sighting
from app.store.motors import Motor
from app.store.rounds import Reading
from app.store.units import Unit

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


def store_findings(session: Session, motor: Motor, cause: Cause, found: list[Finding], first: bool = False) -> None:
    """Replaces what was found on this entry before: judged again, the same. first: it was never judged."""
    if not first:
        session.execute(sa.delete(flags.Finding).where(flags.Finding.cause_id == cause.id))
    for f in found:
        _add_finding(session, motor, cause, f)


def _add_finding(session: Session, motor: Motor, cause: Cause, f: Finding) -> None:
    session.add(flags.Finding(
        cause=cause.kind, cause_id=cause.id, motor_id=motor.id, at=cause.at, rule=f.rule, end=f.end or NO_END,
        priority=f.priority, value=f.value, limit=f.limit, unit_of_measure=f.unit_of_measure, source=f.source,
        says=f.says))


def raise_flags(session: Session, unit: Unit, motor: Motor, cause: Cause, found: list[Finding],
                stood: list[Flag] | None = None) -> None:
    """Each finding stands as one flag per rule and end: raised, or seen again.

    stood: the motor's open flags, for an entry that was never judged before; then nothing else is looked up.
    """
    if found and stood is not None and flags.any_closed_after(session, unit.id, motor.id, cause.at):
        stood = None  # taken before somebody closed a flag, and received after
    for f in found:
        end = f.end or NO_END
        if stood is None:
            flag = sightings.flag_at(session, motor.id, f.rule, end, cause.id, cause.at)
        else:
            flag = next((s for s in stood if (s.rule, s.end) == (f.rule, end)), None)
        new = flag is None or stood is not None
        _sight(session, unit, flag or _new_flag(session, unit, motor, cause, f), cause, f, new)
    if any(f.priority == ACT_NOW for f in found):
        _wake_beside(session, motor, cause, found)


def _wake_beside(session: Session, motor: Motor, cause: Cause, found: list[Finding]) -> None:
    """A shelved flag wakes where another rule finds the same part past its act-now limit."""
    graver = {cell_of(f.rule, f.end or NO_END): f for f in found if f.priority == ACT_NOW}
    for flag in flags.open_flags_of_motor(session, motor.id):
        other = graver.get(cell_of(flag.rule, flag.end))
        if other is not None and other.rule != flag.rule and flag.shelved(cause.received_at):
            _wake(flag, cause.received_at, f"{other.rule.replace('_', ' ')} is act now")


def _wake(flag: Flag, at: datetime, why: str) -> None:
    flag.shelved_until, flag.woken_why = max(at, flag.shelved_at or at), why


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


def _sight(session: Session, unit: Unit, flag: Flag, cause: Cause, f: Finding, new: bool) -> None:
    """Adds this entry to the flag's sightings (or renews it), and the flag's figures with it. new: it is in none."""
    seen = None if new else session.scalar(
        sa.select(Sighting).where(Sighting.flag_id == flag.id, Sighting.cause_id == cause.id))
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
    if flag.shelved(cause.received_at):
        why = shelving.why_wake(flag.shelved_priority or flag.priority, flag.shelved_value, flag.priority, flag.value,
                                flag.limit, flag.unit_of_measure, unit.show)
        if why is not None:
            _wake(flag, cause.received_at, why)


def _take_over(flag: Flag, newest: Sighting) -> None:
    """The newest sighting's figures are the flag's. Seen again after it had returned, it is active again."""
    flag.last_seen_at, flag.priority = newest.at, newest.priority
    flag.value, flag.limit, flag.unit_of_measure = newest.value, newest.limit, newest.unit_of_measure
    flag.source, flag.says = newest.source, newest.says
    if flag.open:
        flag_course.shown_again(flag, newest.at)


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


def answer(session: Session, unit: Unit, flag: Flag, verdict: str, reading: Reading) -> None:
    """One later entry's word on a standing flag: two rounds running below the band, and it returns."""
    if flag_course.called_better(flag, verdict, reading.taken_at, reading.round_id):
        give_back(session, unit, flag, reading.taken_at)


def give_back(session: Session, unit: Unit, flag: Flag, at: datetime) -> None:
    """The condition is gone. Seen already, the flag closes itself; unseen, it waits to be seen; unstable, it waits for
    somebody's decision."""
    flag.returned_at = max(at, flag.last_seen_at)
    if flag.rule not in NEVER_UNSTABLE:
        _count_return(session, unit, flag, flag.returned_at)
    if flag.seen_at is not None and flag.unstable_at is None:
        flag.closed_at, flag.closed_why = max(flag.returned_at, flag.seen_at), RETURNED


def _count_return(session: Session, unit: Unit, flag: Flag, at: datetime) -> None:
    sightings.add_return(session, flag, at)
    gone = sightings.newest_returns(session, flag, UNSTABLE_TIMES)
    if flag_course.unstable(unit.calendar, [(g.opened_at, g.returned_at) for g in gone]):
        flag.unstable_at = flag.unstable_at or at


def stand_anew(session: Session, flag: Flag, since: datetime) -> None:
    """As if nothing had called it better yet: an entry of then makes its good rounds be counted anew."""
    sightings.forget_returns(session, flag, since)
    if flag.unstable_at is not None and flag.unstable_at > since:
        flag.unstable_at = None
    flag.closed_at, flag.closed_why, flag.returned_at = None, None, None
    flag.improving_at, flag.good_rounds, flag.good_round_id = None, 0, None


def let_go(session: Session, flag: Flag, sighting: Sighting, at: datetime, why: str) -> None:
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
        sightings.forget_returns(session, flag, flag.raised_at)  # it never was there to come and go
        flag.closed_at, flag.closed_why = max(at, flag.raised_at), why


def take_back(session: Session, replaced: Reading) -> tuple[list[tuple[Flag, Sighting]], list[Flag]]:
    """A corrected reading no longer counts: what it found stays readable with it, its sightings go.

    Gives the flags that nothing else shows yet, with the sighting to let go of once the correction is judged, and
    those that others show too.
    """
    bare, touched = [], []
    for flag, sighting in sightings.sightings_by(session, replaced.id):
        if len(flags.sightings_of(session, flag.id)) > 1:
            let_go(session, flag, sighting, replaced.received_at, CORRECTED)
            touched.append(flag)
        else:
            bare.append((flag, sighting))
    return bare, touched
