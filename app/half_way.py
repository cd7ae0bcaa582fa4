"""Temporary states: begun, given a new end, ended, each by name; flagged when past the end that was expected.

The flag comes with the opened round, with the motor's next reading, and with the first look at sheet or review after
the end has passed; it goes when the state ends or gets a later end.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import datetime

from sqlalchemy.orm import Session

from app import flagging
from app.flagging import Cause
from app.rules import facts
from app.rules import temporary as rule
from app.rules.findings import Finding
from app.rules.limits import Limits
from app.store import flags, temporary
from app.store.flags import NO_END
from app.store.motors import Motor
from app.store.people import Person
from app.store.rounds import Round
from app.store.temporary import TemporaryState
from app.store.units import Unit


def begin(session: Session, unit: Unit, motor: Motor, person: Person, now: datetime, *, key: uuid.UUID, kind: str,
          expected_end: datetime, end: str | None = None, words: str = "", since: datetime | None = None,
          greasing_id: uuid.UUID | None = None) -> tuple[TemporaryState, bool]:
    """A state that stands from now on; the same one, and False, when this form was sent before."""
    there = temporary.temporary_by_key(session, unit.id, key)
    if there is not None:
        return there, False
    state = TemporaryState(
        key=key, unit_id=unit.id, motor_id=motor.id, end=end or temporary.NO_END, kind=kind, words=words,
        since=since or now, expected_end=expected_end, recorded_at=now, person_id=person.id, greasing_id=greasing_id)
    session.add(state)
    session.flush()
    temporary.note(session, state, person, now, "begun", None, state.what)
    _flag(session, unit, motor, now, Cause("round", state.key, now, now, person.id))
    return state, True


def finish(session: Session, unit: Unit, state: TemporaryState, person: Person, now: datetime, words: str) -> bool:
    """Ended by name; False when somebody ended it before."""
    session.refresh(state, with_for_update=True)
    if state.ended_at is not None:
        return False
    state.ended_at, state.ended_by_id, state.ended_words = now, person.id, words
    session.flush()
    temporary.note(session, state, person, now, "ended", state.what, "ended", words or None)
    settle(session, unit, state.motor, now)
    return True


def move_end(session: Session, unit: Unit, state: TemporaryState, person: Person, now: datetime, expected: datetime,
             why: str) -> bool:
    """A new expected end, with the reason; False when the state has ended meanwhile."""
    session.refresh(state, with_for_update=True)
    if state.ended_at is not None:
        return False
    before, state.expected_end = state.expected_end, expected
    session.flush()
    temporary.note(session, state, person, now, "expected_end", before.isoformat(), expected.isoformat(), why)
    settle(session, unit, state.motor, now)
    return True


def settle(session: Session, unit: Unit, motor: Motor, at: datetime) -> None:
    """The flag of a state that is past its end no more returns at once: it has no band and no second round."""
    late = {f.end or NO_END for f in _found(unit, motor, temporary.standing_then(session, motor.id, at), at)}
    for flag in flags.open_flags_of_motor(session, motor.id):
        if flag.rule == rule.RULE and flag.end not in late and flag.returned_at is None:
            flag.improving_at = max(at, flag.last_seen_at)
            flagging.give_back(session, unit, flag, flag.improving_at)
    session.flush()


def judge_opened_round(session: Session, unit: Unit, opened: Round, at: datetime) -> None:
    """Raises what is past its end when a round is opened, once a round."""
    cause = Cause("round", uuid.uuid5(uuid.NAMESPACE_OID, f"round {opened.id}"), at, at, opened.opened_by_id)
    for motor in _motors_past_end(temporary.standing(session, unit.id), at):
        _flag(session, unit, motor, at, cause)


def unflagged(session: Session, unit: Unit, standing: Iterable[TemporaryState], now: datetime) -> list[Motor]:
    """Motors with something past its end and no flag that says so yet. One query, and none where nothing is late."""
    late = _motors_past_end(standing, now)
    if not late:
        return []
    said = {f.motor_id for f in flags.open_flags(session, unit.id) if f.rule == rule.RULE and f.returned_at is None}
    return [motor for motor in late if motor.id not in said]


def flag_late(session: Session, unit: Unit, now: datetime) -> None:
    """Flags what the clock alone has made late since the round was opened."""
    standing = temporary.standing(session, unit.id)
    for motor in unflagged(session, unit, standing, now):
        first = min(s.expected_end for s in standing if s.motor_id == motor.id)
        key = uuid.uuid5(uuid.NAMESPACE_OID, f"past end {motor.id} {first.isoformat()}")  # two tablets, one sighting
        _flag(session, unit, motor, now, Cause("round", key, now, now, None))


def _motors_past_end(standing: Iterable[TemporaryState], now: datetime) -> list[Motor]:
    return list({s.motor_id: s.motor for s in standing if s.past_end(now)}.values())


def _flag(session: Session, unit: Unit, motor: Motor, at: datetime, cause: Cause) -> None:
    found = _found(unit, motor, temporary.standing_then(session, motor.id, at), at)
    flagging.raise_flags(session, unit, motor, cause, found)


def _found(unit: Unit, motor: Motor, states: list[TemporaryState], at: datetime) -> list[Finding]:
    history = facts.History(temporary=tuple(s.as_facts() for s in states))
    return rule.check(facts.Facts(facts.Motor(motor.tag), at, history=history, show=unit.show), Limits())
