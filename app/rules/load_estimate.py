"""Five ways to estimate load; they differ by 4 to 12 points on the same readings, so the one used is always named.

Straight line between no-load and rated amps: 100 A of 120 rated, 35 no-load, is (100 − 35) / (120 − 35) = 76.5 %.
Half-no-load: (2 I − I0) / (2 Ir − I0). Ratio: I/Ir × V/Vr, from about half load up. Slip: weak, the plate's speed has a
large tolerance. Input power: best, needs a power meter. Formulas partly from memory (US DOE fact sheet).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from app.rules.tables import MakesNoSense
from app.rules.units import KW_PER_MECHANICAL_HP


def by_ratio(current_a: float, rated_a: float, volts: float, rated_v: float) -> float:
    """Percent of rated load from amps and volts. Raises MakesNoSense."""
    return 100.0 * _over(current_a, rated_a) * _over(volts, rated_v)


def by_no_load_line(current_a: float, rated_a: float, no_load_a: float) -> float:
    """Percent of rated load on the straight line from no-load to rated amps. Raises MakesNoSense."""
    return 100.0 * _over(current_a - no_load_a, rated_a - no_load_a)


def by_half_no_load(current_a: float, rated_a: float, no_load_a: float) -> float:
    """Percent of rated load by the half-no-load method. Raises MakesNoSense."""
    return 100.0 * _over(2 * current_a - no_load_a, 2 * rated_a - no_load_a)


def by_slip(rpm: float, synchronous_rpm: float, nameplate_rpm: float, volts: float | None = None,
            rated_v: float | None = None) -> float:
    """Percent of rated load from slip, corrected for volts where both are given. Raises MakesNoSense."""
    full = synchronous_rpm - nameplate_rpm
    corrected = full * _over(rated_v, volts) ** 2 if volts is not None and rated_v is not None else full
    return 100.0 * _over(synchronous_rpm - rpm, corrected)


def input_kw(volts: Sequence[float], current_a: Sequence[float], power_factor: Sequence[float]) -> float:
    """Three-phase input in kW from the averages of the phases, power factor as a fraction. Raises MakesNoSense."""
    return sqrt(3) * _mean(volts) * _mean(current_a) * _mean(power_factor) / 1000.0


def by_input_power(kw_in: float, hp: float, efficiency: float) -> float:
    """Percent of rated load from measured input. Raises MakesNoSense."""
    if not 0 < efficiency <= 1:
        raise MakesNoSense("efficiency is a fraction between 0 and 1")
    return 100.0 * _over(kw_in, hp * KW_PER_MECHANICAL_HP / efficiency)


def _over(part: float, whole: float) -> float:
    if whole <= 0:
        raise MakesNoSense("rated figures must lie above the others")
    return part / whole


def _mean(values: Sequence[float]) -> float:
    if not values:
        raise MakesNoSense("no phase was read")
    return sum(values) / len(values)
