"""Motors and their records of starts, as the start rules are given them: local times of one day in America/Chicago."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.rules.facts import Nameplate
from app.rules.limits import Limits
from app.rules.starting import Permission, start_permission
from app.rules.starting_facts import RAN, TABLE, StartHistory, StartPlan, StartRecord

CHICAGO = ZoneInfo("America/Chicago")
LIMITS = Limits()
LONG_AGO = datetime(2026, 11, 1, 12, 0, tzinfo=CHICAGO)
BY_PRACTICE, BY_TABLE = StartPlan(), StartPlan(basis=TABLE)
P101A = Nameplate(hp=75.0, poles=4)
K201 = Nameplate(hp=250.0, poles=2)
G305 = Nameplate(hp=25.0, poles=4)


def at(clock: str) -> datetime:
    """10:41 or 10:41:30 on the day of the cases."""
    hour, minute, second = (int(part) for part in (clock + ":00").split(":")[:3])
    return datetime(2026, 11, 24, hour, minute, second, tzinfo=CHICAGO)


def plate(hp: float | None, poles: int | None = 4) -> Nameplate:
    return Nameplate(hp=hp, poles=poles)


def ran(clock: str, minutes: float) -> StartRecord:
    """Started and ran so many minutes."""
    return StartRecord(at(clock), RAN, minutes * 60.0)


def did(outcome: str, *clocks: str, duration_s: float | None = None) -> tuple[StartRecord, ...]:
    return tuple(StartRecord(at(clock), outcome, duration_s) for clock in clocks)


def record(*starts: StartRecord, stops: tuple[str, ...] = (), **known: Any) -> StartHistory:
    """A motor that stands, in use for weeks."""
    return StartHistory(**{"starts": starts, "stops": tuple(at(stop) for stop in stops),
                           "seen_running_at": LONG_AGO, **known})


def ask(clock: str | datetime, history: StartHistory, motor: Nameplate, plan: StartPlan = BY_PRACTICE,
        then_continuous: bool = False, limits: Limits = LIMITS) -> Permission:
    now = at(clock) if isinstance(clock, str) else clock
    return start_permission(motor, plan, history, now, then_continuous=then_continuous, limits=limits)


def told(permission: Permission) -> str:
    """The answer in short: yes, not before 11:00:00, no, find the cause."""
    when = permission.not_before
    return permission.verdict if when is None else f"{permission.verdict} {when.astimezone(CHICAGO):%H:%M:%S}"


def later(clock: str, **by: float) -> datetime:
    """So much elapsed time after that."""
    return (at(clock).astimezone(ZoneInfo("UTC")) + timedelta(**by)).astimezone(CHICAGO)
