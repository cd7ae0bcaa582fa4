"""A power dip and what came after it: groups of motors by what they do, answers by named people, starts that count."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app import start_records
from app.entries import Entry
from app.recording import Sender
from app.rules import facts
from app.store import motors, starts
from app.store.base import new_id
from app.store.dips import CAME_BACK, DID_NOT, LEFT_DOWN, STARTED, Dip, DipAnswer
from app.store.motors import Motor
from app.store.people import Person
from app.store.starts import Trip
from app.store.units import Unit

BY_ITSELF = ("low-voltage release", "automatic start")


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
    made = Dip(unit_id=unit.id, at=at, recorded_at=now, person_id=person.id, remarks=remarks)
    session.add(made)
    session.flush()
    return made


def answer(session: Session, unit: Unit, dip: Dip, motor: Motor, word: str, person: Person, now: datetime) -> None:
    """Keeps what a motor did, and counts the start that it was. Said twice, it counts once."""
    before = dip.newest_answers().get(motor.id)
    if before is not None and before.answer == word:
        return
    said = DipAnswer(dip_id=dip.id, motor_id=motor.id, answer=word, at=now, person_id=person.id)
    dip.answers.append(said)
    session.flush()
    if word == CAME_BACK:
        _count(session, unit, dip, motor, "automatic", dip.at, person, now)
    elif word == STARTED:
        _count(session, unit, dip, motor, "ran", now, person, now)
    elif word in (DID_NOT, LEFT_DOWN):
        from app.recording import observe

        observe(session, motor, facts.STANDBY, dip.at)


def _count(session: Session, unit: Unit, dip: Dip, motor: Motor, outcome: str, at: datetime, person: Person,
           now: datetime) -> None:
    entry = Entry(new_id(), motor.tag, person.sign_in, at, None,
                  {"outcome": outcome, "duration_s": None, "then_continuous": False})
    start_records.record_start(session, Sender(unit, now, person=person), entry, dip_id=dip.id)
