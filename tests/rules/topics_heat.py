"""Worked examples of insulation, insulation resistance, bearing temperature and touch."""

from __future__ import annotations

import re
from typing import Any

from app.rules import (
    bearing_temperature,
    insulation,
    insulation_resistance,
    touch,
    units,
)
from tests.rules.topic_inputs import Inputs, has, need, pick


def heat(i: Inputs, name: str) -> Any:
    def limit() -> float:
        return float(i["class_limit_c"]) if has(i, "class_limit_c") else insulation.class_total_c(i["insulation_class"])

    def life(base: str) -> float:
        if has(i, "actual_c"):
            return float(i[base]) * insulation.life_factor(i["actual_c"], limit())
        return insulation.life(i[base], i.get("below_limit_k", 0.0), i.get("above_limit_k", 0.0))

    def factor() -> float:
        if has(i, "actual_c"):
            return insulation.life_factor(i["actual_c"], limit())
        return insulation.life(1.0, i.get("below_limit_k", 0.0), i.get("above_limit_k", 0.0))

    def total() -> float:
        if not has(i, "rise_k"):
            return insulation.class_total_c(i["insulation_class"])
        return insulation.total_c(i["rise_k"], i.get("ambient_c", 40.0), i.get("hot_spot_k", 0.0))

    def rise() -> float:
        standard = insulation.IEC if "IEC" in str(i.get("standard", "")) else insulation.MG1
        size = next((word for word in ("tenv", "encapsulated", "large", "medium")
                     if word in str(i.get("size", i.get("enclosure", ""))).lower()), None)
        return insulation.rise_limit_k(i["insulation_class"], i.get("method", "resistance"), i.get("service_factor"),
                                       size, i.get("hp"), i.get("volts"), standard)

    def settings(which: int) -> float:
        return insulation.winding_settings_c(i["insulation_class"], i.get("service_factor"))[which]

    return pick({
        "total_c": total, "class_limit_c": total, "max_total_c": total, "limit_c": total, "hot_spot_c": total,
        "life_factor": factor, "life_h": lambda: life("base_life_h"), "life_years": lambda: life("base_life_years"),
        "life": lambda: life("base_life"), "rise_limit_k": rise, "rise_limit_c": rise,
        "alarm_c": lambda: settings(0), "trip_c": lambda: settings(1),
        "winding_c_min": lambda: insulation.winding_from_surface_c(i["surface_c"])[0],
        "winding_c_max": lambda: insulation.winding_from_surface_c(i["surface_c"])[1],
    }, name)


def megohms(i: Inputs, name: str) -> Any:
    def minimum() -> float:
        return insulation_resistance.minimum_mohm(need(i, "kv"), i.get("winding", "random"), i.get("year"))

    def ok() -> bool:
        r = i["r_mohm"] if not has(i, "temp_c") else insulation_resistance.at_40_c_mohm(i["r_mohm"], i["temp_c"])
        return r >= minimum()

    def volts() -> tuple[float, float]:
        return insulation_resistance.test_volts_dc(i["rated_v"] if has(i, "rated_v") else
                                                   i["volts"] if has(i, "volts") else i["kv"] * 1000.0)

    def words() -> str:
        low, high = volts()
        return f"{low:g}" if low == high else f"{low:g} to {high:g}"

    return pick({
        "r40_mohm": lambda: insulation_resistance.at_40_c_mohm(i["r_mohm"], i["temp_c"]), "min_mohm": minimum,
        "pi": lambda: insulation_resistance.polarization_index(i["r1"], i["r10"]),
        "pi_ok": lambda: insulation_resistance.pi_ok(i["insulation_class"], i["r1"], i["r10"]),
        "pi_applicable": lambda: insulation_resistance.pi_applies(i["r1"]),
        "min_pi": lambda: insulation_resistance.minimum_pi(i["insulation_class"]),
        "pi_min": lambda: insulation_resistance.minimum_pi(i["insulation_class"]),
        "pi_high": lambda: insulation_resistance.pi_high(i["r1"], i["r10"]),
        "ok": ok, "r_ok": ok, "passes": ok, "test_volts": words, "test_voltage": words, "test_v": words,
        **{n: lambda: volts()[0] for n in ("test_volts_min", "test_v_min", "test_volts_dc")},
        **{n: lambda: volts()[1] for n in ("test_volts_max", "test_v_max")},
    }, name)


