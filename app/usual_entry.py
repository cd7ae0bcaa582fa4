"""The usual entry: new, the newest of its motor, in a round that is open. Nothing before it changes by it, so it is
stored by its columns and judged by what was found out with one look at its motor.

Everything else (late, corrected, sent again, the first of its shift) goes the whole way, in app/recording.py.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from app import judging
from app.rules import facts
from app.rules.findings import Finding
from app.store import motors, new_reading
from app.store.entry_ground import Ground
from app.store.motors import MotorRun
from app.store.new_reading import NewReading
from app.store.units import Unit


def store(session: Session, unit: Unit, ground: Ground, row: NewReading) -> list[Finding]:
    """Stores and judges it. Raises IntegrityError where another motor's entry took its id in this moment: sent again,
    it is told so."""
    new_reading.store_reading(session, row)
    if not row.skipped and row.state:
        ground = ground._replace(run=_seen(session, ground, row.state, row))
    return judging.judge_newest(session, unit, ground, row)


def _seen(session: Session, ground: Ground, state: str, row: NewReading) -> MotorRun:
    """The motor was found in this state: its condition (a lock stands until it is ended), and how long it has run."""
    if ground.condition != facts.LOCKED_OUT:
        motors.store_condition(session, row.motor_id, state, row.taken_at)
    run = ground.run
    if run is None:
        return motors.begin_run(session, row.motor_id, state, row.taken_at)
    run.observe(state, row.taken_at, exact=False)
    motors.store_run(session, run)
    return run
