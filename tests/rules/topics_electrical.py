"""Worked examples of amps, load, locked rotor, protection and uneven volts."""

from __future__ import annotations

from typing import Any

from app.rules import (
    balance,
    full_load,
    load_estimate,
    locked_rotor,
    overload,
    units,
    voltage_unbalance,
)
from tests.rules.topic_inputs import Inputs, Unmapped, fraction, has, mean, need, pick


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


def enclosure(i: Inputs) -> str:
    """Open or enclosed, whatever the plate calls it."""
    return "open" if str(i.get("enclosure", "enclosed")).lower().startswith("o") else "enclosed"


def efficiency(i: Inputs, name: str) -> Any:
    if name in ("percent", "efficiency_percent", "eff_percent"):
        return full_load.nominal_efficiency_percent(need(i, "hp"), need(i, "poles"), enclosure(i))
    if name == "eff":
        return full_load.nominal_efficiency_percent(i["hp"], i["poles"], enclosure(i)) / 100.0
    if "eff" not in i and has(i, "hp", "poles"):
        percent = full_load.nominal_efficiency_percent(i["hp"], i["poles"], enclosure(i))
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
