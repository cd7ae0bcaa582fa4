"""`smoke`, `guard_or_ground` and `dirty`: what the eye finds before a hand goes anywhere; running or not.

Smoke, sparks or a burning smell, and a coupling guard or ground wire missing or loose: act now. Dusty: watch. Oily, or
vents blocked: this shift. Common practice, no published source; the duties behind them are OSHA 29 CFR 1910.212 and
1910.219 for guards (named in OSHA letters).
"""

from __future__ import annotations

from app.rules.facts import Facts, Reading
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH, Finding
from app.rules.limits import PRACTICE, Limits

SMOKE = "smoke"
GUARD = "guard_or_ground"
DIRTY = "dirty"
DIRT = {
    "dusty": (WATCH, "Note it for cleaning."),
    "oily": (THIS_SHIFT, "Find where the oil comes from; have it cleaned by procedure."),
    "vents blocked": (THIS_SHIFT, "Have the cooling path cleared, by procedure; watch the winding."),
}


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None:
        return []
    return [*_smoke(reading), *_guard(reading), *_dirty(reading)]


def _smoke(reading: Reading) -> list[Finding]:
    if reading.smoke != "seen":
        return []
    says = (f"Smoke, sparks or burning smell seen; none is expected ({PRACTICE}). "
            "Stay clear, raise the alarm by the plant's route, do not restart.")
    return [Finding(SMOKE, None, ACT_NOW, None, None, None, PRACTICE, says)]


def _guard(reading: Reading) -> list[Finding]:
    wrong = [f"{what} {state}" for what, state in (("coupling guard", reading.guard), ("ground wire", reading.ground))
             if state in ("missing", "loose")]
    if not wrong:
        return []
    text = " and ".join(wrong)
    says = (f"{text[0].upper()}{text[1:]}; in place is expected ({PRACTICE}). "
            "Keep clear and have it put right by qualified people.")
    return [Finding(GUARD, None, ACT_NOW, None, None, None, PRACTICE, says)]


def _dirty(reading: Reading) -> list[Finding]:
    if reading.cleanliness not in DIRT:
        return []
    priority, do = DIRT[reading.cleanliness]
    found = {"vents blocked": "Vents are blocked"}.get(reading.cleanliness, f"Motor is {reading.cleanliness}")
    says = f"{found}; clean is expected ({PRACTICE}). {do}"
    return [Finding(DIRTY, None, priority, None, None, None, PRACTICE, says)]
