"""A motor and its standby partner: how long each ran, when it last proved to run, when its shaft was turned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.rules import elapsed, facts
from app.store import limits, pair_ground
from app.store.motors import Motor
from app.store.pair_ground import Run, Side, Turned


@dataclass(frozen=True)
class PairLine:
    """One of a pair, as of an instant. turn_due: it stands, and neither ran nor was turned by hand for too long."""

    motor: Motor
    run_h: float
    last_run_at: datetime | None
    days_since_run: int | None
    turned: Turned | None
    turn_days: float
    turn_due: bool


def pair_lines(session: Session, motor: Motor, now: datetime) -> tuple[PairLine, PairLine | None]:
    """The motor's line, and that of its partner: the motor that it names, else the one that names it."""
    mine, theirs = pair_ground.pair_of(session, motor, now)
    return _line(session, mine, now), _line(session, theirs, now) if theirs is not None else None


def _line(session: Session, side: Side, now: datetime) -> PairLine:
    motor, turned, last = side.motor, side.turned, last_run(side, now)
    days = limits.limits_at(session, motor.unit_id, motor.id, now).value("spare_shaft_turn_days")
    moved = max(filter(None, (last, turned.at if turned else None)), default=None)
    due = motor.condition == facts.STANDBY and (moved is None or round(elapsed.days(moved, now), 6) >= days)
    return PairLine(motor, run_h(side.run, now), last, None if last is None else (now - last).days, turned, days, due)


def run_h(run: Run | None, now: datetime) -> float:
    """Hours it ran on record, from its first observation on."""
    if run is None:
        return 0.0
    since = (now - run.observed_at).total_seconds() if run.state == facts.RUNNING else 0.0
    return (run.run_s + max(since, 0.0)) / 3600


def last_run(side: Side, now: datetime) -> datetime | None:
    """When it last proved to run: now, seen running, started, or stopped after it ran."""
    if side.motor.condition == facts.RUNNING:
        return now
    seen = [side.seen_running_at] if side.seen_running_at else []
    ran = next((s for s in side.starts if s.outcome in ("ran", "automatic")), None)
    if ran is not None:
        seen += [ran.at + timedelta(seconds=ran.duration_s or 0.0), *(at for at in side.ended if at > ran.at)]
    return max(seen, default=None)
