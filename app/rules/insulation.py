"""Insulation class: total temperature, allowed rise, and what heat does to life.

Class F: 155 °C in total (40 + 105 + 10). Rise over 40 °C by resistance, NEMA MG 1 12.43: F 105 K at service factor 1.0,
B 90 K at 1.15. Life halves for each 10 K above, doubles for each 10 K below (rule of thumb, Montsinger 1930): 25 K in
hand is 2^2.5 = 5.66 times.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.tables import MakesNoSense, NotInTable

MG1, IEC = "NEMA MG 1", "IEC 60034-1"


def rule(name: str) -> float:
    """A figure of the insulation rules. Raises NotInTable."""
    return tables.figure("insulation_rules", "value", rule=name)


def class_total_c(insulation_class: str) -> float:
    """Highest total (hot-spot) temperature of the class in °C. Raises NotInTable."""
    return tables.figure("insulation_class", "total_c", insulation_class=insulation_class.strip().upper())


def total_c(rise_k: float, ambient_c: float = 40.0, hot_spot_k: float = 10.0) -> float:
    """Ambient + rise + hot-spot allowance."""
    return ambient_c + rise_k + hot_spot_k


def rise_limit_k(insulation_class: str, method: str = "resistance", service_factor: float | None = 1.0,
                 size: str | None = None, hp: float | None = None, volts: float | None = None,
                 standard: str = MG1) -> float:
    """Allowed rise over 40 °C in K; size "medium", "tenv", "encapsulated" or "large". Raises NotInTable.

    Embedded detectors stand in the large-machine table; without hp its row to 1,500 hp is read.
    """
    detector = method != "resistance"
    wanted = "general" if standard == IEC else size or ("large" if detector else "medium")
    for row in tables.rows("insulation_rise"):
        if (row["standard"] == standard and row["size"] == wanted
                and row["insulation_class"] == insulation_class.strip().upper()
                and row["method"] == ("embedded detector" if detector else "resistance")
                and row["service_factor"] in ("", _factor(service_factor))
                and _rated(row, hp, volts)):
            return float(row["rise_k"])
    raise NotInTable("insulation_rise", f"class {insulation_class}, {method}, {wanted}, SF {service_factor}")


def _factor(service_factor: float | None) -> str:
    return "1.0" if service_factor is None else str(float(service_factor))


def _rated(row: tables.Row, hp: float | None, volts: float | None) -> bool:
    return (tables.within(1500.0 if hp is None else hp, row["hp_over"], row["hp_to"])
            and tables.within(4000.0 if volts is None else volts, row["volts_over"], row["volts_to"]))


def winding_settings_c(insulation_class: str, service_factor: float | None = 1.0) -> tuple[float, float]:
    """Suggested alarm and trip of a winding detector, °C, by class of rise. Raises NotInTable."""
    load = "up to 1.15 service factor" if service_factor is not None and service_factor >= 1.15 else "up to rated load"
    row = tables.row("winding_settings", insulation_class=insulation_class.strip().upper(), load=load)
    return float(row["alarm_c"]), float(row["trip_c"])


def winding_from_surface_c(surface_c: float) -> tuple[float, float]:
    """What the winding of a cast-iron TEFC motor may be behind a surface reading: from, to in °C."""
    return (surface_c + rule("surface cooler than winding, lower"),
            surface_c + rule("surface cooler than winding, upper"))


def life_factor(actual_c: float, class_limit_c: float) -> float:
    """How many times its life at the class limit insulation lasts at this temperature."""
    return float(2.0 ** ((class_limit_c - actual_c) / rule("life halves for each")))


def life(base: float, below_limit_k: float = 0.0, above_limit_k: float = 0.0) -> float:
    """A life in any unit of time, so many K below or above the limit. Raises MakesNoSense."""
    if base < 0:
        raise MakesNoSense("a life is not below zero")
    return base * life_factor(above_limit_k, below_limit_k)
