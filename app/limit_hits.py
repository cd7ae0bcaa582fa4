"""How the limits in force sit against what was read lately: how often each would be passed, and which never or always.

A limit that everything passes teaches people to look away; one that nothing comes near may be mis-set. Neither is
wrong by that alone: an act-now limit should not be passed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from app.gathering import plate_facts
from app.rules import facts, limit_uses
from app.rules.limits import DEFAULTS, Limits
from app.store import figures, limits, motors
from app.store.units import Unit

WEEKS = 4
#: The newest so many readings are looked at, however many there are.
MOST_READINGS = 10_000
#: Fewer comparisons than this say nothing; passed by this share or more is always.
ENOUGH, ALWAYS = 30, 0.8


@dataclass
class Use:
    """One limit against the readings: how many were held against it, how many passed it, the farthest of them."""

    name: str
    compared: int = 0
    passed: int = 0
    farthest: float | None = None

    def add(self, figure: float, passed: bool) -> None:
        self.compared, self.passed = self.compared + 1, self.passed + passed
        pick = min if self.name in limit_uses.FLOORS else max
        self.farthest = figure if self.farthest is None else pick(self.farthest, figure)

    @property
    def always(self) -> bool:
        return self.compared >= ENOUGH and self.passed >= ALWAYS * self.compared

    @property
    def never(self) -> bool:
        return self.compared >= ENOUGH and not self.passed


def uses(session: Session, unit: Unit, now: datetime, weeks: int = WEEKS) -> dict[str, Use]:
    """By name, those that anything was held against. One pass over the newest readings, two queries more."""
    since, found = now - timedelta(weeks=weeks), {}
    held = Held(session, unit, now)
    seen = 0
    for motor_id, plate_id, reading in figures.running_figures(session, unit.id, since, MOST_READINGS):
        seen += 1
        in_force = held.limits_of(motor_id)
        for name, figure in limit_uses.compared(held.plate(plate_id), reading, in_force):
            found.setdefault(name, Use(name)).add(figure, limit_uses.passes(name, figure, in_force))
    by_rule = figures.findings_by_rule(session, unit.id, since)
    for name, start in limit_uses.WITH_HISTORY.items() if seen else ():
        count = sum(n for rule, n in by_rule.items() if rule.startswith(start))
        found[name] = Use(name, seen, min(count, seen))
    return found


class Held:
    """The unit's plates and the limits in force for each motor now, each worked out once."""

    def __init__(self, session: Session, unit: Unit, now: datetime) -> None:
        self._plates = {plate.id: plate_facts(plate) for motor in motors.motors_of(session, unit.id)
                        for plate in motor.nameplates}
        self._changes = limits.limit_changes(session, unit.id)
        self._now, self._in_force = now, {}
        self._own = {c.motor_id for c in self._changes if c.motor_id is not None}

    def plate(self, plate_id: int | None) -> facts.Nameplate:
        return self._plates.get(plate_id or 0, facts.Nameplate())

    def limits_of(self, motor_id: int) -> Limits:
        key = motor_id if motor_id in self._own else None
        if key not in self._in_force:
            self._in_force[key] = limits.limits_from(self._changes, key, self._now)
        return self._in_force[key]


def always_passed(found: Iterable[Use]) -> list[Use]:
    return sorted((use for use in found if use.always), key=lambda use: -use.passed / use.compared)


def never_passed(found: Iterable[Use]) -> list[Use]:
    """Act now last: that nothing passes those is as it should be."""
    return sorted((use for use in found if use.never), key=lambda use: DEFAULTS[use.name].says.endswith("act now"))
