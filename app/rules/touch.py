"""How hot is too hot for a hand: burn thresholds and the caution line. No US federal rule gives a number.

Burn thresholds (ISO 13732-1, mostly from memory): bare metal 65 to 70 °C at 1 s, 58 to 64 at 4 s, 55 to 60 at 10 s; any
surface 51 °C at 1 min, 48 at 10 min, 43 at 8 h. The lower end is used. Serious burn on metal (burn institute chart):
60 °C within 5 s, 68 °C within 1 s; glass 10 K more, plastic 25 K more. Paint is never credited with a margin.
"""

from __future__ import annotations

from math import log

from app.rules import tables
from app.rules.full_load import interpolated
from app.rules.tables import MakesNoSense, NotInTable

SHORTEST_S = 0.5
#: what the chart adds for the same time on another material
_WARMER = {"glass": 10.0, "plastic": 25.0}


def burn_threshold_c(contact_s: float) -> float:
    """Lower end of the burn threshold of bare or painted metal at this contact time, °C. Raises MakesNoSense."""
    if contact_s < SHORTEST_S:
        raise MakesNoSense("below half a second there are no reliable figures")
    points = [(log(float(row["contact_s"])), float(row["from_c"])) for row in tables.rows("touch_burn_threshold")]
    return interpolated(points, log(contact_s))


def burn_possible(surface_c: float, contact_s: float) -> bool:
    """At or above the threshold. Raises MakesNoSense."""
    return surface_c >= burn_threshold_c(contact_s)


def serious_burn_within_s(surface_c: float, material: str = "metal") -> float:
    """Seconds after which a serious burn is to be expected at the latest. Raises NotInTable below the chart."""
    metal_c = surface_c - next((more for word, more in _WARMER.items() if word in material.lower()), 0.0)
    within = [float(row["at_most_s"]) for row in tables.rows("touch_serious_burn")
              if row["at_most_s"] and float(row["metal_c"]) <= metal_c]
    if not within:
        raise NotInTable("burn institute chart", f"{surface_c:g} °C on {material}")
    return min(within)


def use_an_instrument(surface_c: float) -> bool:
    """At about 60 °C and over a hand cannot rank heat: use an instrument."""
    return surface_c >= tables.figure("touch_rules", "value_c", rule="before touching")


def equipment_limit_c(use: str, metal: bool = True) -> float:
    """UK wiring rules 1992: surface limit of parts "held", "touched" or "not touched", °C. Raises NotInTable."""
    return tables.figure("touch_rules", "value_c" if metal else "non_metal_c", rule=use)


def osha_limit_c() -> float:
    """There is none: the 60 °C (140 °F) so often credited to OSHA is common practice. Always raises NotInTable."""
    raise NotInTable("29 CFR 1910", "a number for touching hot surfaces")
