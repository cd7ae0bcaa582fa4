"""The order of the checks at a motor: as the body moves, unless those who walk a route want it otherwise.

State and the look from two metres always come first, remarks last.
"""

from __future__ import annotations

from app.store.units import Unit

CHECKS = {"vibration": "Vibration", "heat": "Heat along the motor", "amps": "Ammeter", "lubricant": "Lubricant",
          "cleanliness": "Clean"}
AS_THE_BODY_MOVES = tuple(CHECKS)


def order_of(unit: Unit, area: str) -> tuple[str, ...]:
    """The order for a motor of this area: the area's own, else the unit's, else as the body moves."""
    kept = unit.check_order or {}
    order = kept.get(area) or kept.get("") or list(AS_THE_BODY_MOVES)
    return tuple(order) if sorted(order) == sorted(CHECKS) else AS_THE_BODY_MOVES
