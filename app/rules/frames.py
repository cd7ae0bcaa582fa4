"""Frame numbers: NEMA series and shaft height, IEC shaft height.

A NEMA frame's first two digits over four are the shaft height in inches: 286T belongs to the 280 series and stands
7 in high. An IEC frame number is the shaft height in mm (NEMA MG 1 part 4 and IEC 60072-1 practice, from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from app.rules.tables import MakesNoSense
from app.rules.units import MM_PER_IN

#: shaft heights that are IEC frames and no NEMA frames, so that a bare number tells
_IEC_ONLY = {63, 71, 80, 90, 100, 112, 132, 160, 200, 225, 250, 315, 355, 400, 450, 500, 560, 630}
_FRAME = re.compile(r"(?P<iec>IEC\s*)?(?P<digits>\d{2,4})\s*(?P<suffix>[A-Z]*)")


@dataclass(frozen=True)
class Frame:
    """A frame number: series is the NEMA series (280 for 286T) or the IEC frame; height in mm, None if unknown."""

    standard: str  # "NEMA" or "IEC"
    series: int
    shaft_height_mm: float | None


def read_frame(text: str) -> Frame:
    """What a frame stamp says. Raises MakesNoSense for a text that is no frame."""
    found = _FRAME.match(text.strip().upper())
    if found is None:
        raise MakesNoSense(f"“{text}” is not a frame number. Enter it as stamped, such as 286T or IEC 180M.")
    digits = found["digits"]
    if found["iec"] or found["suffix"][:1] in ("M", "L") or int(digits) in _IEC_ONLY:
        return Frame("IEC", int(digits), float(digits))
    if len(digits) == 2:  # fractional horsepower: sixteenths of an inch
        return Frame("NEMA", int(digits), int(digits) / 16 * MM_PER_IN)
    series = int(digits[:2]) * (10 if len(digits) == 3 else 100)
    return Frame("NEMA", series, int(digits[:2]) / 4 * MM_PER_IN)
