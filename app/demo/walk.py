"""What an operator finds at a motor of the demo on an ordinary round: each motor around a normal of its own.

Bodies are those of the page and the JSON door. Temperatures are read in whole °F, as typed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from math import cos, pi
from random import Random
from typing import Any

from app.demo.plant import RUNS_HOT, Place
from app.rules import units

ENDS = ("DE", "ODE")
Body = dict[str, Any]


@dataclass(frozen=True)
class Normal:
    """Where this motor stands when all is well, at 20 °C of air around it."""

    load: float  # share of rated amps
    bearing_c: dict[str, float]
    winding_c: float
    vibration_mm_s: float


def normal_of(place: Place) -> Normal:
    """The same for a tag each time."""
    chance = Random(f"normal {place.tag}")
    de_c = chance.uniform(48, 60) + min(place.size_hp, 400) / 60
    bearing_c = {"DE": de_c, "ODE": de_c - chance.uniform(0.5, 2.2)}
    made = {"F-410": {"DE": 72.0, "ODE": 70.5}, "K-301": {"DE": 68.0, "ODE": 65.0}}
    load = {"P-210A": 0.95, "F-410": 0.84}.get(place.tag, chance.uniform(0.62, 0.88))
    vibration_mm_s = chance.uniform(0.7, 1.0 if place.size_hp <= 20 else 1.7)
    return Normal(load, made.get(place.tag, bearing_c), chance.uniform(82, 98), vibration_mm_s)


def air_c(place: Place, at: datetime) -> float:
    """Air around the motor by the local clock: warmest at four in the afternoon, with some weather."""
    hour = at.hour + at.minute / 60
    swing, mean = (4.5, 15.0) if place.outside else (1.5, 23.0)
    weather = (2.0 if place.outside else 0.5) * cos(2 * pi * at.toordinal() / 9.5)
    return mean + swing * cos(2 * pi * (hour - 16) / 24) + weather


def reading(place: Place, state: str, at: datetime, chance: Random, change: Body) -> tuple[Body, dict[str, str]]:
    """The body of one entry and what was typed in °F. `change` is what is out of the ordinary (see story.py)."""
    body: Body = {"state": state}
    if state in ("running", "standby"):
        body |= {"smoke": "none", "guard": "in place", "ground": "in place", "leak": "none", "cleanliness": "clean"}
        body["lubricant"] = {end: "ok" for end in ENDS if not place.sealed(end)}
    typed: dict[str, str] = {}
    if state == "running":
        _by_hand(place, body)
        typed = _measured(place, at, chance, change, body)
    for name, value in change.items():
        if not name.startswith("+"):
            body[name] = {**body.get(name, {}), **value} if isinstance(value, dict) else value
    return {name: value for name, value in body.items() if value not in (None, {})}, typed


def _by_hand(place: Place, body: Body) -> None:
    body["vibration_feel"] = dict.fromkeys(ENDS, "as usual")
    if place.method != "fitted" or place.size_hp < 300:
        body["winding_feel"] = "hot" if place.tag in RUNS_HOT else "warm"
    if place.method == "hand":
        body["bearing_feel"] = dict.fromkeys(ENDS, "warm")
    else:
        body["method"] = place.method


def _measured(place: Place, at: datetime, chance: Random, change: Body, body: Body) -> dict[str, str]:
    normal, warmer = normal_of(place), air_c(place, at) - 20
    typed: dict[str, str] = {}
    if place.method != "hand":
        body["bearing_temp_c"] = {}
        together = chance.gauss(0, 0.8)  # load and weather move both ends alike
        for end in ENDS:
            found = normal.bearing_c[end] + warmer + together + _within(chance, 0.3) + change.get(f"+{end}_k", 0.0)
            if "+stuck_f" in change:
                found = units.c_from_f(change["+stuck_f"][end])
            body["bearing_temp_c"][end], typed[f"bearing_temp_{end}"] = in_f(found)
    if place.method == "fitted" and place.size_hp >= 300:
        found = normal.winding_c + warmer / 2 + _within(chance, 1.2)
        body["winding_temp_c"], typed["winding_temp"] = in_f(found)
        body["winding_method"] = "fitted"
    if place.ammeter in ("one", "three"):
        body["current_a"] = amps(place, chance, change)
    if "+vibration" in change or (place.size_hp >= 100 and at.weekday() == 0 and 6 <= at.hour < 18):
        mm_s = {end: round(normal.vibration_mm_s * chance.uniform(0.93, 1.07), 1) for end in ENDS}
        body["vibration_mm_s"] = {**mm_s, **change.get("+vibration", {})}
    return typed


def amps(place: Place, chance: Random, change: Body) -> list[float]:
    """One phase or three, as the meter's scale lets them be read."""
    load = change.get("+load", normal_of(place).load) * (1 + _within(chance, 0.008))
    shares = change.get("+phases", (1.0,) * (3 if place.ammeter == "three" else 1))
    phases = [load * share * place.rated_a * (1 + _within(chance, 0.006)) for share in shares]
    step = 1.0 if place.rated_a >= 100 else 0.5 if place.rated_a >= 40 else 0.1
    return [round(round(a / step) * step, 1) for a in phases]


def _within(chance: Random, deviation: float) -> float:
    """Scatter of a gauge: bell-shaped, cut off at two deviations."""
    return max(-2 * deviation, min(2 * deviation, chance.gauss(0, deviation)))


def in_f(celsius: float) -> tuple[float, str]:
    """A temperature as read on a °F gauge: stored °C, and the words typed."""
    read_f = round(units.f_from_c(celsius))
    return units.c_from_f(read_f), f"{read_f} °F"
