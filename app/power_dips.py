"""A power dip and what came after it: groups of motors by what they do, answers by named people, starts that count."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app import start_records
from app.entries import Entry
from app.observing import observe
from app.recording import Sender
from app.rules import facts
from app.store import dips, motors, starts
from app.store.base import new_id
from app.store.dips import CAME_BACK, NEVER_STOPPED, STARTED, Dip, DipAnswer
from app.store.motors import Motor
from app.store.people import Person
from app.store.starts import Trip
from app.store.units import Unit

BY_ITSELF = ("low-voltage release", "automatic start")
#: Two tablets that log the voltage going within this time mean one dip.
ONE_DIP = timedelta(seconds=60)


@dataclass(frozen=True)
class Groups:
    """The unit's motors by what a dip makes them do."""

    stay_clear: list[Motor]
    need_start: list[Motor]
    relays: list[Trip]
    apart: list[Motor]
    unknown: list[Motor]


def groups(session: Session, unit: Unit, now: datetime) -> Groups:
    register = motors.motors_of(session, unit.id)
    apart = [m for m in register if m.condition in (facts.LOCKED_OUT, facts.OUT_OF_SERVICE)]
    here = [m for m in register if m not in apart]
    need = [m for m in here if m.interlock == "low-voltage protection"]
    need.sort(key=lambda m: (m.restart_order is None, m.restart_order or 0.0))  # stable: then walking order
    return Groups([m for m in here if m.interlock in BY_ITSELF], need, starts.relays_to_reset(session, unit.id), apart,
                  [m for m in here if m.interlock is None])


def log_dip(session: Session, unit: Unit, at: datetime, now: datetime, person: Person, remarks: str) -> Dip:
    """The dip of that moment, logged once however many people press."""
    there = next((d for d in dips.newest_dips(session, unit.id, 20) if abs(d.at - at) < ONE_DIP), None)
    if there is not None:
        return there
    made = Dip(unit_id=unit.id, at=at, recorded_at=now, person_id=person.id, remarks=remarks)
    session.add(made)
    session.flush()
    return made


def answer(session: Session, unit: Unit, dip: Dip, motor: Motor, word: str, person: Person, now: datetime) -> None:
    """Keeps what a motor did, and counts the start that it was. Said twice, it counts once."""
    before = dip.newest_answers().get(motor.id)
    if before is not None and before.answer == word:
        return
    dip.answers.append(DipAnswer(dip_id=dip.id, motor_id=motor.id, answer=word, at=now, person_id=person.id))
    session.flush()
    sender = Sender(unit, now, person=person)
    if word == CAME_BACK:
        _came_back(session, sender, dip, motor)
    elif word != NEVER_STOPPED:
        _went_down(session, sender, dip, motor)
        if word == STARTED:
            _count(session, sender, dip, motor, "ran", now)


def _came_back(session: Session, sender: Sender, dip: Dip, motor: Motor) -> None:
    """An automatic start at the dip, counted once however often the answer is put right."""
    if starts.start_at_dip(session, dip.id, motor.id) is None:
        _count(session, sender, dip, motor, "automatic", dip.at)
    else:
        observe(session, motor, facts.RUNNING, dip.at)


def _went_down(session: Session, sender: Sender, dip: Dip, motor: Motor) -> None:
    """Somebody says that the dip stopped it: where it ran on record, that is a stop, from which rest is counted."""
    if start_records.condition_on_record(session, motor, dip.at)[0] != facts.RUNNING:
        return
    assert sender.person is not None
    entry = Entry(new_id(), motor.tag, sender.person.sign_in, dip.at, None, {})
    start_records.record_stop(session, sender, entry)


def _count(session: Session, sender: Sender, dip: Dip, motor: Motor, outcome: str, at: datetime) -> None:
    assert sender.person is not None
    entry = Entry(new_id(), motor.tag, sender.person.sign_in, at, None,
                  {"outcome": outcome, "duration_s": None, "then_continuous": False})
    start_records.record_start(session, sender, entry, dip_id=dip.id)
