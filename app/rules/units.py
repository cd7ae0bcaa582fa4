"""Every conversion in one place. Stored amounts are SI; a temperature difference is not a temperature.

Factors are exact by definition unless said otherwise. Vibration amplitudes convert only for a single sine wave.

>>> f_from_c(60.0)
140.0
>>> f_difference_from_k(45.0)
81.0
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from app.rules.tables import MakesNoSense

KW_PER_HP = 0.746  # the electric horsepower, 746 W by convention (NIST SP 811, from memory)
KW_PER_MECHANICAL_HP = 0.745699872  # 550 ft-lbf/s, rounded, from memory
KW_PER_METRIC_HP = 0.73549875  # PS, from memory; never to be mixed with hp
MM_PER_IN = 25.4
G_PER_OZ = 28.349523125
ML_PER_FL_OZ = 29.5735295625  # US
G_PER_TEASPOON = 4.45  # grease, about: 17.4 g printed as 3.9 teaspoons in a motor maker's table
KG_M2_PER_LB_FT2 = 0.04214011  # Wk², rounded, from memory
#: in/s peak to mm/s RMS, one sine wave: 25.4 / √2 = 17.961
MM_S_RMS_PER_IN_S_PEAK = MM_PER_IN / sqrt(2)


def f_from_c(c: float) -> float:
    """A temperature: °F = 1.8 °C + 32."""
    return c * 1.8 + 32.0


def c_from_f(f: float) -> float:
    """A temperature: °C = (°F − 32) / 1.8."""
    return (f - 32.0) / 1.8


def f_difference_from_k(k: float) -> float:
    """A difference: 10 K is 18 °F, with no 32."""
    return k * 1.8


def k_from_f_difference(f: float) -> float:
    """A difference: 18 °F is 10 K, with no 32."""
    return f / 1.8


def kw_from_hp(hp: float) -> float:
    return hp * KW_PER_HP


def hp_from_kw(kw: float) -> float:
    return kw / KW_PER_HP


def mm_s_rms_from_in_s_peak(in_s: float) -> float:
    return in_s * MM_S_RMS_PER_IN_S_PEAK


def in_s_peak_from_mm_s_rms(mm_s: float) -> float:
    return mm_s / MM_S_RMS_PER_IN_S_PEAK


def g_from_oz(oz: float) -> float:
    return oz * G_PER_OZ


def oz_from_g(g: float) -> float:
    return g / G_PER_OZ


def ml_from_fl_oz(fl_oz: float) -> float:
    return fl_oz * ML_PER_FL_OZ


def fl_oz_from_ml(ml: float) -> float:
    return ml / ML_PER_FL_OZ


def um_pp_from_mm_s_rms(mm_s: float, rpm: float) -> float:
    """Displacement peak to peak of one sine wave at `rpm`: √2·v·1000 / (π·f), f = rpm/60. Raises MakesNoSense."""
    return mm_s * sqrt(2) * 1000.0 / (pi * _hz(rpm))


def mm_s_rms_from_um_pp(um: float, rpm: float) -> float:
    """Velocity RMS of one sine wave at `rpm`. Raises MakesNoSense."""
    return um * pi * _hz(rpm) / (sqrt(2) * 1000.0)


def _hz(rpm: float) -> float:
    if rpm <= 0:
        raise MakesNoSense("a displacement needs a speed above zero")
    return rpm / 60.0


@dataclass(frozen=True)
class Unit:
    """What it measures, and the straight line to that kind's base unit: base = factor × value + offset."""

    measures: str
    factor: float
    offset: float = 0.0


UNITS: dict[str, Unit] = {
    "degC": Unit("temperature", 1.0),
    "degF": Unit("temperature", 1 / 1.8, -32.0 / 1.8),
    "kelvin": Unit("temperature", 1.0, -273.15),
    "K difference": Unit("temperature difference", 1.0),
    "degF difference": Unit("temperature difference", 1 / 1.8),
    "kW": Unit("power", 1.0),
    "hp": Unit("power", KW_PER_HP),
    "mechanical hp": Unit("power", KW_PER_MECHANICAL_HP),
    "metric hp": Unit("power", KW_PER_METRIC_HP),
    "mm": Unit("length", 1.0),
    "in": Unit("length", MM_PER_IN),
    "um": Unit("length", 0.001),
    "mil": Unit("length", MM_PER_IN / 1000.0),
    "mm/s rms": Unit("vibration velocity", 1.0),
    "mm/s peak": Unit("vibration velocity", 1 / sqrt(2)),
    "in/s rms": Unit("vibration velocity", MM_PER_IN),
    "in/s peak": Unit("vibration velocity", MM_S_RMS_PER_IN_S_PEAK),
    "g": Unit("mass", 1.0),
    "oz": Unit("mass", G_PER_OZ),
    "teaspoon of grease": Unit("mass", G_PER_TEASPOON),
    "kg m2": Unit("inertia", 1.0),
    "lb ft2": Unit("inertia", KG_M2_PER_LB_FT2),
    "V line": Unit("voltage", 1.0),
    "V phase": Unit("voltage", sqrt(3)),
    "N m": Unit("torque", 1.0),
    "lb ft": Unit("torque", 1.3558179483314004),
}


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """value in another unit of the same kind.

    Raises MakesNoSense for an unknown unit, and for a temperature against a difference.
    """
    if from_unit not in UNITS or to_unit not in UNITS:
        raise MakesNoSense(f"no such unit: {from_unit if from_unit not in UNITS else to_unit}")
    a, b = UNITS[from_unit], UNITS[to_unit]
    if a.measures != b.measures:
        raise MakesNoSense(f"a {a.measures} in {from_unit} is no {b.measures} in {to_unit}")
    return (value * a.factor + a.offset - b.offset) / b.factor
