"""A crew that enters what it finds, by the same code as the page, the tablet and the JSON door; any database.

Times are the plant's: `day(0)` is 07:12 of Tuesday 24 November 2026 in Chicago, `night(0)` twelve hours later, each
the first hour of a round.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session, joinedload

from app import recording, reviewing, sheets
from app.db import Database
from app.entries import read_greasing, read_reading
from app.observing import observe
from app.recording import Recorded, Sender
from app.store import flags, motors
from app.store.changes import note_change
from app.store.flags import Flag, Note
from app.store.people import Person, Token
from app.store.rounds import Round
from app.store.units import Unit
from tests import factories

TAG = "P-101A"
#: A walk-round entry of a running motor with every check answered and nothing wrong.
QUIET: dict[str, Any] = {
    "state": "running", "smoke": "none", "guard": "in place", "ground": "in place", "leak": "none",
    "vibration_feel": {"DE": "as usual", "ODE": "as usual"}, "bearing_feel": {"DE": "warm", "ODE": "warm"},
    "winding_feel": "warm", "current_a": [78.0], "lubricant": {"DE": "ok", "ODE": "ok"}, "cleanliness": "clean",
}


def day(number: float, **later: float) -> datetime:
    """07:12 of the day shift, that many days after the first; further by hours=, minutes=."""
    return factories.NOW + timedelta(days=number) + timedelta(**later)


def night(number: float, **later: float) -> datetime:
    """19:12 of the night shift."""
    return day(number, hours=12) + timedelta(**later)


def reading_body(at: datetime = factories.NOW, **fields: Any) -> dict[str, Any]:
    """The least a reading has, with a new id; `fields` say more, or something else."""
    return {"id": str(uuid.uuid4()), "tag": TAG, "taken_at": at.isoformat(), "by": "operator", "state": "running",
            **fields}


def greasing_body(at: datetime = factories.NOW, **fields: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "tag": TAG, "end": "DE", "at": at.isoformat(), "by": "operator",
            "lubricant": "motor grease NLGI 2", "grams": 30.0, **fields}


def at_once(works: list[Callable[[], Any]]) -> list[Any]:
    """What each gave or raised, all let go in the same moment."""
    gate = threading.Barrier(len(works))

    def run(work: Callable[[], Any]) -> Any:
        gate.wait(timeout=30)
        try:
            return work()
        except Exception as error:
            return error

    with ThreadPoolExecutor(len(works)) as pool:
        return list(pool.map(run, works))


class Crew:
    """A unit with its three roles and one running motor, P-101A, without a lubrication chart unless told."""

    def __init__(self, database: Database, greased: bool = False, **unit: Any) -> None:
        self.database = database
        with database.writing() as session:
            made = factories.make_unit(session, **unit)
            people = [factories.make_person(session, made, role)
                      for role in ("operator", "head operator", "supervisor")]
            factories.make_motor(session, made, TAG, route_order=1.0, greased=greased)
            self.token_row = Token(unit_id=made.id, name="control room", scope="record", hash="x",
                                   created_at=factories.LONG_AGO)
            session.add(self.token_row)
            session.commit()
        self.unit: Unit = made
        self.operator, self.head_operator, self.supervisor = people

    @contextmanager
    def writing(self) -> Any:
        """A session that is committed at the end."""
        with self.database.writing() as session:
            yield session
            session.commit()

    def motor(self, tag: str = TAG, **columns: Any) -> motors.Motor:
        """One more motor; without columns the one of this tag."""
        with self.writing() as session:
            found = motors.motor_by_tag(session, self.unit.id, tag)
            return found or factories.make_motor(session, self.unit, tag, **{"greased": False, **columns})

    def point(self, end: str = "DE", tag: str = TAG, **columns: Any) -> None:
        """A line of the lubrication chart."""
        with self.writing() as session:
            factories.make_point(session, motors.motor_by_tag(session, self.unit.id, tag), end, **columns)  # type: ignore[arg-type]

    # entering ----------------------------------------------------------------------------------------------

    def enter(self, body: dict[str, Any], received: datetime | None = None, person: Person | None = None,
              token: Token | None = None) -> Recorded:
        """Takes a body in as a page (person) or the door (token) does; received a moment after it was taken."""
        kind = "taken_at" if "taken_at" in body else "at"
        received = received or datetime.fromisoformat(body[kind]) + timedelta(seconds=5)
        sender = Sender(self.unit, received, None if token else person or self.operator, token)
        with self.writing() as session:
            if kind == "taken_at":
                return recording.record_reading(session, sender, read_reading(body))
            return recording.record_greasing(session, sender, read_greasing(body))

    def read(self, at: datetime, received: datetime | None = None, person: Person | None = None, tag: str = TAG,
             **seen: Any) -> Recorded:
        """A complete walk-round entry with nothing wrong but what is said; a None takes the field out."""
        who = person or self.operator
        fields = {k: v for k, v in {**QUIET, **seen}.items() if v is not None}
        return self.enter(reading_body(at, tag=tag, by=who.sign_in, **fields), received, who)

    def look(self, at: datetime, received: datetime | None = None, **seen: Any) -> Recorded:
        """An entry of a running motor that holds only what is said."""
        return self.enter(reading_body(at, **seen), received)

    def by_token(self, at: datetime, tag: str = TAG, **seen: Any) -> Recorded:
        return self.enter(reading_body(at, tag=tag, **seen), token=self.token_row)

    def skip(self, at: datetime, tag: str = TAG) -> Recorded:
        return self.enter(reading_body(at, tag=tag, state=None, skip_reason="no access"))

    def hot(self, at: datetime, *de_c: float, received: datetime | None = None, **seen: Any) -> list[Recorded]:
        """The drive end's bearing by a contact probe, one reading a round from an instant on, day and night."""
        return [self.read(at + timedelta(hours=12 * i), received, bearing_temp_c={"DE": c}, bearing_feel=None,
                          method="contact", **seen) for i, c in enumerate(de_c)]

    def correct(self, old: Recorded, at: datetime, received: datetime | None = None, person: Person | None = None,
                **seen: Any) -> Recorded:
        """A correction of an entry; received half an hour later unless told."""
        return self.read(at, received or at + timedelta(minutes=30), person, replaces=str(old.id),
                         replaces_why="slip of the pen", **seen)

    def grease(self, at: datetime, received: datetime | None = None, **fields: Any) -> Recorded:
        return self.enter(greasing_body(at, **fields), received)

    # what stands -------------------------------------------------------------------------------------------

    def flags(self, rule: str | None = None, tag: str = TAG) -> list[Flag]:
        """Every flag of a motor, open or closed, the oldest first."""
        with self.database.reading() as session:
            query = sa.select(Flag).join(Flag.motor).where(motors.Motor.tag == tag).order_by(Flag.id)
            found = session.scalars(query.options(joinedload(Flag.motor))).all()
            return [f for f in found if rule in (None, f.rule)]

    def flag(self, rule: str, end: str = "", tag: str = TAG) -> Flag:
        """The newest flag of one rule and end."""
        return [f for f in self.flags(rule, tag) if f.end == end][-1]

    def state(self, rule: str, end: str = "") -> str:
        return self.flag(rule, end).state(day(999))

    def notes(self, flag: Flag) -> list[tuple[str, str]]:
        with self.database.reading() as session:
            return [(n.kind, n.text) for n in flags.notes_of(session, flag.id)]

    def everything(self) -> list[tuple[Any, ...]]:
        """All findings, flags, sightings and notes, to compare."""
        with self.database.reading() as session:
            rows: list[tuple[Any, ...]] = []
            for kind in (flags.Finding, Flag, flags.Sighting, Note):
                columns = [c for c in sa.inspect(kind).columns if c.name not in ("id", "version") or kind is Flag]
                found = session.execute(sa.select(*columns))
                rows += sorted((kind.__name__, *(str(value) for value in row)) for row in found)
            return rows

    # people's acts -----------------------------------------------------------------------------------------

    def see(self, flag: Flag, at: datetime) -> None:
        with self.writing() as session:
            reviewing.mark_seen(session, session.get_one(Flag, flag.id), self.head_operator, at)

    def close(self, flag: Flag, at: datetime, words: str = "bearing changed") -> None:
        with self.writing() as session:
            reviewing.close(session, session.get_one(Flag, flag.id), self.head_operator, at, words)

    def open_sheet(self, at: datetime) -> Round:
        with self.writing() as session:
            return recording.open_sheet(session, self.unit, at, self.operator)

    def sign(self, at: datetime, signed_at: datetime | None = None) -> sheets.Sheet:
        """The head operator signs the sheet of the shift that holds `at`."""
        with self.writing() as session:
            opened = recording.open_sheet(session, self.unit, at, self.operator)
            return reviewing.sign(session, self.unit, opened, self.head_operator, signed_at or at)

    def sheet(self, at: datetime) -> dict[str, str]:
        """Tag -> status on the sheet of the shift that holds `at`."""
        with self.writing() as session:
            opened = recording.open_sheet(session, self.unit, at, self.operator)
            return {row.motor.tag: row.status for row in sheets.sheet_of(session, self.unit, opened, at).rows}

    def set_condition(self, at: datetime, condition: str, tag: str = TAG) -> None:
        """A named act, as the motor's page keeps it."""
        with self.writing() as session:
            motor = motors.motor_by_tag(session, self.unit.id, tag)
            assert motor is not None
            note_change(session, unit_id=self.unit.id, at=at, person=self.head_operator, subject="motor",
                        subject_id=motor.id, label=motor.tag, field="condition", before=motor.condition,
                        after=condition, why="told")
            motor.condition, motor.condition_at = condition, at
            observe(session, motor, condition, at)

    def condition(self, tag: str = TAG) -> tuple[str | None, datetime | None]:
        with self.database.reading() as session:
            motor = motors.motor_by_tag(session, self.unit.id, tag)
            assert motor is not None
            return motor.condition, motor.condition_at


def count(session: Session, kind: type[Any]) -> int:
    return session.scalar(sa.select(sa.func.count()).select_from(kind)) or 0
