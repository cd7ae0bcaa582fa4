"""Full-load amps: the code's table, the formula, and whether a plate's amps are plausible.

Table: NEC Table 430.250, 1/2 to 500 hp, 115 to 2,300 V; a blank cell is not listed and never guessed.
Formula: hp × 746 / (√3 × V × efficiency × power factor); 10 hp, 460 V, 0.90, 0.85 gives 12.24 A.
Plate amps more than 25 % away from what these give ask "is this right?" and never refuse. Code amps run high, so real
plates sit between the formula and the table: away means below the lower or above the higher of the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from math import log, sqrt

from app.rules import tables, units
from app.rules.findings import over
from app.rules.tables import MakesNoSense, NotInTable

ROUGH_EFFICIENCY = 0.90  # beyond the tables, a rough figure, from memory
ROUGH_POWER_FACTOR = 0.85
#: system voltages the code lets a column stand for (heading of the table)
_COLUMNS = ((110, 120, "115"), (200, 200, "200"), (208, 208, "208"), (220, 240, "230"), (440, 480, "460"),
            (550, 600, "575"), (2300, 2300, "2300"))


def column(volts: float) -> str:
    """The table's volt column for a plate or system voltage. Raises NotInTable."""
    for low, high, name in _COLUMNS:
        if low <= volts <= high:
            return name
    raise NotInTable("NEC Table 430.250", f"{volts:g} V")


def _cell(table: str, row_hp: float, name: str) -> float:
    for row in tables.rows(table):
        if float(row["hp"]) == row_hp:
            if row.get(name):
                return float(row[name])
            break
    raise NotInTable(table, f"{row_hp:g} hp, {name}")


def table_amps(hp: float, volts: float) -> float:
    """NEC Table 430.250 amps. Raises NotInTable for a blank cell, another hp or another voltage."""
    return _cell("full_load_amps", hp, f"amps_{column(volts)}V")


def medium_voltage_amps(hp: float, plate_volts: float) -> float:
    """The 2,300 V column scaled to a plate above it (4,000 V): screening only. Raises NotInTable."""
    if plate_volts < 2300.0:
        raise NotInTable("NEC Table 430.250", f"{plate_volts:g} V from the 2,300 V column")
    return table_amps(hp, 2300.0) * 2300.0 / plate_volts


def table_locked_rotor_amps(hp: float, volts: float) -> float:
    """NEC Table 430.251(B) maximum locked-rotor amps, Design B, C and D. Raises NotInTable."""
    return _cell("locked_rotor_amps", hp, f"max_locked_rotor_amps_{column(volts)}V")


def formula_amps(hp: float, volts: float, efficiency: float, power_factor: float, phases: int = 3) -> float:
    """Amps at full load; efficiency and power factor as fractions, V line to line. Raises MakesNoSense."""
    return units.kw_from_hp(hp) * 1000.0 / (_line(phases) * volts * _share(efficiency) * _share(power_factor))


def kva(volts: float, amps: float, phases: int = 3) -> float:
    """Apparent power in kVA."""
    return _line(phases) * volts * amps / 1000.0


def input_kw(hp: float, efficiency: float) -> float:
    """Electrical input at full load in kW: 50 hp at 0.93 is 40.1. Raises MakesNoSense."""
    return units.kw_from_hp(hp) / _share(efficiency)


def loss_kw(hp: float, efficiency: float) -> float:
    """What becomes heat at full load, in kW. Raises MakesNoSense."""
    return input_kw(hp, efficiency) - units.kw_from_hp(hp)


def output_hp(volts: float, amps: float, efficiency: float, power_factor: float, phases: int = 3) -> float:
    """Shaft hp from line amps. Raises MakesNoSense."""
    return units.hp_from_kw(kva(volts, amps, phases) * _share(efficiency) * _share(power_factor))


def implied_efficiency_pf(hp: float, volts: float, amps: float, phases: int = 3) -> float:
    """Efficiency × power factor that these amps imply, as a fraction."""
    return units.kw_from_hp(hp) / kva(volts, amps, phases)


def nominal_efficiency_percent(hp: float, poles: int, enclosure: str = "enclosed") -> float:
    """Nominal full-load efficiency, 10 CFR 431.25; enclosure "open" or "enclosed". Raises NotInTable."""
    for row in tables.rows("motor_efficiency"):
        if (float(row["hp"]), int(row["poles"]), row["enclosure"]) == (hp, poles, enclosure):
            return float(row["nominal_full_load_efficiency_percent"])
    raise NotInTable("motor_efficiency", f"{hp:g} hp, {poles} poles, {enclosure}")


def typical_power_factor(hp: float) -> float:
    """Typical full-load power factor of a 4-pole motor, between the handbook points (from memory)."""
    points = [(log(float(row["hp"])), float(row["power_factor"])) for row in tables.rows("power_factor")]
    return interpolated(points, log(hp)) if hp > 0 else ROUGH_POWER_FACTOR


def interpolated(points: list[tuple[float, float]], x: float) -> float:
    """Straight lines between the points, level beyond the first and the last."""
    if x <= points[0][0]:
        return points[0][1]
    for (x1, y1), (x2, y2) in pairwise(points):
        if x <= x2:
            return y1 + (y2 - y1) * (x - x1) / (x2 - x1)
    return points[-1][1]


@dataclass(frozen=True)
class AmpsCheck:
    """What hp, volts and phases give, and how far the plate is from it; asks means: is this right?"""

    expected: Mapping[str, float]  # source: amps
    off_percent: float  # signed, from the nearest of them; 0 between them
    asks: bool


def plausible(hp: float, volts: float, amps: float, phases: int = 3, poles: int | None = None,
              ask_percent: float = 25.0) -> AmpsCheck:
    """Plate amps against the code's table and the formula. Raises MakesNoSense for figures not above zero."""
    if hp <= 0 or volts <= 0 or amps <= 0:
        raise MakesNoSense("hp, volts and amps must be above zero")
    expected = {"P/(√3·V·η·pf)" if phases == 3 else "P/(V·η·pf)": _typical_amps(hp, volts, phases, poles)}
    if phases == 3:
        with suppress(NotInTable):
            expected["NEC Table 430.250"] = table_amps(hp, volts)
    low, high = min(expected.values()), max(expected.values())
    off = 100.0 * (amps - low) / low if amps < low else 100.0 * (amps - high) / high if amps > high else 0.0
    return AmpsCheck(expected, off, over(abs(off), ask_percent))


def _typical_amps(hp: float, volts: float, phases: int, poles: int | None) -> float:
    try:
        efficiency = nominal_efficiency_percent(hp, poles or 4) / 100.0
    except NotInTable:
        efficiency = ROUGH_EFFICIENCY
    return formula_amps(hp, volts, efficiency, typical_power_factor(hp), phases)


def _line(phases: int) -> float:
    if phases not in (1, 3):
        raise MakesNoSense(f"{phases} phases: one or three")
    return sqrt(3) if phases == 3 else 1.0


def _share(fraction: float) -> float:
    if not 0 < fraction <= 1:
        raise MakesNoSense(f"{fraction:g} is no fraction between 0 and 1")
    return fraction
