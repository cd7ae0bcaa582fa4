"""Fills an empty database with the demo: an invented unit, weeks of rounds, and flags that stand.

`python seed_demo.py` fills this folder's instance, as `round-sheet serve --demo` does before it serves. Everything
goes the way of users' entries: read strictly, recorded once, judged, reviewed, signed. The plant stands in
app/demo/plant.py, an ordinary round in walk.py, what was out of the ordinary in story.py, how it is told in teller.py.
"""

from __future__ import annotations

import secrets
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import guessing
from app.config import load
from app.db import Database
from app.demo import plant, story
from app.demo.plant import UNIT
from app.demo.teller import Teller
from app.rules import facts, shifts
from app.rules.shifts import Shift
from app.store import chart, guns, limits, motors, people, register, units
from app.store.changes import Change, note_change
from app.store.people import Token

__all__ = ["UNIT", "seed", "who_can_sign_in"]

WEEKS = 6
TOKEN = "control room panel"
#: The change that is noted when the demo is filled to its end.
FILLED = "demo"


def who_can_sign_in() -> str:
    """The demo's people: sign-in name, secret, role."""
    lines = [f"{p.sign_in:<8}{p.secret:<20}{p.role:<15}{p.name} ({p.crew})" for p in plant.PEOPLE]
    return "\n".join([f"{UNIT}. These can sign in:", f"{'name':<8}{'secret':<20}role", *lines])


def seed(database: Database, now: datetime, say: Callable[[str], None], weeks: float = WEEKS) -> None:
    """Adds the demo unit and its history up to `now`; the same for the same `now`. The database must not hold it yet.

    One transaction a round, so that a slow disk shows progress and an interrupted run leaves whole rounds.
    """
    now = now.astimezone(UTC).replace(microsecond=0)
    history = _shifts(now, weeks)
    hashes = {p.sign_in: guessing.hash_secret(p.secret) for p in plant.PEOPLE}  # slow on purpose: before any writing
    with database.writing() as session:
        _add_plant(session, history[0].starts_at - timedelta(hours=20), now, hashes)
        session.commit()
    say(f"{UNIT}: {len(list(plant.places()))} motors, {len(plant.PEOPLE)} people.")
    told = Teller(now, len(history))
    for ago, shift in zip(range(len(history) - 1, -1, -1), history, strict=True):
        with database.writing() as session:
            told.shift(session, shift, ago)
            session.commit()
        if ago % 14 == 0:
            done = "this shift" if ago == 0 else f"{ago // 14} weeks ago"
            say(f"Rounds up to {done}: {told.entries} entries.")
    with database.writing() as session:
        unit = units.unit_named(session, UNIT)
        assert unit is not None
        note_change(session, unit_id=unit.id, at=now, person=None, subject="unit", subject_id=unit.id, label=UNIT,
                    field=FILLED, before=None, after="complete")
        session.commit()


def complete(session: Session) -> bool:
    """Whether the demo was filled to its end; one that was interrupted has whole rounds, and too few of them."""
    return session.scalar(sa.select(sa.exists().where(Change.subject == "unit", Change.field == FILLED))) or False


def begin_again(database: Database) -> str:
    """What to do about a demo that was not filled to its end."""
    where = f"the file {database.url.database}" if database.is_sqlite else f"what is in the database {database.shown}"
    return (f"The demo in this database was not filled to its end: it was interrupted, or an older version made it. To "
            f"begin again stop every server, remove {where}, and start once more with --demo. Without --demo "
            "it is served as it is.")


def _shifts(now: datetime, weeks: float) -> list[Shift]:
    """The shifts of these weeks, the present one last."""
    pattern = shifts.Pattern(tuple(shifts.ShiftStart(name, at) for name, at in plant.SHIFTS))
    calendar = shifts.Calendar(plant.ZONE, (pattern,))
    whole = list(calendar.between(now - timedelta(weeks=weeks), calendar.shift_of(now).starts_at))
    if whole and whole[0].name != plant.SHIFTS[0][0]:
        del whole[0]  # the history begins with a day
    return [*whole, calendar.shift_of(now)]


# the plant -------------------------------------------------------------------------------------------------


def _add_plant(session: Session, began: datetime, now: datetime, hashes: dict[str, str]) -> None:
    starts = [shifts.ShiftStart(name, at) for name, at in plant.SHIFTS]
    unit = units.add_unit(session, UNIT, plant.ZONE, starts, began, temperature="F")
    for who in plant.PEOPLE:
        people.add_person(session, who.sign_in, who.name, who.role, hashes[who.sign_in], [unit], began)
    # Nobody learns this token: the panel's entries come from here alone.
    session.add(Token(unit_id=unit.id, name=TOKEN, scope="record", created_at=began,
                      hash=guessing.hash_token(secrets.token_urlsafe(32))))
    supervisor = people.person_by_sign_in(session, "pat")
    zone = unit.calendar.zone
    first_day, today = began.astimezone(zone).date(), now.astimezone(zone).date()
    for order, place in enumerate(plant.places(), start=1):
        edit = register.save_motor(session, unit, None, plant.cells(place, order, first_day, today), supervisor, began)
        if place.tag in plant.RUNS_HOT and edit.motor is not None:
            edit.motor.accepted_normal_feel = "hot"
    for place_in_order, tag in enumerate(story.RESTART_ORDER, start=1):
        motor = motors.motor_by_tag(session, unit.id, tag)
        assert motor is not None, tag
        motor.restart_order = float(place_in_order)
    for name, stroke_g, lubricant, thickener in plant.GUNS:
        guns.save_gun(session, unit.id, None, supervisor, began, name=name, stroke_g=stroke_g, lubricant=lubricant,
                      thickener=thickener)
    for tag in plant.GREASED_RUNNING:
        motor = motors.motor_by_tag(session, unit.id, tag)
        assert motor is not None, tag
        for end in facts.ENDS:
            chart.change_line(session, motor, end, {"greased_while": "running", "drain_plug": True}, supervisor, began,
                              "maker's manual")
    tag, name, value, why = story.OWN_LIMIT
    limits.change_limit(session, unit, name, value, tag, why, supervisor, began)


def main() -> int:
    """Fills the instance of this folder, unless something is in its database already."""
    def say(text: str) -> None:
        print(text, file=sys.stderr)

    database = Database(load(create=True).url)
    try:
        database.upgrade()
        with database.reading() as session:
            there, half = [unit.name for unit in units.all_units(session)], not complete(session)
        if UNIT in there and half:
            say(begin_again(database))
            return 1
        if there:
            say(f"The database is not empty ({', '.join(there)}): nothing was added.")
            return 1
        seed(database, datetime.now(UTC), say)
        print(who_can_sign_in())
        return 0
    finally:
        database.close()


if __name__ == "__main__":
    raise SystemExit(main())
