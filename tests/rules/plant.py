"""One motor and one reading of it, as the rules are given them: P-101A, 75 hp, 87 A, greased, nothing wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from app.rules.facts import Ends, Facts, History, Motor, Nameplate, Reading
from app.rules.findings import Finding
from app.rules.limits import Limits

NOW = datetime(2026, 11, 24, 13, 0, tzinfo=UTC)
PLATE = Nameplate(key=1, rated_amps=87.0, service_factor=1.15, volts=460.0, hp=75.0, hz=60.0, rpm=1780.0, poles=4,
                  insulation_class="F", mounting="rigid", bearing=Ends("6313", "6312"))
MOTOR = Motor(tag="P-101A", nameplate=PLATE, ammeter="one", accepted_normal_feel="warm")
#: everything the round asks, answered, and nothing wrong
QUIET: dict[str, Any] = {
    "smoke": "none", "guard": "in place", "ground": "in place", "leak": "none",
    "vibration_feel": Ends("as usual", "as usual"), "bearing_feel": Ends("warm", "warm"), "winding_feel": "warm",
    "current_a": (78.0,), "lubricant": Ends("ok", "ok"), "cleanliness": "clean", "nameplate_key": 1,
}
LIMITS = Limits()


def reading(state: str = "running", at: datetime = NOW, **seen: Any) -> Reading:
    """A reading with nothing in it but what is said."""
    return Reading(state=state, taken_at=at, **{"nameplate_key": 1, **seen})


def quiet(state: str = "running", at: datetime = NOW, **seen: Any) -> Reading:
    """A complete reading with nothing wrong but what is said."""
    return Reading(state=state, taken_at=at, **{**QUIET, **seen})


def facts(taken: Reading | None, plate: dict[str, Any] | None = None, motor: dict[str, Any] | None = None,
          history: History | None = None, **given: Any) -> Facts:
    """The facts of this motor; plate and motor say what is different about it."""
    fitted = replace(PLATE, **(plate or {}))
    place = replace(MOTOR, nameplate=fitted, **(motor or {}))
    return Facts(motor=place, now=taken.taken_at if taken else NOW, reading=taken, history=history or History(),
                 **given)


def of(rule: str, found: list[Finding]) -> list[tuple[str | None, str]]:
    """End and priority of each finding of one rule."""
    return [(finding.end, finding.priority) for finding in found if finding.rule == rule]
