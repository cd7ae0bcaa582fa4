"""Worked examples of bearings, grease and starts."""

from __future__ import annotations

from typing import Any

from app.rules import (
    bearing_numbers,
    consecutive_starts,
    grease_amounts,
    regrease,
    regrease_tables,
    thickeners,
    units,
)
from tests.rules.topic_inputs import Inputs, has, need, pick


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