def bearing_heat(i: Inputs, name: str) -> Any:
    winding = i.get("part") == "winding"
    if match := re.fullmatch(r"rise_exceeds_(\d+)_?[kK]", name):
        rise = bearing_temperature.rise_k(i["reading_c"], i["ambient_c"])
        limit = float(match[1])
        if has(i, "sensor"):
            limit = bearing_temperature.sleeve_rise_limit_k(i["sensor"])
        elif has(i, "poles"):
            limit = bearing_temperature.ieee841_rise_limit_k(i["poles"])
        return bearing_temperature.over(rise, limit)

    def alarm() -> float:
        if has(i, "own_worst_case_c"):
            return bearing_temperature.own_alarm_c(i["own_worst_case_c"])
        return float(i["alarm_c"]) if has(i, "alarm_c") else bearing_temperature.setting(makers(i, "alarm"))

    def trip() -> float:
        if has(i, "own_worst_case_c"):
            return bearing_temperature.own_trip_c(i["own_worst_case_c"], winding)
        return float(i["trip_c"]) if has(i, "trip_c") else bearing_temperature.setting(makers(i, "trip"))

    def limit_k() -> float:
        if has(i, "sensor"):
            return bearing_temperature.sleeve_rise_limit_k(i["sensor"])
        return bearing_temperature.ieee841_rise_limit_k(need(i, "poles"))

    def fahrenheit() -> float:
        value = next(value for key, value in i.items() if key.endswith("_c"))
        return units.f_from_c(value)

    return pick({
        "alarm_c": alarm, "trip_c": trip, "shutdown_c": trip, "degF": fahrenheit, "temp_f": fahrenheit,
        "state": lambda: bearing_temperature.state(i["reading_c"], alarm(), trip()),
        "rise_k": lambda: bearing_temperature.rise_k(i["reading_c"], i["ambient_c"]), "rise_limit_k": limit_k,
        "total_c": lambda: i["ambient_c"] + (i["rise_k"] if has(i, "rise_k") else limit_k()),
        "difference_f": lambda: units.f_difference_from_k(need(i, "rise_k", "difference_k", "rise_c")),
        "rise_f": lambda: units.f_difference_from_k(need(i, "rise_k", "rise_c")),
    }, name)


def makers(i: Inputs, grade: str) -> str:
    """The record of a maker's setting from the words of the inputs."""
    kind = "sleeve" if "sleeve" in str(i.get("bearing", "")) else "rolling"
    maker = str(i.get("maker", "a"))[-1]
    record = {"a": f"maker_a_{kind}", "b": f"maker_b_{kind}", "c": "maker_c_any"}.get(maker, f"maker_a_{kind}")
    size = f"_{i['size']}" if maker == "b" and kind == "rolling" and has(i, "size") else ""
    return f"{record}{size}_{grade}"


def hands(i: Inputs, name: str) -> Any:
    surface = need(i, "surface_c", "temp_c") if name not in ("threshold_c", "burn_threshold_c", "osha_limit_c",
                                                             "limit_c") else 0.0
    material = str(i.get("surface", i.get("material", "metal")))
    return pick({
        "burn_possible": lambda: touch.burn_possible(surface, need(i, "contact_s")),
        **{n: lambda: touch.burn_threshold_c(need(i, "contact_s")) for n in ("threshold_c", "burn_threshold_c")},
        **{n: lambda: touch.serious_burn_within_s(surface, material)
           for n in ("seconds_to_serious_burn_max", "seconds_to_serious_burn")},
        **{n: lambda: touch.use_an_instrument(surface)
           for n in ("use_instrument", "instrument_needed", "caution", "use_an_instrument")},
        "osha_limit_c": touch.osha_limit_c,
        "limit_c": lambda: touch.osha_limit_c() if "osha" in str(i).lower() else
        touch.equipment_limit_c(need(i, "use", "contact"), "non" not in material),
    }, name)
