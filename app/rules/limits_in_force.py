"""One motor's limits as figures, each beside its source: what a script judges by that has no limits table of its own.

Resolved by the rules' own functions, so that a plate's kind, class, size and service factor are read in one place.
75 hp, 87 A, SF 1.15, class F, greased, rigid: amps 87 and 100.05, bearings 90 and 100 °C, winding 160 and 165 °C at
the probe and 135 and 140 °C at the surface, vibration 2.8 and 4.5 mm/s.
"""

from __future__ import annotations

from typing import Any

from app.rules import balance, bearings, load, required, units, vibration, windings, wording
from app.rules.facts import ENDS, LOCKED_OUT, RUNNING, STANDBY, Motor, Nameplate, Show
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.limits import Limit, Limits

Figure = tuple[float, str]  # value in SI, source


def limits_in_force(motor: Motor, condition: str | None, limits: Limits) -> dict[str, Any]:
    """Every figure that judging at the motor compares with, ready for JSON. condition: the motor's, on record."""
    plate = motor.nameplate
    return {
        "tag": motor.tag, "locked": condition == LOCKED_OUT, "amps": _amps(plate, limits),
        "phases": {"single": _of(limits["phase_unbalance_single_phasing_percent"]),
                   "spread": _of(limits["phase_unbalance_this_shift_percent"])},
        "volts": {"rated": plate.volts or None, "level": _of(limits["volts_off_this_shift_percent"]),
                  "uneven": {priority: _of(limits[f"volts_off_unbalance_{grade}_percent"])
                             for grade, priority in balance.GRADES}},
        "uneven": {priority: _of(limits[f"bearings_uneven_{grade}_k"]) for grade, priority in bearings.GRADES},
        "hot": {end: {grade: bearings.limit_c(plate, end, grade, limits) for grade in ("shutdown", "alarm")}
                for end in ENDS},
        "winding": {"normal": windings.normal_feel(motor), "probe": _winding(plate, None, limits),
                    "surface": _winding(plate, windings.SURFACE_METHODS[0], limits)},
        "vibration": {priority: vibration.limit_mm_s(plate, grade, limits) for grade, priority in vibration.GRADES},
        "required": {state: " ".join(required.required(motor, state)) for state in (RUNNING, STANDBY)},
    }


def _of(limit: Limit) -> Figure:
    return limit.value, limit.origin


def _amps(plate: Nameplate, limits: Limits) -> dict[str, Any] | None:
    """None where no rated amps are known: there is no percent and no finding."""
    if not plate.rated_amps:
        return None
    mild = load.this_shift_above(plate.rated_amps, limits["amps_over_nameplate_this_shift_percent"])
    return {"rated": plate.rated_amps, ACT_NOW: load.act_now_above(plate, plate.rated_amps, limits), THIS_SHIFT: mild}


def _winding(plate: Nameplate, method: str | None, limits: Limits) -> dict[str, Figure]:
    return {grade: windings.limit_c(plate, grade, method, limits) for grade in ("limit", "alarm")}


def scales(show: Show) -> dict[str, dict[str, Any]]:
    """How this unit's figures are shown: (SI × times + plus) ÷ by, at least so many decimals."""
    fahrenheit, peak = show.temperature == "F", show.vibration == "in/s"
    return {
        "temperature": _scale(wording.temperature(show), *((1.8, 32.0) if fahrenheit else ())),
        "difference": _scale(wording.difference(show), *((1.8,) if fahrenheit else ())),
        "vibration": _scale(wording.vibration(show), by=units.MM_S_RMS_PER_IN_S_PEAK if peak else 1.0),
    }


def _scale(scale: wording.Scale, times: float = 1.0, plus: float = 0.0, by: float = 1.0) -> dict[str, Any]:
    return {"unit": scale.unit, "places": scale.places, "times": times, "plus": plus, "by": by}
