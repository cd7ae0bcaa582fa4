"""A figure worth asking about before it is stored: typed in the other unit, or with a digit slipped.

Asked once, never refused: what the person answers is kept. Common practice, no published source. Both figures are in
the unit that is typed. Worked: 158 °C where 70 °C is usual is 158 °F = 70 °C; 740 A where 74 A is usual is 74 with a
nought too many. No question: 76 °C where 70 °C is usual, or 158 °C where nothing is known.

>>> asks(158.0, "°C", 70.0)
Doubt(meant=70.0, unit='°F')
>>> asks(740.0, "A", 74.0)
Doubt(meant=74.0, unit=None)
>>> asks(7.4, "A", 74.0)
Doubt(meant=74.0, unit=None)
>>> asks(76.0, "°C", 70.0) is None
True
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from app.rules import units

#: The unit that is taken for the typed one, and what a figure in it is in the typed one.
OTHER: dict[str, tuple[str, Callable[[float], float]]] = {
    "°C": ("°F", units.c_from_f), "°F": ("°C", units.f_from_c),
    "mm/s": ("in/s peak", units.mm_s_rms_from_in_s_peak), "in/s peak": ("mm/s", units.in_s_peak_from_mm_s_rms),
}
#: A temperature this far from its usual is worth a question; what is offered lies within the second.
FAR_K, NEAR_K = 15.0, 10.0
#: Anything else is far below the first or above the second part of its usual; what is offered lies between the others.
FAR, NEAR = (0.5, 2.0), (0.7, 1.4)
#: Against a nameplate, where nothing was read before: a motor may run at a fifth of it.
PLATE_FAR, PLATE_NEAR = (0.2, 2.0), (0.25, 1.25)


@dataclass(frozen=True)
class Doubt:
    """meant: what it would be, in the unit typed. unit: the unit that was taken for it; None: a digit slipped."""

    meant: float
    unit: str | None = None


def asks(value: float, unit: str, usual: float | None, from_plate: bool = False) -> Doubt | None:
    """The question that a typed figure raises beside its usual one; None where there is none."""
    if usual is None or not _far(value, unit, usual, from_plate):
        return None
    if unit in OTHER and not from_plate:
        other, convert = OTHER[unit]
        if _near(convert(value), unit, usual, False):
            return Doubt(round(convert(value), 6), other)
    slipped = (value / 10, value * 10)
    meant = next((figure for figure in slipped if figure and _near(figure, unit, usual, from_plate)), None)
    return None if meant is None else Doubt(round(meant, 6))


def _far(value: float, unit: str, usual: float, from_plate: bool) -> bool:
    if unit in ("°C", "°F"):
        return round(abs(value - usual), 6) > _kelvins(FAR_K, unit)
    low, high = PLATE_FAR if from_plate else FAR
    return not low * usual <= value <= high * usual


def _near(value: float, unit: str, usual: float, from_plate: bool) -> bool:
    if unit in ("°C", "°F"):
        return round(abs(value - usual), 6) <= _kelvins(NEAR_K, unit)
    low, high = PLATE_NEAR if from_plate else NEAR
    return low * usual <= value <= high * usual


def _kelvins(difference_k: float, unit: str) -> float:
    return difference_k * 1.8 if unit == "°F" else difference_k
