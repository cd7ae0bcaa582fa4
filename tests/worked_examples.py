"""Runs worked examples through the public functions of app.rules: `python -m tests.worked_examples FILE.csv`.

Columns: example_id, topic, inputs_json, expected_name, expected_value, tolerance, units, kind, source, confirmed_how,
note. `null` as expected value means that the function must decline by an error that app.rules names. Each miss is
printed with what was expected and what came; the last line counts, and the exit code is 1 when anything failed.
"""

from __future__ import annotations

import csv
import json
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.rules import (
    balance,
    bearing_numbers,
    bearing_temperature,
    consecutive_starts,
    full_load,
    grease_amounts,
    insulation,
    insulation_resistance,
    load_estimate,
    locked_rotor,
    overload,
    regrease,
    regrease_tables,
    thickeners,
    touch,
    units,
    vibration_standards,
    voltage_unbalance,
)

Inputs = dict[str, Any]


class Unmapped(Exception):
    """No public function answers this topic, name and set of inputs."""


def need(inputs: Inputs, *names: str) -> Any:
    """The first of these inputs that is there."""
    for name in names:
        if inputs.get(name) is not None:
            return inputs[name]
    raise Unmapped(f"none of {', '.join(names)} among the inputs")


def has(inputs: Inputs, *names: str) -> bool:
    return all(inputs.get(name) is not None for name in names)


def fraction(value: float) -> float:
    """An efficiency or power factor that was written in percent, as a fraction."""
    return value / 100.0 if value > 1 else value


def mean(value: float | list[float]) -> float:
    return sum(value) / len(value) if isinstance(value, list) else value


def pick(answers: dict[str, Callable[[], Any]], name: str) -> Any:
    if name not in answers:
        raise Unmapped(f"no function for {name}")
    return answers[name]()


# ----------------------------------------------------------------------------------------------------------------
# electrical


def amps_formula(i: Inputs, name: str) -> Any:
    eff, pf, phases = i.get("eff", i.get("efficiency")), i.get("pf"), i.get("phases", 3)
    volts = i.get("volts", i.get("v"))
    amps = i.get("amps", i.get("i", i.get("table_amps")))

    def line_amps() -> float:
        if has(i, "amps_2300V") or (eff is None and volts and volts > 2300):
            return full_load.medium_voltage_amps(i["hp"], volts)
        return full_load.formula_amps(need(i, "hp"), volts, fraction(eff), fraction(pf), phases)

    def input_kw() -> float:
        if has(i, "hp") and eff is not None:
            return full_load.input_kw(i["hp"], fraction(eff))
        return full_load.kva(volts, amps, phases) * fraction(pf)

    def hp_out() -> float:
        return full_load.output_hp(volts, amps, fraction(eff), fraction(pf), phases)

    return pick({
        "amps": line_amps, "kw_in": input_kw, "loss_kw": lambda: full_load.loss_kw(need(i, "hp"), fraction(eff)),
        "kva": lambda: full_load.kva(volts, amps, phases), "hp": hp_out, "hp_out": hp_out, "load_hp": hp_out,
        "eff_pf": lambda: full_load.implied_efficiency_pf(need(i, "hp"), volts, amps, phases),
        "effpf": lambda: full_load.implied_efficiency_pf(need(i, "hp"), volts, amps, phases),
        "pf": lambda: full_load.typical_power_factor(need(i, "hp")),
        "kw_out": lambda: units.kw_from_hp(need(i, "hp")), "kw": lambda: units.kw_from_hp(need(i, "hp")),
    }, name)


def full_load_amps(i: Inputs, name: str) -> Any:
    return pick({
        "table_amps": lambda: full_load.table_amps(need(i, "hp"), need(i, "volts", "v")),
        "max_locked_rotor_amps": lambda: full_load.table_locked_rotor_amps(need(i, "hp"), need(i, "volts", "v")),
        "amps": lambda: full_load.medium_voltage_amps(need(i, "hp"), need(i, "volts", "v")),
    }, name)


def efficiency(i: Inputs, name: str) -> Any:
    if name in ("percent", "efficiency_percent", "eff_percent"):
        return full_load.nominal_efficiency_percent(need(i, "hp"), need(i, "poles"), i.get("enclosure", "enclosed"))
    if name == "eff":
        return full_load.nominal_efficiency_percent(i["hp"], i["poles"], i.get("enclosure", "enclosed")) / 100.0
    if "eff" not in i and has(i, "hp", "poles"):
        percent = full_load.nominal_efficiency_percent(i["hp"], i["poles"], i.get("enclosure", "enclosed"))
        return amps_formula({**i, "eff": percent}, name)
    return amps_formula(i, name)


