"""How often to grease: the handbook formula and its six factors. The chart on the motor wins.

Interval: K × (14,000,000 / (n × √d) − 4 × d) hours, n in rpm, d the bore in mm, K the product of six factors.
A 6309 at 1,800 rpm with K = 10: 10 × (14e6 / (1800 × √45) − 180) = 9,794 h. For a big fast bearing (d = 100 mm at
3,600 rpm) the formula falls below zero: that raises MakesNoSense, and the plate or the maker has to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, sqrt

from app.rules import tables
from app.rules.bearing_numbers import BALL, CYLINDRICAL, SPHERICAL, TAPERED, read_bearing
from app.rules.grease_amounts import above_zero, grease_g, rule
from app.rules.tables import MakesNoSense, NotInTable

BASE_C = 70.0
_KIND_FACTOR = {BALL: "ball", CYLINDRICAL: "cylindrical roller", SPHERICAL: "spherical roller",
                TAPERED: "spherical roller"}


def design_factor(kind: str | None) -> float:
    """Fd, the bearing's own factor: ball 10, cylindrical 5, spherical or tapered 1. Raises NotInTable."""
    return word_factor("Fd", _KIND_FACTOR.get(kind or "", str(kind)))


def word_factor(factor: str, word: str) -> float:
    """One of Fc, Fm, Fp, Fd by its word, such as ("Fc", "light abrasive"). Raises NotInTable."""
    return tables.figure("regrease_factors", "value", factor=factor, word=word)


def band_factor(factor: str, value: float) -> float:
    """Ft by housing °C or Fv by in/s peak. On the edge of two bands the shorter interval. Raises NotInTable."""
    bands = [row for row in tables.rows("regrease_factors") if row["factor"] == factor]
    held = [float(row["value"]) for row in bands if _in_band(value, row["over"], row["to"])]
    if not held:
        raise NotInTable("regrease_factors", f"{factor} at {value:g}")
    return min(held)


def k_factor(kind: str | None = BALL, housing_c: float = 40.0, contamination: str = "light non-abrasive",
             moisture: str = "below 80 %", vibration_in_s_peak: float = 0.0, position: str = "horizontal") -> float:
    """K, the product of the six factors of the handbook table. Raises NotInTable."""
    return (design_factor(kind) * band_factor("Ft", housing_c) * word_factor("Fc", contamination)
            * word_factor("Fm", moisture) * band_factor("Fv", vibration_in_s_peak) * word_factor("Fp", position))


def formula_interval_h(rpm: float, bore_mm: float, k: float) -> float:
    """Operating hours by the handbook formula, capped at 32,000 h. Raises MakesNoSense."""
    above_zero(rpm, bore_mm, k)
    result = k * (rule("formula") / (rpm * sqrt(bore_mm)) - 4.0 * bore_mm)
    if result <= 0:
        raise MakesNoSense(f"the formula gives no interval for a {bore_mm:g} mm bore at {rpm:g} rpm: "
                           "take it from the plate or the maker")
    return min(result, rule("cap"))


def at_temperature_h(base_hours: float, bearing_c: float, base_c: float = BASE_C) -> float:
    """Halved for every 15 K of bearing temperature above 70 °C; 15 K or more below may double it, once only."""
    step = rule("halve15")
    if bearing_c > base_c:
        return base_hours * float(0.5 ** ((bearing_c - base_c) / step))
    return base_hours * (rule("double15") if base_c - bearing_c >= step else 1.0)


def above_150_f_h(base_hours: float, operating_f: float) -> float:
    """Halved for every 25 °F above 150 °F, after a government maintenance handbook."""
    return base_hours * float(0.5 ** (max(0.0, operating_f - 150.0) / rule("halve25F")))


def guide_temperature_factor(bearing_c: float) -> float:
    """The drive guide's temperature factor; above 100 °C it asks for special grease. Raises NotInTable."""
    for row in tables.rows("regrease_guide_factors"):
        if tables.within(bearing_c, row["over_c"], row["to_c"]):
            return float(row["value"])
    raise NotInTable("regrease_guide_factors", f"{bearing_c:g} °C (special grease)")


@dataclass(frozen=True)
class Offer:
    """What the register offers for one bearing; None where the formula or the table has no answer, and why."""

    interval_run_h: float | None
    grease_g: float | None
    sealed: bool
    source: str
    why_not: str


def offer(bearing: str, rpm: float | None, k: float | None = None) -> Offer:
    """Interval and amount by the handbook, rounded down to whole hours; the lubrication chart wins. Never raises."""
    try:
        read = read_bearing(bearing)
    except MakesNoSense as error:
        return Offer(None, None, False, "", str(error))
    if read.sealed:
        return Offer(None, None, True, "", "sealed: no grease")
    amount = None if read.outside_mm is None or read.width_mm is None else grease_g(read.outside_mm, read.width_mm)
    try:
        if rpm is None or read.bore_mm is None:
            raise MakesNoSense("no speed on the plate")
        factor = design_factor(read.kind) if k is None else k
        interval = float(floor(formula_interval_h(rpm, read.bore_mm, factor)))
    except (MakesNoSense, NotInTable) as error:
        return Offer(None, amount, False, "handbook formula", str(error))
    return Offer(interval, amount, False, "handbook formula", "")


def _in_band(value: float, over: str, to: str) -> bool:
    """Middle bands hold both their edges; the first does not hold its top, the last not its bottom."""
    low, high = tables.number(over), tables.number(to)
    if low is None:
        return high is not None and value < high
    return value > low if high is None else low <= value <= high
