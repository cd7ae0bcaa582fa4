"""What the round requires at a motor, and `not_measured`: what it required and nobody answered.

Running: smoke, guard, ground, vibration and bearing at each end (felt or measured), winding (felt or measured), amps
where there is a meter at the motor, lubricant at each end that is not sealed, cleanliness. Standby: smoke, guard,
ground, lubricant, cleanliness. Out of service and locked out: nothing. What reports to the control room needs no
typing at the motor. "not fitted", "could not read" and "could not feel" are answers; a blank is not.
"""

from __future__ import annotations

from functools import cache

from app.rules.facts import ENDS, RUNNING, STANDBY, Facts, Motor, Reading
from app.rules.findings import THIS_SHIFT, Finding
from app.rules.limits import Limits

RULE = "not_measured"
SOURCE = "the round's own list"
PER_END = ("vibration", "bearing", "lubricant")
#: check: the fields of a reading that answer it; an end is added after a dot
FIELDS = {
    "smoke": ("smoke",),
    "guard": ("guard",),
    "ground": ("ground",),
    "vibration": ("vibration_feel", "vibration_mm_s"),
    "bearing": ("bearing_feel", "bearing_temp_c"),
    "winding": ("winding_feel", "winding_temp_c"),
    "current_a": ("current_a",),
    "lubricant": ("lubricant",),
    "cleanliness": ("cleanliness",),
}
WORDS = {"current_a": "amps"}
SAYS = "Not measured and no reason given: {checks} ({source}). Measure, or give the reason."


def required(motor: Motor, state: str) -> tuple[str, ...]:
    """The checks the round requires in this state: "smoke", "vibration.DE", "current_a", ... in walking order."""
    if state not in (RUNNING, STANDBY):
        return ()
    looks = ["smoke", "guard", "ground"]
    touches = [f"{what}.{end}" for what in ("vibration", "bearing") for end in ENDS] + ["winding"]
    amps = ["current_a"] if motor.ammeter in ("one", "three") else []
    oils = [f"lubricant.{end}" for end in ENDS if not _sealed(motor, end)]
    running = [*touches, *amps] if state == RUNNING else []
    names = [*looks, *running, *oils, "cleanliness"]
    if not motor.by_control_room:
        return tuple(names)
    return tuple(name for name in names if not any(key in motor.by_control_room for key in _keys(name)))


def answered(reading: Reading, check: str) -> bool:
    """A value, "could not feel", or a reason stands for this check."""
    what, _, end = check.partition(".")
    for field in FIELDS[what]:
        if _has(reading, field, end):
            return True
    return not reading.unread.keys().isdisjoint(_keys(check))


def missing(motor: Motor, reading: Reading) -> tuple[str, ...]:
    """The required checks that were left without value or reason."""
    return tuple(check for check in required(motor, reading.state) if not answered(reading, check))


def check(facts: Facts, limits: Limits) -> list[Finding]:
    if facts.reading is None or not facts.walked:
        return []
    left = missing(facts.motor, facts.reading)
    if not left:
        return []
    says = SAYS.format(checks=_words(left), source=SOURCE)
    return [Finding(RULE, None, THIS_SHIFT, None, None, None, SOURCE, says)]


def _sealed(motor: Motor, end: str) -> bool:
    point = motor.lubrication[end]
    return point is not None and point.kind == "sealed"


@cache
def _keys(check: str) -> tuple[str, ...]:
    """The field names that may hold a reason or report to the control room: whole, and at this end."""
    what, _, end = check.partition(".")
    return tuple(key for field in FIELDS[what] for key in ((field, f"{field}.{end}") if end else (field,)))


def _has(reading: Reading, field: str, end: str) -> bool:
    value = getattr(reading, field)
    return value[end] is not None if end else value not in (None, ())


def _words(checks: tuple[str, ...]) -> str:
    """Both ends of one check as one: "vibration both ends"."""
    said: list[str] = []
    for check in checks:
        what, _, end = check.partition(".")
        name = WORDS.get(what, what)
        both = all(f"{what}.{each}" in checks for each in ENDS)
        text = f"{name} both ends" if both else f"{name} {end}".strip()
        if text not in said:
            said.append(text)
    return ", ".join(said)