def load_percent(i: Inputs) -> float:
    method = i["method"]
    if method == "ratio":
        return load_estimate.by_ratio(mean(i["i"]), i["i_rated"], mean(i["v"]), i["v_rated"])
    if method == "linear_noload":
        return load_estimate.by_no_load_line(mean(i["i"]), i["i_rated"], i["i_noload"])
    if method == "half_noload":
        return load_estimate.by_half_no_load(mean(i["i"]), i["i_rated"], i["i_noload"])
    if method in ("slip", "slip_v"):
        volts = mean(i["v"]) if has(i, "v") else None
        return load_estimate.by_slip(i["n"], i["n_sync"], i["n_nameplate"], volts, i.get("v_rated"))
    if method == "input_power":
        return load_estimate.by_input_power(load_kw(i), i["hp"], fraction(need(i, "eff", "efficiency")))
    raise Unmapped(f"load method {method}")


def load_kw(i: Inputs) -> float:
    if has(i, "kw_in"):
        return float(i["kw_in"])
    v, amps, pf = ([x] if isinstance(x, int | float) else x for x in (i["v"], i["i"], i["pf"]))
    return load_estimate.input_kw(v, amps, [fraction(x) for x in pf])


def load_from_amps(i: Inputs, name: str) -> Any:
    return pick({
        "load_percent": lambda: load_percent(i), "load": lambda: load_percent(i) / 100.0,
        "load_fraction": lambda: load_percent(i) / 100.0, "load_hp": lambda: load_percent(i) / 100.0 * i["hp"],
        "load_kw": lambda: units.kw_from_hp(load_percent(i) / 100.0 * i["hp"]), "kw_in": lambda: load_kw(i),
    }, name)


def locked(i: Inputs, name: str) -> Any:
    phases = i.get("phases", 3)

    def letter() -> str:
        if has(i, "kva_per_hp"):
            return locked_rotor.code_letter(i["kva_per_hp"])
        return locked_rotor.code_letter_for(i["hp"], i["volts"], need(i, "locked_rotor_amps", "amps", "lra"), phases)

    def amps() -> float:
        if not has(i, "code"):
            return full_load.table_locked_rotor_amps(i["hp"], i["volts"])
        return locked_rotor.locked_rotor_amps(i["code"], i["hp"], i["volts"], i.get("use", "max"), phases)

    def per_hp() -> float:
        if has(i, "code"):
            return float(locked_rotor.locked_rotor_amps(i["code"], 1.0, 1.0, i.get("use", "max"), 1) / 1000.0)
        lra = need(i, "locked_rotor_amps", "amps", "lra")
        return full_load.kva(i["volts"], lra, phases) / float(i["hp"])

    return pick({
        "code_letter": letter, "code": letter, "locked_rotor_amps": amps, "kva_per_hp": per_hp,
        "max_locked_rotor_amps": amps, "kva_per_hp_min": lambda: locked_rotor.kva_per_hp(i["code"])[0],
        "kva_per_hp_max": lambda: locked_rotor.locked_rotor_amps(i["code"], 1.0, 1.0, "max", 1) / 1000.0,
    }, name)


DEVICES = {"inv": "inverse-time breaker", "dual": "dual-element time-delay fuse",
           "time-delay": "dual-element time-delay fuse", "non": "non-time-delay fuse",
           "inst": "instantaneous-trip breaker"}
MOTORS = {"squirrel": "squirrel cage", "design b": "Design B energy-efficient", "wound": "wound rotor",
          "sync": "synchronous"}


def starts_with(words: dict[str, str], text: str) -> str:
    return next((full for start, full in words.items() if text.lower().startswith(start)), text)


def overload_percent(i: Inputs) -> float:
    if has(i, "device"):
        motor = starts_with(MOTORS, i.get("motor", "squirrel cage"))
        return overload.short_circuit_percent(motor, starts_with(DEVICES, i["device"]))
    if i.get("integral_protector"):
        return overload.integral_percent(i["table_amps"])
    if "max" in str(i.get("question", "")) or "increase" in str(i.get("question", "")):
        return overload.ceiling_percent(i.get("service_factor"), i.get("rise_c"))
    return overload.setting_percent(i.get("service_factor"), i.get("rise_c"))


