"""`bearings_uneven` and `bearing_hot`: the two ends against each other, and each against the limit of its kind.

Ends: more than 10 K apart, measured by one method, or one feel grade: this shift; more than 20 K or two grades: act
now (no published figure for the ends of one motor was found; shop practice). 71 against 61 °C is nothing, 71.2 is.
Heat: grease 90 / 100 °C, sleeve 85 / 95 °C; 92 °C on a greased bearing is this shift, 100.1 °C act now. A bearing too
hot to hold is this shift. A bearing whose kind is not on the plate is judged as greased, and the source says so.
"""

from __future__ import annotations

from dataclasses import replace

from app.rules import wording
from app.rules.facts import ENDS, TEMPERATURE_FEEL, Facts, Nameplate, Reading, Show
from app.rules.findings import ACT_NOW, THIS_SHIFT, Finding, gravest, over
from app.rules.limits import PRACTICE, Limits

UNEVEN = "bearings_uneven"
HOT = "bearing_hot"
TOO_HOT = "too hot to hold"


def kind(plate: Nameplate, end: str) -> str:
    """"sleeve" or "grease": whose limits this bearing is judged by."""
    stamped = plate.bearing[end]
    return "sleeve" if stamped is not None and stamped.strip().lower() == "sleeve" else "grease"


def alarm_c(plate: Nameplate, end: str, limits: Limits) -> float:
    """The alarm in °C of this bearing's kind."""
    return limits.value(f"bearing_hot_{kind(plate, end)}_alarm_c")


def grades_apart(de: str, ode: str) -> int:
    """How many feel grades the ends differ by, above zero where the drive end is hotter.

    Raises ValueError for a word that is no grade.
    """
    return TEMPERATURE_FEEL.index(de) - TEMPERATURE_FEEL.index(ode)


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None or not reading.running:
        return []
    plate, show = facts.motor.nameplate, facts.show
    hot = [found for end in ENDS for found in _hot(end, reading, plate, limits, show)]
    return [*_uneven(reading, limits, show), *hot]


def _uneven(reading: Reading, limits: Limits, show: Show) -> list[Finding]:
    measured, felt = _measured_apart(reading, limits, show), _felt_apart(reading)
    if measured is None or felt is None:
        return [found for found in (measured, felt) if found is not None]
    worst = gravest((measured, felt))
    other = felt if worst is measured else measured
    also = "Felt uneven too." if other is felt else "Measured uneven too."
    return [replace(worst, says=f"{worst.says} {also}")]


def _measured_apart(reading: Reading, limits: Limits, show: Show) -> Finding | None:
    de, ode = reading.bearing_temp_c.de, reading.bearing_temp_c.ode
    if de is None or ode is None:
        return None
    apart, scale = abs(de - ode), wording.temperature(show)
    for grade, priority in (("act_now", ACT_NOW), ("this_shift", THIS_SHIFT)):
        limit = limits[f"bearings_uneven_{grade}_k"]
        if over(apart, limit.value):
            value, most = wording.pair(apart, limit.value, wording.difference(show))
            says = (f"DE bearing {wording.figure(de, scale)}, ODE {wording.figure(ode, scale)}: {value} apart, "
                    f"above {most} ({limit.origin}). Check lubrication and load of the hotter end.")
            return Finding(UNEVEN, "DE" if de > ode else "ODE", priority, apart, limit.value, "K",
                           limit.origin, says)
    return None


def _felt_apart(reading: Reading) -> Finding | None:
    de, ode = reading.bearing_feel.de, reading.bearing_feel.ode
    if de not in TEMPERATURE_FEEL or ode not in TEMPERATURE_FEEL or de == ode:
        return None
    apart = grades_apart(de, ode)
    priority = ACT_NOW if abs(apart) >= 2 else THIS_SHIFT
    says = (f"DE bearing feels {de}, ODE {ode}; the same grade is expected ({PRACTICE}). "
            "Check lubrication and load of the hotter end.")
    return Finding(UNEVEN, "DE" if apart > 0 else "ODE", priority, None, None, None, PRACTICE, says)


def _hot(end: str, reading: Reading, plate: Nameplate, limits: Limits, show: Show) -> list[Finding]:
    felt = reading.bearing_feel[end] == TOO_HOT
    measured = _measured_hot(end, reading.bearing_temp_c[end], felt, plate, limits, show)
    if measured is not None:
        return [measured]
    if not felt:
        return []
    says = (f"{end} bearing {TOO_HOT}; a hand on it for a moment is usual ({PRACTICE}). "
            "Check lubrication and every level at once.")
    return [Finding(HOT, end, THIS_SHIFT, None, None, None, PRACTICE, says)]


def _measured_hot(end: str, temp_c: float | None, felt: bool, plate: Nameplate, limits: Limits,
                  show: Show) -> Finding | None:
    if temp_c is None:
        return None
    unknown = "" if plate.bearing[end] else "; kind not known, grease limits"
    for grade, priority, stop in (("shutdown", ACT_NOW, "; shut down by procedure"), ("alarm", THIS_SHIFT, "")):
        limit = limits[f"bearing_hot_{kind(plate, end)}_{grade}_c"]
        if over(temp_c, limit.value):
            source = f"{limit.origin}{unknown}"
            value, most = wording.pair(temp_c, limit.value, wording.temperature(show))
            says = (f"{end} bearing {value}, above {grade} {most} ({source}){', ' + TOO_HOT if felt else ''}. "
                    f"Check lubrication and every level at once{stop}.")
            return Finding(HOT, end, priority, temp_c, limit.value, "°C", source, says)
    return None
