"""What the page at the motor carries so that an entry can be judged there without a network: this motor's limits in
force, how the unit shows its figures, and as of when. The words are in the rule table, the same for every motor.

Figures only: no earlier reading travels with the page.
"""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy.orm import Session

from app.gathering import motor_facts
from app.observing import condition_then
from app.rules.limits_in_force import limits_in_force, scales
from app.rules.rule_table import SHAPE, rule_table
from app.store.limits import LimitChange, limit_changes, limits_from
from app.store.motors import Motor
from app.store.units import Unit


def judge_facts(session: Session, unit: Unit, motor: Motor, at: datetime,
                changes: list[LimitChange] | None = None) -> dict[str, Any]:
    """One motor as judge.js takes it. `limits_version` changes with any figure that its findings compare with.

    changes: every change of the unit's limits, where they are known already.
    """
    place = motor_facts(motor, at, [], None)  # no limit asks how long it ran
    condition = condition_then(session, motor, at)
    figures = limits_in_force(place, condition, limits_from(
        limit_changes(session, unit.id) if changes is None else changes, motor.id, at))
    shift = unit.calendar.shift_of(at)
    return {**figures, "shape": SHAPE, "as_of": at.isoformat(timespec="seconds"),
            "shift": {"date": shift.date.isoformat(), "name": shift.name}, "show": scales(unit.show),
            "limits_version": version_of(figures)}


def version_of(data: Any) -> str:
    """Twelve characters that change with the data."""
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()[:12]


@cache
def rules_version() -> str:
    """Of the words that travel in the rule table."""
    return version_of(rule_table())