def protection(i: Inputs, name: str) -> Any:
    return pick({
        "percent": lambda: overload_percent(i),
        **{n: lambda: need(i, "nameplate_amps", "table_amps") * overload_percent(i) / 100.0
           for n in ("max_trip_amps", "amps", "max_amps", "ceiling_amps", "max_device_amps")},
        **{n: lambda: overload.longest_trip_s(need(i, "trip_class", "class"), i.get("multiple", 6))
           for n in ("max_seconds", "seconds")},
        **{n: lambda: overload.restarts_by_itself(need(i, "control", "interlock"))
           for n in ("restarts_by_itself_after_power_returns", "restarts_by_itself")},
        **{n: lambda: overload.embedded_detectors_required(need(i, "hp"))
           for n in ("embedded_detectors_required", "embedded_detector_required")},
    }, name)


def unbalance(i: Inputs, name: str) -> Any:
    def percent() -> float:
        return float(i["percent"]) if has(i, "percent") else balance.unbalance_percent(need(i, "v", "i", "volts"))

    def off() -> float:
        rated = need(i, "v_rated", "rated", "nameplate_volts")
        return balance.away_percent(mean(need(i, "v", "volts")), rated)

    return pick({
        "percent": percent, "current_percent": percent, "derate": lambda: voltage_unbalance.derating(percent()),
        "derate_hp": lambda: voltage_unbalance.derating(percent()) * i["hp"],
        "usable_hp": lambda: voltage_unbalance.derating(percent()) * i["hp"],
        "temp_rise_increase_percent": lambda: voltage_unbalance.rise_increase_percent(percent()),
        "rise_k": lambda: i["rise_k"] * (1 + voltage_unbalance.rise_increase_percent(percent()) / 100.0),
        "current_unbalance_percent_min": lambda: voltage_unbalance.current_unbalance_percent(percent())[0],
        "current_unbalance_percent_max": lambda: voltage_unbalance.current_unbalance_percent(percent())[1],
        "off_percent": off,
        **{n: lambda: voltage_unbalance.within_tolerance(i["volts_percent"] if has(i, "volts_percent") else
                                                         off() if has(i, "v") else 0.0, i.get("hertz_percent", 0.0))
           for n in ("within_tolerance", "ok")},
        "exceeds_1_percent": lambda: percent() > 1, "exceeds_5_percent": lambda: percent() > 5,
    }, name)


# ----------------------------------------------------------------------------------------------------------------
# insulation and heat


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


# ----------------------------------------------------------------------------------------------------------------
# bearings and grease


def bearing_size(i: Inputs, name: str) -> Any:
    bore, outside, width = (lambda: bearing_numbers.dimensions(i["bearing"])[0],
                            lambda: bearing_numbers.dimensions(i["bearing"])[1],
                            lambda: bearing_numbers.dimensions(i["bearing"])[2])
    return pick({
        "d_mm": bore, "bore_mm": bore, "bore_d_mm": bore, "D_mm": outside, "outside_D_mm": outside, "B_mm": width,
        "width_B_mm": width, "width_mm": width, "outside_mm": outside,
        "grams": lambda: grease_amounts.bearing_grease_g(i["bearing"]),
        "sealed": lambda: bearing_numbers.read_bearing(i["bearing"]).sealed,
    }, name)


def mixing(i: Inputs, name: str) -> Any:
    pair = thickeners.mixing(need(i, "a", "in_bearing", "thickener_in_bearing"), need(i, "b", "to_add",
                                                                                      "thickener_to_add"))
    return pick({"rating": lambda: pair.rating, "app_action": lambda: pair.action, "action": lambda: pair.action,
                 "compatible": lambda: pair.mixes, "mixes": lambda: pair.mixes, "may_mix": lambda: pair.mixes,
                 "disputed": lambda: bool(pair.disputed)}, name)


def grams(i: Inputs) -> float:
    if has(i, "ounces"):
        return units.g_from_oz(i["ounces"])
    if has(i, "D_in", "B_in"):
        return units.g_from_oz(grease_amounts.grease_oz(i["D_in"], i["B_in"]))
    if has(i, "D_mm", "B_mm"):
        return grease_amounts.grease_g(i["D_mm"], i["B_mm"])
    if i.get("table") == "hv":
        return regrease_tables.hv_grease_g(i["bearing"], i.get("rpm", 1800.0))
    return grease_amounts.bearing_grease_g(i["bearing"])


