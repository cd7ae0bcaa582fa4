"""The demo's starts, trips, power dip, oil and things left half-way, told through the same code as users' own."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import half_way, oil_records, power_dips, start_records
from app.demo import story
from app.demo.story import Event
from app.entries import read_start, read_stop, read_trip
from app.observing import observe
from app.recording import Sender
from app.rules import facts
from app.rules.prestart_items import BY_KEY, NOT_NEEDED, YES
from app.store import changes, motors, starts
from app.store.dips import CAME_BACK, NEVER_STOPPED, STARTED
from app.store.insulation import InsulationTest
from app.store.motors import Motor
from app.store.people import Person
from app.store.starts import RELAY_RESET
from app.store.units import Unit

RECORD = {"start": (read_start, start_records.record_start), "stop": (read_stop, start_records.record_stop),
          "trip": (read_trip, start_records.record_trip)}


def tell(session: Session, unit: Unit, event: Event, at: datetime, person: Person, key: Callable[[], str]) -> None:
    """One event, written down within the minute by this person."""
    motor = motors.motor_by_tag(session, unit.id, event.tag)
    assert motor is not None, event.tag
    if event.kind in RECORD:
        read, record = RECORD[event.kind]
        body = {"id": key(), "tag": event.tag, "at": at.isoformat(), "by": person.sign_in, **event.more}
        record(session, Sender(unit, at + timedelta(seconds=20), person=person), read(body))
    elif event.kind == "check":
        start_records.keep_prestart(session, unit, motor, key(), _answers(person), person, at)
    elif event.kind == "reset":
        trip = starts.newest_trips(session, motor.id, 1)[0]
        start_records.act_on_trip(session, unit, trip, RELAY_RESET, person, at, None, event.more["found"])
    else:
        OTHERS[event.kind](session, unit, motor, event, at, person, uuid.UUID(key()))


def _turned(session: Session, unit: Unit, motor: Motor, event: Event, at: datetime, person: Person,
            key: uuid.UUID) -> None:
    session.add(starts.ShaftTurn(motor_id=motor.id, at=at, person_id=person.id))
    session.flush()


def _oil(session: Session, unit: Unit, motor: Motor, event: Event, at: datetime, person: Person,
         key: uuid.UUID) -> None:
    oil_records.record(session, unit, motor, person, at, key, oil_records.Given(**event.more))


def _half_way(session: Session, unit: Unit, motor: Motor, event: Event, at: datetime, person: Person,
              key: uuid.UUID) -> None:
    """`days`: how long it is expected to stay so."""
    words = {name: value for name, value in event.more.items() if name != "days"}
    half_way.begin(session, unit, motor, person, at, key=key, expected_end=at + timedelta(days=event.more["days"]),
                   **words)


def _insulation(session: Session, unit: Unit, motor: Motor, event: Event, at: datetime, person: Person,
                key: uuid.UUID) -> None:
    plate = motor.nameplate_at(at)
    session.add(InsulationTest(id=key, unit_id=unit.id, motor_id=motor.id, nameplate_id=plate.id if plate else None,
                               at=at, person_id=person.id, **event.more))
    session.flush()


OTHERS = {"turned": _turned, "oil": _oil, "half-way": _half_way, "insulation": _insulation}


def _answers(person: Person) -> dict[str, dict[str, str]]:
    return {key: {"answer": NOT_NEEDED if item.may_be_left_out else YES, "by": person.name}
            for key, item in BY_KEY.items()}


def tell_dip(session: Session, unit: Unit, at: datetime, head: Person) -> None:
    """A short dip: what restarts by itself did, a few had to be started, the rest rode through."""
    dip = power_dips.log_dip(session, unit, at, at + timedelta(minutes=4), head, story.DIP_REMARKS)
    for i, motor in enumerate(_running(session, unit)):
        word = CAME_BACK if motor.interlock == "low-voltage release" else (
            STARTED if motor.tag in story.DIP_STOPPED else NEVER_STOPPED)
        power_dips.answer(session, unit, dip, motor, word, head, at + timedelta(minutes=5, seconds=25 * i))


def _running(session: Session, unit: Unit) -> list[Motor]:
    return [m for m in motors.motors_of(session, unit.id) if m.condition == facts.RUNNING]


def lock(session: Session, unit: Unit, at: datetime, head: Person) -> None:
    """The lock of the story, put on record with its tag and owner."""
    tag, _, number, owner, why = story.LOCKED
    motor = motors.motor_by_tag(session, unit.id, tag)
    assert motor is not None, tag
    before = motor.condition
    motor.lock_tag, motor.lock_owner = number, owner
    motor.condition, motor.condition_at = facts.LOCKED_OUT, at
    changes.note_change(session, unit_id=unit.id, at=at, person=head, subject="motor", subject_id=motor.id,
                        label=tag, field="condition", before=before,
                        after=f"{facts.LOCKED_OUT}, tag {number}, {owner}", why=why)
    observe(session, motor, facts.LOCKED_OUT, at)
