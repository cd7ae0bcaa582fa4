"""A limit as a person types and reads it: in the unit's own scale, kept in SI."""

from __future__ import annotations

from app.rules import wording
from app.rules.units import c_from_f, k_from_f_difference, ml_from_fl_oz, mm_s_rms_from_in_s_peak
from app.store.units import Unit

_BACK = {"°F": {"°C": c_from_f, "K": k_from_f_difference}, "in/s peak": {"mm/s": mm_s_rms_from_in_s_peak},
         "fl oz": {"mL": ml_from_fl_oz}}


def scale_of(unit: Unit, unit_of_measure: str) -> wording.Scale:
    """The scale that this unit reads a limit of this unit of measure in."""
    return wording.of_measure(unit.show, unit_of_measure)


def shown(unit: Unit, value: float, unit_of_measure: str) -> float:
    return scale_of(unit, unit_of_measure).convert(value)


def stored(unit: Unit, typed: float, unit_of_measure: str) -> float:
    """SI again, from what was typed in the unit's scale."""
    back = _BACK.get(scale_of(unit, unit_of_measure).unit, {}).get(unit_of_measure)
    return typed if back is None else back(typed)