def interval_k(i: Inputs) -> float:
    if has(i, "K"):
        return float(i["K"])
    product = 1.0
    for factor in ("Ft", "Fc", "Fm", "Fv", "Fp", "Fd"):
        if has(i, factor):
            product *= i[factor] if isinstance(i[factor], int | float) else regrease.word_factor(factor, i[factor])
    if not has(i, "Fd"):
        kind = bearing_numbers.read_bearing(i["bearing"]).kind if has(i, "bearing") else i.get("bearing_type", "ball")
        product *= regrease.design_factor(kind)
    if has(i, "housing_c"):
        product *= regrease.band_factor("Ft", i["housing_c"])
    return product


def hours(i: Inputs) -> float:
    if has(i, "base_hours"):
        if has(i, "operating_f"):
            return regrease.above_150_f_h(i["base_hours"], i["operating_f"])
        interval = regrease.at_temperature_h(i["base_hours"], i.get("bearing_c", 70.0), i.get("base_c", 70.0))
        return interval * (grease_amounts.rule("vertical") if i.get("position") == "vertical" else 1.0)
    if i.get("table") == "hv":
        base = regrease_tables.hv_interval_h(i["bearing"], i["rpm"], i.get("position", "horizontal"))
        return regrease.at_temperature_h(base, i["bearing_c"]) if has(i, "bearing_c") else base
    if i.get("method") == "frame_table" or has(i, "frame"):
        kind = "ball" if "roller" not in str(i.get("bearing_type", i.get("bearing", "ball"))) else "cylindrical roller"
        return regrease_tables.frame_interval_h(str(i["frame"]), i["rpm"], i.get("severity", "standard"),
                                                i.get("position", "horizontal"), kind)
    bore = i["d_mm"] if has(i, "d_mm") else bearing_numbers.dimensions(i["bearing"])[0]
    return regrease.formula_interval_h(i["rpm"], bore, interval_k(i))


def greasing(i: Inputs, name: str) -> Any:
    def months() -> float:
        return regrease_tables.hp_interval_months(i["hp"], i.get("duty", "normal"))

    def ounces() -> float:
        if has(i, "D_in", "B_in"):
            return grease_amounts.grease_oz(i["D_in"], i["B_in"])
        return units.oz_from_g(i["grams"] if has(i, "grams") else grams(i))

    def factor() -> float:
        if has(i, "bearing_c"):
            return regrease.guide_temperature_factor(i["bearing_c"])
        if has(i, "housing_c"):
            return regrease.band_factor("Ft", i["housing_c"])
        if has(i, "vibration_in_s_peak"):
            return regrease.band_factor("Fv", i["vibration_in_s_peak"])
        return interval_k(i)

    return pick({
        "grams": lambda: grams(i), "g": lambda: grams(i), "ounces": ounces, "hours": lambda: hours(i),
        "interval_h": lambda: hours(i), "K": lambda: interval_k(i), "factor": factor, "Ft": factor, "Fv": factor,
        "printed_grams": lambda: grease_amounts.printed_grease_g(i["bearing"], i.get("maker")),
        "months": months, "years": lambda: months() / 12.0, "teaspoons": lambda: units.convert(
            i["grams"] if has(i, "grams") else grams(i), "g", "teaspoon of grease"),
        "strokes": lambda: grease_amounts.strokes(i["grams"] if has(i, "grams") else grams(i),
                                                  need(i, "grams_per_stroke", "g_per_stroke")),
    }, name)


def starts(i: Inputs, name: str) -> Any:
    if name in ("cold", "hot", "consecutive_cold", "consecutive_hot", "cold_starts", "hot_starts"):
        return consecutive_starts.consecutive_starts(i.get("standard", "NEMA MG 1 12.54"))["hot" in name]
    from app.rules import starting

    if name in ("A", "B", "C"):
        return getattr(starting.mg10(need(i, "hp"), need(i, "poles")), name.lower())
    return pick({n: lambda: starting.mg10_starts_per_hour(need(i, "hp"), need(i, "poles"), i.get("load_wk2_lbft2"))
                 for n in ("allowed_starts_per_hour", "starts_per_hour", "max_starts_per_hour")} |
                {n: lambda: int(starting.mg10_starts_per_hour(i["hp"], i["poles"], i.get("load_wk2_lbft2")))
                 for n in ("whole_starts_per_hour", "whole_starts")} |
                {n: lambda: starting.mg10(i["hp"], i["poles"]).c for n in ("min_off_time_s", "off_time_s", "rest_s")},
                name)


