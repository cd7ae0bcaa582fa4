"""A motor and its standby partner: how long each ran, when it last proved to run, when its shaft was turned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.rules import elapsed, facts
from app.store import limits, motors, rounds, starts
from app.store.motors import Motor, MotorRun
from app.store.starts import ShaftTurn


@dataclass(frozen=True)
class PairLine:
    """One of a pair, as of an instant. turn_due: it stands, and neither ran nor was turned by hand for too long."""

    motor: Motor
    run_h: float
    last_run_at: datetime | None
    days_since_run: int | None
    turned: ShaftTurn | None
    turn_days: float
    turn_due: bool


def partner_of(session: Session, motor: Motor) -> Motor | None:
    """The motor that this one names, else the one that names it."""
    if motor.standby_partner:
        other = motors.motor_by_tag(session, motor.unit_id, motor.standby_partner)
    else:
        other = starts.named_as_partner(session, motor.unit_id, motor.tag)
    return other if other is not None and other.id != motor.id else None


def pair_line(session: Session, motor: Motor, now: datetime) -> PairLine:
    last, turned = last_run(session, motor, now), starts.last_turned(session, motor.id)
    days = limits.limits_at(session, motor.unit_id, motor.id, now).value("spare_shaft_turn_days")
    moved = max(filter(None, (last, turned.at if turned else None)), default=None)
    due = motor.condition == facts.STANDBY and (moved is None or round(elapsed.days(moved, now), 6) >= days)
    return PairLine(motor, run_h(session, motor, now), last, None if last is None else (now - last).days, turned, days,
                    due)


def run_h(session: Session, motor: Motor, now: datetime) -> float:
    """Hours it ran on record, from its first observation on."""
    run = session.get(MotorRun, motor.id)
    if run is None:
        return 0.0
    since = (now - run.observed_at).total_seconds() if run.state == facts.RUNNING else 0.0
    return (run.run_s + max(since, 0.0)) / 3600


def last_run(session: Session, motor: Motor, now: datetime) -> datetime | None:
    """When it last proved to run: now, seen running, started, or stopped after it ran."""
    if motor.condition == facts.RUNNING:
        return now
    seen = [r.taken_at for r in rounds.last_running(session, motor.id, now, 1)]
    ran = next((s for s in starts.newest_starts(session, motor.id, 10, now) if s.outcome in ("ran", "automatic")), None)
    if ran is not None:
        ends = [s.at for s in (*starts.newest_stops(session, motor.id, 1, now),
                               *starts.newest_trips(session, motor.id, 1, now)) if s.at > ran.at]
        seen += [ran.at + timedelta(seconds=ran.duration_s or 0.0), *ends]
    return max(seen, default=None)
