"""Bearing numbers as plates stamp them: bore, outside diameter, width, kind, sealed or not.

The last two digits are the bore code: 00 is 10 mm, 01 12, 02 15, 03 17, from 04 five times the code (ISO 15 practice).
Outside diameter and width come from the table of ISO 15 dimension series 02 and 03; what is not listed is declined.

>>> b = read_bearing("6312-2Z/C3")
>>> b.number, b.bore_mm, b.outside_mm, b.width_mm, b.sealed
('6312', 60.0, 130.0, 31.0, True)
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from app.rules import tables
from app.rules.tables import MakesNoSense, NotInTable

SMALL_BORES_MM = {"00": 10.0, "01": 12.0, "02": 15.0, "03": 17.0}
BALL, CYLINDRICAL, SPHERICAL, TAPERED = "ball", "cylindrical roller", "spherical roller", "tapered roller"
ANGULAR = "angular contact ball"
#: cylindrical roller forms that share the boundary dimensions of NU in the same ISO 15 series
_LIKE_NU = ("N", "NJ", "NUP", "NF")
_NUMBER = re.compile(r"(?P<prefix>(?:NUP|NU|NJ|NF|N)\s?(?=\d{3,4}(?!\d)))?(?P<digits>\d{3,5})(?P<rest>.*)", re.DOTALL)
#: closed on both sides, as the makers' suffixes in common use say it (common practice, no published source)
_SEALED = re.compile(r"(2-?Z|ZZ|2-?RS\w*|2-?RZ\w*|DDU\w*|LLU\w*|LLB\w*|VV)(?=$|[^A-Z]|C[2-5M])")


@dataclass(frozen=True)
class Bearing:
    """A bearing as read from its number; outside diameter and width are None where the table does not list it."""

    typed: str
    number: str
    kind: str | None
    bore_mm: float | None
    outside_mm: float | None
    width_mm: float | None
    sealed: bool


def read_bearing(text: str) -> Bearing:
    """What a stamped bearing number says. Raises MakesNoSense for a text that is no bearing number."""
    cleaned = " ".join(text.upper().split())
    found = _NUMBER.match(cleaned)
    if found is None:
        raise MakesNoSense(f"“{text}” is not a bearing number. Enter it as stamped, such as 6312-2Z/C3, or sleeve.")
    prefix, number = (found["prefix"] or "").strip(), found["digits"]
    if found["rest"][:1].isdigit() or (not prefix and len(number) == 3):
        raise MakesNoSense(f"“{text}” has too many or too few digits for a bearing number.")
    row = _row(prefix, number)
    return Bearing(
        typed=text, number=f"{prefix}{number}", kind=_kind(prefix, number), bore_mm=_bore_mm(number),
        outside_mm=float(row["outside_D_mm"]) if row else None, width_mm=float(row["width_B_mm"]) if row else None,
        sealed=_SEALED.search(found["rest"]) is not None,
    )


def dimensions(text: str) -> tuple[float, float, float]:
    """Bore, outside diameter, width in mm. Raises NotInTable where the table does not list the number."""
    bearing = read_bearing(text)
    if bearing.bore_mm is None or bearing.outside_mm is None or bearing.width_mm is None:
        raise NotInTable("bearing_dimensions", bearing.number)
    return bearing.bore_mm, bearing.outside_mm, bearing.width_mm


def is_sealed(text: str | None) -> bool:
    """The stamped number says closed on both sides; a sleeve or an unreadable number does not."""
    try:
        return text is not None and read_bearing(text).sealed
    except MakesNoSense:
        return False


def _row(prefix: str, number: str) -> tables.Row | None:
    listed = f"NU{number}" if prefix in _LIKE_NU else f"{prefix}{number}"
    return next((row for row in tables.rows("bearing_dimensions") if row["bearing"] == listed), None)


def _bore_mm(number: str) -> float:
    code = number[-2:]
    return SMALL_BORES_MM.get(code, 5.0 * int(code))


def _kind(prefix: str, number: str) -> str | None:
    if prefix:
        return CYLINDRICAL
    if len(number) == 5:
        return {"2": SPHERICAL, "3": TAPERED}.get(number[0])
    return {"6": BALL, "7": ANGULAR}.get(number[0])