# ----------------------------------------------------------------------------------------------------------------
# units and vibration

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


def conversion(i: Inputs, name: str) -> Any:
    """Any amount into any other of its kind; velocity and displacement by way of a speed."""
    source = next((key for key in i if key in NAMES), None)
    if source is None or name not in NAMES:
        raise Unmapped(f"no conversion from {', '.join(i)} to {name}")
    value, rpm = i[source], i.get("rpm", i["hz"] * 60 if "hz" in i else None)
    if source in DISPLACEMENT and name not in DISPLACEMENT:
        um = units.convert(value, NAMES[source], "um")
        return units.convert(units.mm_s_rms_from_um_pp(um, need({"rpm": rpm}, "rpm")), "mm/s rms", NAMES[name])
    if name in DISPLACEMENT and source not in DISPLACEMENT:
        mm_s = units.convert(value, NAMES[source], "mm/s rms")
        return units.convert(units.um_pp_from_mm_s_rms(mm_s, need({"rpm": rpm}, "rpm")), "um", NAMES[name])
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
        "change_significant": lambda: vibration_standards.change_is_significant(i["change_mm_s"], zone_group(i), support),
        "alarm_in_s": lambda: vibration_standards.baseline_alarm(baseline) if baseline is not None else
        vibration_standards.rule("field alarm"),
        "trip_in_s": lambda: vibration_standards.baseline_trip(baseline) if baseline is not None else
        vibration_standards.rule("field trip"),
    }
    return answers[name]() if name in answers else conversion(i, name)


TOPICS: dict[str, Callable[[Inputs, str], Any]] = {
    "amps_formula": amps_formula, "bearing_dimensions": bearing_size, "bearing_temperature": bearing_heat,
    "efficiency": efficiency, "full_load_amps": full_load_amps, "grease_compatibility": mixing, "insulation": heat,
    "insulation_resistance": megohms, "load_from_amps": load_from_amps, "locked_rotor": locked, "overload": protection,
    "regrease": greasing, "starts": starts, "touch": hands, "units": conversion, "vibration": vibration,
    "voltage_unbalance": unbalance,
}


@dataclass(frozen=True)
class Outcome:
    """One example: did it pass, and what came."""

    example_id: str
    passed: bool
    expected: str
    got: str
    source: str


def answer(topic: str, inputs: Inputs, name: str) -> Any:
    """What app.rules says. Raises Unmapped, or the rule's own named error."""
    if topic not in TOPICS:
        raise Unmapped(f"no such topic: {topic}")
    try:
        return TOPICS[topic](inputs, name)
    except KeyError as missing:
        if type(missing) is KeyError:
            raise Unmapped(f"input {missing} is missing") from missing
        raise


def named(error: Exception) -> bool:
    """An error that app.rules names, not a slip of Python's."""
    return type(error).__module__.startswith("app.rules")


def agrees(got: Any, expected: str, tolerance: str) -> bool:
    if expected in ("True", "False"):
        return isinstance(got, bool) and str(got) == expected
    try:
        wanted = float(expected)
    except ValueError:
        return str(got).strip().casefold() == expected.strip().casefold()
    if isinstance(got, bool) or not isinstance(got, int | float | str):
        return False
    slack = 1e-9 * max(1.0, abs(wanted))
    return abs(float(got) - wanted) <= float(tolerance or 0) + slack


def run(row: dict[str, str]) -> Outcome:
    """One row of the file."""
    expected = row["expected_value"].strip()
    try:
        got = answer(row["topic"], json.loads(row["inputs_json"]), row["expected_name"])
        passed, shown = expected != "null" and agrees(got, expected, row.get("tolerance", "0")), repr(got)
    except Exception as error:
        passed, shown = expected == "null" and named(error), f"{type(error).__name__}: {error}"
    return Outcome(row["example_id"], passed, f"{row['expected_name']} = {expected} ± {row.get('tolerance', '0')}",
                   shown, row.get("source", ""))


def examples(path: Path) -> Iterator[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        yield from csv.DictReader(file)


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        print("usage: python -m tests.worked_examples FILE.csv", file=sys.stderr)
        return 2
    outcomes = [run(row) for row in examples(Path(arguments[0]))]
    failed = [outcome for outcome in outcomes if not outcome.passed]
    for outcome in failed:
        print(f"{outcome.example_id}: expected {outcome.expected}, got {outcome.got}")
    print(f"{len(outcomes) - len(failed)} passed, {len(failed)} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
