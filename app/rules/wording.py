"""Figures as a sentence shows them: in the unit's display units, short, and never equal where they differ.

A finding's sentence names the motor's own figure, the limit, where the limit comes from and one thing to do,
in 30 words at most. Values in a finding stay SI; only the sentence is converted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from app.rules import units
from app.rules.facts import Show

MOST_PLACES = 6  # limits are compared after rounding to six decimals


def _same(value: float) -> float:
    return value


@dataclass(frozen=True)
class Scale:
    """A display unit: how to get there from SI, and how many decimals are worth reading."""

    unit: str
    places: int = 1
    convert: Callable[[float], float] = _same


AMPS = Scale("A")
VOLTS = Scale("V")
PERCENT = Scale("%")
DAYS = Scale("days")
HOURS = Scale("h", 0)


def temperature(show: Show) -> Scale:
    """A temperature: °C or °F."""
    return Scale("°F", 1, units.f_from_c) if show.temperature == "F" else Scale("°C")


def difference(show: Show) -> Scale:
    """A temperature difference: K, or °F without the 32."""
    return Scale("°F", 1, units.f_difference_from_k) if show.temperature == "F" else Scale("K")


def vibration(show: Show) -> Scale:
    """A vibration velocity: mm/s RMS, or in/s peak of the same sine wave."""
    if show.vibration == "in/s":
        return Scale("in/s peak", 2, units.in_s_peak_from_mm_s_rms)
    return Scale("mm/s")


def grease(show: Show) -> Scale:
    """An amount of grease: g or oz."""
    return Scale("oz", 2, units.oz_from_g) if show.grease == "oz" else Scale("g")


def oil(show: Show) -> Scale:
    """An amount of oil: mL or fl oz."""
    return Scale("fl oz", 1, units.fl_oz_from_ml) if show.grease == "oz" else Scale("mL", 0)


def of_measure(show: Show, unit_of_measure: str) -> Scale:
    """The scale in which a unit reads a figure kept in this unit of measure; its own where there is no other."""
    scales = {"°C": temperature, "K": difference, "mm/s": vibration, "mL": oil}
    return scales[unit_of_measure](show) if unit_of_measure in scales else Scale(unit_of_measure)


def digits(value: float, places: int) -> str:
    """At most `places` decimals, no trailing zeros, no minus zero.

    >>> digits(92.0, 1), digits(100.05, 2), digits(-0.01, 1)
    ('92', '100.05', '0')
    """
    text = f"{value:,.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def figure(value: float, scale: Scale) -> str:
    """One figure with its unit: 199.4 °F."""
    return f"{digits(scale.convert(value), scale.places)} {scale.unit}"


def pair(value: float, limit: float, scale: Scale) -> tuple[str, str]:
    """Value and limit with their unit, with as many decimals as it takes to tell them apart.

    >>> pair(90.04, 90.0, Scale("°C"))
    ('90.04 °C', '90 °C')
    """
    a, b = scale.convert(value), scale.convert(limit)
    for places in range(scale.places, MOST_PLACES + 1):
        if digits(a, places) != digits(b, places):
            break
    return f"{digits(a, places)} {scale.unit}", f"{digits(b, places)} {scale.unit}"


def listed(words: list[str]) -> str:
    """a; a and b; a, b and c."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else ""
