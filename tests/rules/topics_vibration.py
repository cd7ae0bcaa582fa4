"""Worked examples of units and vibration."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.rules import (
    units,
    vibration_standards,
)
from tests.rules.topic_inputs import Inputs, Unmapped, has, need

NAMES = {
    "temp_c": "degC", "babbitt_c": "degC", "degC": "degC", "temp_f": "degF", "degF": "degF", "temp_k": "kelvin",
    "temp_difference_c": "K difference", "temp_difference_k": "K difference", "rise_k": "K difference",
    "difference_k": "K difference", "temp_difference_f": "degF difference", "rise_f": "degF difference",
    "difference_f": "degF difference", "grams": "g", "ounces": "oz", "oz": "oz", "g": "g",
    "teaspoons": "teaspoon of grease", "tsp": "teaspoon of grease", "hp": "hp", "kw": "kW", "kW": "kW",
    "ps": "metric hp", "metric_hp": "metric hp", "mechanical_hp": "mechanical hp", "mm": "mm", "in": "in",
    "inches": "in", "um": "um", "mil": "mil", "um_pp": "um", "mil_pp": "mil", "um_pk": "um", "mil_pk": "mil",
    "mm_s_rms": "mm/s rms", "mm_s_peak": "mm/s peak", "in_s_peak": "in/s peak", "in_s_rms": "in/s rms",
    "in_s": "in/s peak", "mm_s": "mm/s peak", "lb_ft2": "lb ft2", "lbft2": "lb ft2", "wk2_lbft2": "lb ft2",
    "load_wk2_lbft2": "lb ft2", "kg_m2": "kg m2", "kgm2": "kg m2", "v_line": "V line", "volts_line": "V line",
    "v_line_to_line": "V line", "v_phase": "V phase", "volts_phase": "V phase", "lb_ft": "lb ft", "n_m": "N m",
}
DISPLACEMENT = ("um_pp", "mil_pp")


def from_what(i: Inputs, name: str) -> str:
    """The input that is to be converted: of the same kind where there is one, else a velocity or displacement."""
    known = [key for key in i if key in NAMES]
    if not known or name not in NAMES:
        raise Unmapped(f"no conversion from {', '.join(i)} to {name}")
    wanted = units.UNITS[NAMES[name]].measures
    like = [key for key in known if units.UNITS[NAMES[key]].measures == wanted]
    moving = [key for key in known if units.UNITS[NAMES[key]].measures in ("vibration velocity", "length")]
    return (like or moving or known)[0]


def conversion(i: Inputs, name: str) -> Any:
    """Any amount into any other of its kind; velocity and displacement by way of a speed."""
    source = from_what(i, name)
    value, rpm = i[source], i.get("rpm", i.get("hz", 0.0) * 60)  # no speed: the function declines
    if source in DISPLACEMENT and name not in DISPLACEMENT:
        um = units.convert(value, NAMES[source], "um")
        return units.convert(units.mm_s_rms_from_um_pp(um, rpm), "mm/s rms", NAMES[name])
    if name in DISPLACEMENT and source not in DISPLACEMENT:
        mm_s = units.convert(value, NAMES[source], "mm/s rms")
        return units.convert(units.um_pp_from_mm_s_rms(mm_s, rpm), "um", NAMES[name])
    return units.convert(value, NAMES[source], NAMES[name])


def kilowatts(i: Inputs) -> float | None:
    return units.kw_from_hp(i["hp"]) if has(i, "hp") else i.get("kw")


def zone_group(i: Inputs) -> str:
    if has(i, "class"):
        return f"class {i['class']}"
    if has(i, "group"):
        return str(i["group"]) if "group" in str(i["group"]) else f"group {i['group']}"
    return vibration_standards.group(kilowatts(i), need(i, "shaft_height_mm") if not has(i, "kw") and not has(i, "hp")
                                     else i.get("shaft_height_mm"))


def vibration(i: Inputs, name: str) -> Any:
    support = i.get("support", i.get("mounting", "rigid"))
    baseline = i.get("baseline_in_s", i.get("baseline"))

    def new_motor(column: str) -> Callable[[], float]:
        return lambda: float(vibration_standards.acceptance_row(
            need(i, "shaft_height_mm", "H_mm", "H"), i.get("grade", "A"), support)[column])

    def velocity() -> float:
        """mm/s RMS from whatever velocity was given."""
        return float(conversion(i, "mm_s_rms"))

    def boundary() -> float:
        return vibration_standards.boundary_mm_s(zone_group(i), i["boundary"], support)

    answers: dict[str, Callable[[], Any]] = {
        "zone": lambda: vibration_standards.zone(velocity(), zone_group(i), support),
        "group": lambda: zone_group(i).split()[-1],
        **{n: lambda: vibration_standards.standard_applies(kilowatts(i) or 0.0)
           for n in ("standard_applies_iso10816_3", "standard_applies", "standard_applies_iso20816_3")},
        "mg1_limit_in_s_peak": lambda: vibration_standards.mg1_limit_in_s_peak(
            i["rpm"], "rigid" if support == "rigid" and "rigid" in i.values() else "resilient"),
        "mg1_old_limit_mil_pp": lambda: vibration_standards.mg1_old_limit_mil_pp(i["rpm"]),
        "limit_mil_pp": lambda: vibration_standards.mg1_old_limit_mil_pp(i["rpm"]),
        "limit_mm_s_rms": new_motor("velocity_mm_s_rms"), "limit_mm_s": new_motor("velocity_mm_s_rms"),
        "limit_um_rms": new_motor("displacement_um_rms"), "limit_um": new_motor("displacement_um_rms"),
        "iec_limit_mm_s": new_motor("velocity_mm_s_rms"),
        "boundary_mm_s": boundary, "velocity_mm_s_rms": boundary,
        "boundary_um": lambda: vibration_standards.boundary_um(zone_group(i), i["boundary"], support),
        "displacement_um_rms": lambda: vibration_standards.boundary_um(zone_group(i), i["boundary"], support),
        "alarm_mm_s": lambda: vibration_standards.iso_alarm_mm_s(need(i, "baseline_mm_s"), zone_group(i), support),
        "change_significant": lambda: vibration_standards.change_is_significant(
            i["change_mm_s"], zone_group(i), support),
        "alarm_in_s": lambda: vibration_standards.baseline_alarm(baseline) if baseline is not None else
        vibration_standards.rule("field alarm"),
        "trip_in_s": lambda: vibration_standards.baseline_trip(baseline) if baseline is not None else
        vibration_standards.rule("field trip"),
    }
    return answers[name]() if name in answers else conversion(i, name)
