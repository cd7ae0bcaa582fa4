"""How much grease: 0.005 × outside diameter × width, in g and mm (read in five pages).

6312: 0.005 × 130 × 31 = 20.15 g. A motor maker prints 60 g for 6319 and 130 g for 6328, which its own formula does not
give (45 and 93 g); the formula is used, the printed figure stands beside it.
"""

from __future__ import annotations

from math import floor

from app.rules import tables
from app.rules.bearing_numbers import dimensions, read_bearing
from app.rules.tables import MakesNoSense, NotInTable


def rule(name: str) -> float:
    """A figure of the regreasing rules. Raises NotInTable."""
    return tables.figure("regrease_rules", "value", rule=name)


def above_zero(*values: float) -> None:
    """Raises MakesNoSense for a size, speed or amount that is not above zero."""
    if any(value <= 0 for value in values):
        raise MakesNoSense("sizes, speeds and amounts must be above zero")


def grease_g(outside_mm: float, width_mm: float) -> float:
    """Grams to add: 0.005 × D × B. Raises MakesNoSense for a size that is not above zero."""
    above_zero(outside_mm, width_mm)
    return rule("qty_metric") * outside_mm * width_mm


def grease_oz(outside_in: float, width_in: float) -> float:
    """Ounces to add: 0.114 × D × B in inches (two pages round it to 0.1, 12 % less grease). Raises MakesNoSense."""
    above_zero(outside_in, width_in)
    return rule("qty_inch") * outside_in * width_in


def bearing_grease_g(bearing: str) -> float:
    """Grams to add to a bearing by its number. Raises NotInTable, and MakesNoSense for a sealed one."""
    if read_bearing(bearing).sealed:
        raise MakesNoSense(f"{bearing} is sealed: no grease belongs in it")
    _, outside_mm, width_mm = dimensions(bearing)
    return grease_g(outside_mm, width_mm)


def printed_grease_g(bearing: str, maker: str | None = None) -> float:
    """Grams a motor maker prints for it, "first" or "second" table; NU as the ball bearing. Raises NotInTable."""
    number = read_bearing(bearing).number
    for wanted in (number, number.replace("NU", "6", 1)):
        for row in tables.rows("grease_quantities"):
            if row["bearing"] == wanted and maker in (None, row["maker"]):
                return float(row["grease_g"])
    raise NotInTable("grease_quantities", bearing)


def strokes(grams: float, grams_a_stroke: float) -> int:
    """Whole strokes of a gun nearest the amount, at least one: 23 g at 1.35 g is 17. Raises MakesNoSense."""
    above_zero(grams, grams_a_stroke)
    return max(1, floor(grams / grams_a_stroke + 0.5))
