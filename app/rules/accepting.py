"""Which limit a flag came from, for a supervisor who finds that this motor has always been so.

Act now is nobody's normal, and neither is what has no limit: smoke, a guard, a leak, a start outside the limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from app.rules import bearings, vibration, windings
from app.rules.facts import TEMPERATURE_FEEL, Nameplate
from app.rules.findings import ACT_NOW
from app.rules.limits import DEFAULTS, Limits

LIMIT, FEEL, NEW_NORMAL = "limit", "feel", "new normal"


@dataclass(frozen=True)
class Way:
    """How a flag's condition becomes this motor's normal. name, suggested and unit only where a limit moves."""

    kind: str
    name: str = ""
    least: float = 0.0  # what was found: a limit below it would flag it again
    suggested: float = 0.0  # the least whole figure above it
    unit: str = ""
    feel: str = ""


def way(rule: str, end: str | None, priority: str, value: float | None, says: str, plate: Nameplate, limits: Limits,
        winding_feel: str | None = None, surface: bool = False) -> Way | None:
    """None: not to be accepted. winding_feel: what the newest sighting's hand said; surface: read on the frame."""
    if priority == ACT_NOW:
        return None
    if rule.startswith(("off_own_normal_", "heading_for_limit_")):
        return Way(NEW_NORMAL)
    if rule == "winding_hot" and value is None:
        fits = winding_feel in TEMPERATURE_FEEL[:-1]  # too hot to hold is nobody's normal
        return Way(FEEL, feel=winding_feel or "") if fits else None
    name = _name(rule, end, priority, says, plate)
    if name is None or value is None:
        return None
    figure = value
    if rule == "winding_hot" and surface:
        figure += limits.value("winding_hot_surface_allowance_k")
    if rule == "amps_over_nameplate":
        if not plate.rated_amps:
            return None
        figure = 100.0 * value / plate.rated_amps
    places = 0 if DEFAULTS[name].unit != "mm/s" else 1
    return Way(LIMIT, name, figure, math.ceil(round(figure * 10**places, 6)) / 10**places, DEFAULTS[name].unit)


def graver(name: str) -> str | None:
    """The act-now limit of the same quantity, where there is one.

    >>> graver("bearing_hot_grease_alarm_c"), graver("step_this_shift_k")
    ('bearing_hot_grease_shutdown_c', None)
    """
    pairs = (("bearing_hot_", "alarm", "shutdown"), ("winding_hot_", "alarm", "limit"), ("", "this_shift", "act_now"))
    found = (name.replace(low, high) for start, low, high in pairs if name.startswith(start) and low in name)
    return next((each for each in found if each in DEFAULTS), None)


def _name(rule: str, end: str | None, priority: str, says: str, plate: Nameplate) -> str | None:
    if rule == "bearing_hot" and end is not None:
        return f"bearing_hot_{bearings.kind(plate, end)}_alarm_c"
    if rule == "winding_hot":
        return windings.limit_name(plate, "alarm")
    if rule == "vibration":
        return f"vibration_{vibration.zone_key(plate)[0]}_this_shift_mm_s"
    if rule == "volts_off":
        grade = priority.replace(" ", "_")
        return f"volts_off_unbalance_{grade}_percent" if says.startswith("Voltage unbalance") else \
            "volts_off_this_shift_percent"
    if rule.startswith("step_"):
        return "step_this_shift_k"
    return {"bearings_uneven": "bearings_uneven_this_shift_k", "not_settled_bearing": "not_settled_this_shift_k",
            "amps_over_nameplate": "amps_over_nameplate_this_shift_percent",
            "phase_unbalance": "phase_unbalance_this_shift_percent"}.get(rule)
