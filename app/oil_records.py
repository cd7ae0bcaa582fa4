"""Oil at a bearing: a level looked at, a top-up, a renewal; and a motor that drinks found out.

A renewal also moves the due date: it is kept as the greasing of that end, which in oil means the oil renewed.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app import flagging, recording
from app.entries import read_greasing
from app.flagging import Cause
from app.oil_judging import history
from app.recording import Sender
from app.rules import facts, greased, lubricant
from app.rules import oil as rule
from app.rules.findings import Finding
from app.rules.limits import Limits
from app.rules.oil import Drinking, TopUp
from app.store import limits, oil
from app.store.motors import LubricationPoint, Motor
from app.store.oil import LEVEL, RENEWED, TOP_UP, OilEntry
from app.store.people import Person
from app.store.units import Unit

#: What a level beside the mark means in the words of the round's own look.
LEVEL_WORDS = {"below the mark": "low", "above the mark": "high"}


@dataclass(frozen=True)
class Given:
    """One oil entry as read from the form."""

    end: str
    kind: str
    level: str | None = None
    mark: str | None = None
    amount_ml: float | None = None
    lubricant: str | None = None
    remarks: str = ""


def record(session: Session, unit: Unit, motor: Motor, person: Person, now: datetime, key: uuid.UUID,
           given: Given) -> tuple[OilEntry, bool]:
    """Stores an entry once, judges it, and for a renewal moves the due date. False: it was there before."""
    there = oil.oil_entry_by_id(session, unit.id, key)
    if there is not None:
        return there, False
    row = OilEntry(id=key, unit_id=unit.id, motor_id=motor.id, end=given.end, at=now, received_at=now, kind=given.kind,
                   level=given.level, mark=given.mark, amount_ml=given.amount_ml, lubricant=given.lubricant,
                   remarks=given.remarks, person_id=person.id)
    if not recording.add_once(session, row):
        return session.get_one(OilEntry, key), False
    if given.kind == RENEWED:
        _renew(session, unit, motor, person, row)
    in_force = limits.limits_at(session, unit.id, motor.id, now)
    found = [*_level_findings(unit, motor, row), *_wrong_oil(unit, motor, row, in_force),
             *_drinks(session, unit, motor, row, in_force)]
    flagging.raise_flags(session, unit, motor, Cause("oil", key, now, now, person.id), found)
    session.flush()
    return row, True


def _renew(session: Session, unit: Unit, motor: Motor, person: Person, row: OilEntry) -> None:
    entry = read_greasing({"id": str(uuid.uuid5(row.id, "renewed")), "tag": motor.tag, "end": row.end,
                           "at": row.at.isoformat(), "lubricant": row.lubricant, "by": person.sign_in})
    recording.record_greasing(session, Sender(unit, row.received_at, person=person), entry)


def _level_findings(unit: Unit, motor: Motor, row: OilEntry) -> list[Finding]:
    """A level beside its mark is what the round's own look calls low or high. After a top-up it is no finding."""
    word = LEVEL_WORDS.get(row.level or "") if row.kind == LEVEL else None
    if word is None:
        return []
    at = facts.Ends(word, None) if row.end == "DE" else facts.Ends(None, word)
    state = facts.RUNNING if row.mark == oil.MARKS[0] else facts.STANDBY
    seen = facts.Reading(state, row.at, lubricant=at)
    return lubricant.check(facts.Facts(facts.Motor(motor.tag), row.at, seen, show=unit.show), Limits())


def _wrong_oil(unit: Unit, motor: Motor, row: OilEntry, in_force: Limits) -> list[Finding]:
    """A renewal is judged where it is recorded; a top-up here."""
    if row.kind != TOP_UP or row.lubricant is None:
        return []
    line = motor.point(row.end)
    chart = facts.LubricationPoint(kind=greased.OIL, lubricant=line.lubricant if line else None)
    ends = facts.Ends(chart, None) if row.end == "DE" else facts.Ends(None, chart)
    given = facts.Facts(facts.Motor(motor.tag, lubrication=ends), row.at, show=unit.show)
    return greased.check_greasing(facts.Greasing(row.end, row.at, row.lubricant), given, in_force)


def _drinks(session: Session, unit: Unit, motor: Motor, row: OilEntry, in_force: Limits) -> list[Finding]:
    if row.kind != TOP_UP:
        return []
    taken, since = history(session, unit, row.at, in_force, motor.id)
    at = (motor.id, row.end)
    return rule.check_top_ups(row.end, taken.get(at, ()), since.get(at), row.at, in_force, unit.show)


# for the pages ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OilLine:
    """One bearing in oil: its newest level, and what it takes."""

    motor: Motor
    line: LubricationPoint
    level: OilEntry | None
    drinking: Drinking
    top_ups: Sequence[TopUp]


def lines(session: Session, unit: Unit, now: datetime) -> list[OilLine]:
    """Every bearing in oil, in walking order. Five queries."""
    changes = limits.limit_changes(session, unit.id)
    taken, since = history(session, unit, now, limits.limits_from(changes, None, now))
    levels = oil.newest_levels(session, unit.id)
    found = []
    for line, motor in oil.oil_lines(session, unit.id):
        at, in_force = (motor.id, line.end), limits.limits_from(changes, motor.id, now)
        here = taken.get(at, [])
        found.append(OilLine(motor, line, levels.get(at), rule.drinking(here, since.get(at), now, in_force), here))
    return found


def drinking_of(session: Session, unit: Unit, motor: Motor, now: datetime) -> dict[str, Drinking]:
    """What each end of one motor takes, against its own normal."""
    in_force = limits.limits_at(session, unit.id, motor.id, now)
    taken, since = history(session, unit, now, in_force, motor.id)
    return {end: rule.drinking(taken.get((motor.id, end), ()), since.get((motor.id, end)), now, in_force)
            for end in facts.ENDS}
