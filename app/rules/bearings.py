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
GRADES = (("act_now", ACT_NOW), ("this_shift", THIS_SHIFT))
SAYS = {
    "apart": "DE bearing {de}, ODE {ode}: {value} apart, above {limit} ({source}). "
             "Check lubrication and load of the hotter end.",
    "felt too": "{says} Felt uneven too.",
    "measured too": "{says} Measured uneven too.",
    "shutdown": "{end} bearing {value}, above shutdown {limit} ({source}){felt}. "
                "Check lubrication and every level at once; shut down by procedure.",
    "alarm": "{end} bearing {value}, above alarm {limit} ({source}){felt}. "
             "Check lubrication and every level at once.",
}
ALSO_FELT = f", {TOO_HOT}"


def kind(plate: Nameplate, end: str) -> str:
    """"sleeve" or "grease": whose limits this bearing is judged by."""
    stamped = plate.bearing[end]
    return "sleeve" if stamped is not None and stamped.strip().lower() == "sleeve" else "grease"


def alarm_c(plate: Nameplate, end: str, limits: Limits) -> float:
    """The alarm in °C of this bearing's kind."""
    return limits.value(f"bearing_hot_{kind(plate, end)}_alarm_c")


def limit_c(plate: Nameplate, end: str, grade: str, limits: Limits) -> tuple[float, str]:
    """The limit in °C of this bearing, grade "alarm" or "shutdown", and where it comes from."""
    limit = limits[f"bearing_hot_{kind(plate, end)}_{grade}_c"]
    return limit.value, f"{limit.origin}{'' if plate.bearing[end] else '; kind not known, grease limits'}"


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
    also = SAYS["felt too" if other is felt else "measured too"]
    return [replace(worst, says=also.format(says=worst.says))]


def _measured_apart(reading: Reading, limits: Limits, show: Show) -> Finding | None:
    de, ode = reading.bearing_temp_c.de, reading.bearing_temp_c.ode
    if de is None or ode is None:
        return None
    apart, scale = abs(de - ode), wording.temperature(show)
    for grade, priority in GRADES:
        limit = limits[f"bearings_uneven_{grade}_k"]
        if over(apart, limit.value):
            value, most = wording.pair(apart, limit.value, wording.difference(show))
            says = SAYS["apart"].format(de=wording.figure(de, scale), ode=wording.figure(ode, scale), value=value,
                                        limit=most, source=limit.origin)
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
    for grade, priority in (("shutdown", ACT_NOW), ("alarm", THIS_SHIFT)):
        limit, source = limit_c(plate, end, grade, limits)
        if over(temp_c, limit):
            value, most = wording.pair(temp_c, limit, wording.temperature(show))
            says = SAYS[grade].format(end=end, value=value, limit=most, source=source, felt=ALSO_FELT if felt else "")
            return Finding(HOT, end, priority, temp_c, limit, "°C", source, says)
    return None
