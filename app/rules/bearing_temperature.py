"""Bearing temperature after the makers: settings by kind, a motor's own worst case, rise over ambient of a sleeve.

Own worst case 72 °C: alarm 82, trip 87 (a large-motor settings sheet: + 10 and + 15 K; windings + 10 and + 20 K).
Flood-lubricated sleeve: 40 K over ambient by an installed detector, 35 K by a temporary probe; 72 °C at 30 °C ambient
is a rise of 42 K, above it. These are detector readings, not housing skin.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.findings import over
from app.rules.tables import MakesNoSense

NORMAL, ALARM, TRIP = "normal", "alarm", "trip"
WINDING_TRIP_OVER_WORST_K = 20.0  # note to the settings sheet's row: T max + 20 for windings


def setting(record: str) -> float:
    """A row of the makers' figures by its record, °C or K. Raises NotInTable."""
    return tables.figure("bearing_temperature", "value", record=record)


def own_alarm_c(own_worst_case_c: float) -> float:
    """Alarm from the motor's own worst reading over a year."""
    return own_worst_case_c + setting("tmax_alarm")


def own_trip_c(own_worst_case_c: float, winding: bool = False) -> float:
    """Trip from the motor's own worst reading over a year."""
    return own_worst_case_c + (WINDING_TRIP_OVER_WORST_K if winding else setting("tmax_trip"))


def state(reading_c: float, alarm_c: float, trip_c: float) -> str:
    """normal, alarm or trip; a limit is passed only above it. Raises MakesNoSense."""
    if trip_c < alarm_c:
        raise MakesNoSense("a trip setting lies at or above its alarm")
    return TRIP if over(reading_c, trip_c) else ALARM if over(reading_c, alarm_c) else NORMAL


def rise_k(reading_c: float, ambient_c: float) -> float:
    """Rise over ambient in K."""
    return reading_c - ambient_c


def sleeve_rise_limit_k(sensor: str) -> float:
    """Rise limit of a flood-lubricated sleeve: "installed" or "temporary". Raises MakesNoSense."""
    if sensor not in ("installed", "temporary"):
        raise MakesNoSense(f"“{sensor}”: installed or temporary")
    return setting("sleeve_rise_perm" if sensor == "installed" else "sleeve_rise_temp")


def ieee841_rise_limit_k(poles: int) -> float:
    """IEEE 841 rise over ambient of a rolling bearing at rated load (from memory): 45 K, two-pole 50 K."""
    return setting("ieee841_rise_2pole" if poles == 2 else "ieee841_rise")
