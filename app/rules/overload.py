"""Overload and short-circuit protection after the NEC: for reading a setting, never for changing one.

430.32(A)(1), in percent of NAMEPLATE amps: 125 where the service factor is 1.15 or more or the marked rise 40 °C or
less (either is enough), else 115; 430.32(C): 140 and 130 at most. 430.32(A)(2), integral protector, in percent of TABLE
amps: 170 to 9 A, 156 to 20 A, 140 above. A class 20 relay trips within 20 s at six times its setting.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.tables import MakesNoSense, NotInTable


def rule(name: str) -> float:
    """A figure of the protection rules. Raises NotInTable."""
    return tables.figure("overload_protection", "value", rule=name)


def _high(service_factor: float | None, rise_c: float | None) -> bool:
    return (service_factor is not None and service_factor >= 1.15) or (rise_c is not None and rise_c <= 40)


def setting_percent(service_factor: float | None = None, rise_c: float | None = None) -> float:
    """Overload device, percent of nameplate amps; rise_c is the marked rise, never the ambient."""
    return rule("service factor" if _high(service_factor, rise_c) else "other")


def ceiling_percent(service_factor: float | None = None, rise_c: float | None = None) -> float:
    """The most it may be raised to where the motor will not start or carry its load."""
    return rule("ceiling, service factor or rise" if _high(service_factor, rise_c) else "ceiling, other")


def setting_amps(nameplate_amps: float, service_factor: float | None = None, rise_c: float | None = None) -> float:
    """Overload trip amps from NAMEPLATE amps."""
    return nameplate_amps * setting_percent(service_factor, rise_c) / 100.0


def ceiling_amps(nameplate_amps: float, service_factor: float | None = None, rise_c: float | None = None) -> float:
    """The ceiling in amps from NAMEPLATE amps."""
    return nameplate_amps * ceiling_percent(service_factor, rise_c) / 100.0


def integral_percent(table_amps: float) -> float:
    """Thermal protector integral with the motor, percent of TABLE amps."""
    band = "integral to 9 A" if table_amps <= 9 else "integral to 20 A" if table_amps <= 20 else "integral over 20 A"
    return rule(band)


def integral_amps(table_amps: float) -> float:
    """Its trip amps from TABLE amps: 14 A × 156 % = 21.84 A."""
    return table_amps * integral_percent(table_amps) / 100.0


def embedded_detectors_required(hp: float) -> bool:
    """Above 1,500 hp embedded temperature detectors must take the motor off."""
    return hp > rule("embedded detectors over")


def longest_trip_s(trip_class: int, multiple: float = 6.0) -> float:
    """Seconds to trip from cold at six times the setting. Raises NotInTable for another class or multiple."""
    if multiple != 6:
        raise NotInTable("overload relay classes", f"{multiple:g} times the setting")
    return rule(f"class {trip_class:g}")


def short_circuit_percent(motor: str, device: str) -> float:
    """NEC Table 430.52, percent of TABLE amps; words as in the table. Raises NotInTable."""
    return tables.figure("short_circuit_protection", "percent", motor=motor, device=device)


def restarts_by_itself(control: str) -> bool:
    """Whether it restarts when power returns: two-wire and low-voltage release do. Raises MakesNoSense."""
    plain = control.strip().lower()
    for words, restarts in ((("two-wire", "two wire", "low-voltage release", "lvr", "maintained"), True),
                            (("automatic start", "auto"), True),
                            (("three-wire", "three wire", "low-voltage protection", "lvp", "momentary"), False)):
        if any(plain.startswith(word) for word in words):
            return restarts
    raise MakesNoSense(f"“{control}” is no kind of control: two-wire or three-wire")
