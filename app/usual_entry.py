"""The usual entry: new, the newest of its motor, in a round that is open. Nothing before it changes by it, so it is
stored by its columns and judged by what was found out with one look at its motor.

Everything else (late, corrected, sent again, the first of its shift) goes the whole way, in app/recording.py.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy.orm import Session

from app import judging
from app.rules import facts
from app.rules.findings import Finding
from app.store import entry_ground, flags, motors, new_reading
from app.store.entry_ground import Ground, Lately
from app.store.motors import MotorRun, SeenRun
from app.store.new_reading import NewReading
from app.store.prepared import Question, ask_together
from app.store.units import Unit


def store(session: Session, unit: Unit, ground: Ground, row: NewReading) -> list[Finding]:
    """Stores and judges it. ground: with the running readings before.

    Raises IntegrityError where another motor's entry took its id in this moment: sent again, it is told so.
    """
    kept: list[Question[Any]] = [new_reading.storing(row)]
    if not row.skipped and row.state:
        run = _seen(session, ground, row.state, row)
        # A lock stands until it is ended; whatever else a motor is found in, is its condition.
        locked = ground.condition == facts.LOCKED_OUT
        kept += [] if locked else [motors.storing_condition(row.motor_id, row.state, row.taken_at)]
        kept += [motors.storing_run(run)]
        ground = ground._replace(run=run)
    # Asked behind the entry: it waits, as it is stored, for whoever signs its round, and sees what they flagged.
    *_, standing, greased, by_person = ask_together(
        session, *kept, flags.asking_open_on(row.motor_id), *entry_ground.asking_done_before(ground, row.person_id))
    ground = ground._replace(lately=Lately(ground.running or [], greased, by_person))
    return judging.judge_newest(session, unit, ground, row, standing)


def _seen(session: Session, ground: Ground, state: str, row: NewReading) -> MotorRun | SeenRun:
    """How long the motor has run, now that it was found in this state."""
    run = ground.run
    if run is None:
        return motors.begin_run(session, row.motor_id, state, row.taken_at)
    run.observe(state, row.taken_at, exact=False)
    return run
