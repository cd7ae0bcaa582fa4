"""How often to grease, after the makers' tables: by frame and rpm, by bearing and rpm, by hp and duty.

A 286T (280 series) at 1,750 rpm in severe service: 9,500 h × 0.5 = 4,750 h, the maker's own sample. A speed between two
columns is read in the faster one; above the fastest the maker has to say.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.bearing_numbers import BALL, read_bearing
from app.rules.frames import read_frame
from app.rules.grease_amounts import rule
from app.rules.tables import NotInTable


def frame_interval_h(frame: str, rpm: float, severity: str = "standard", position: str = "horizontal",
                     kind: str = BALL) -> float:
    """Hours by frame, rpm and service after a motor maker's table. Raises NotInTable, MakesNoSense."""
    row = _frame_row(frame, rpm)
    turned = rule("vertical") if position == "vertical" else 1.0
    rolls = 1.0 if kind == BALL else rule("roller")
    return float(row["hours"]) * tables.figure("regrease_service", "multiplier", severity=severity) * turned * rolls


def hv_interval_h(bearing: str, rpm: float, position: str = "horizontal") -> float:
    """Hours by bearing and rpm at 70 °C after a high-voltage maker's catalogue. Raises NotInTable."""
    row = _hv_row(bearing, rpm)
    twice_as_often = position == "vertical" and read_bearing(bearing).kind == BALL
    return float(row["hours"]) * (rule("vertical") if twice_as_often else 1.0)


def hv_grease_g(bearing: str, rpm: float = 1800.0) -> float:
    """Grams to add after the same catalogue. Raises NotInTable."""
    return float(_hv_row(bearing, rpm)["grease_g"])


def hp_interval_months(hp: float, duty: str = "normal") -> float:
    """Months by hp and duty ("light", "normal", "seasonal", "hot dirty") after a service page. Raises NotInTable."""
    for row in tables.rows("regrease_hp"):
        if row["duty"] == duty and tables.within(hp, row["hp_over"], row["hp_to"]):
            return float(row["months"])
    raise NotInTable("regrease_hp", f"{hp:g} hp, {duty}")


def _frame_row(frame: str, rpm: float) -> tables.Row:
    read = read_frame(frame)
    for row in sorted(tables.rows("regrease_frame"), key=lambda r: (float(r["nema_series_to"]), float(r["rpm"]))):
        top = float(row["iec_frame_to"] if read.standard == "IEC" else row["nema_series_to"])
        if read.series <= top and rpm <= float(row["rpm"]):
            return row
    raise NotInTable("regrease_frame", f"frame {frame} at {rpm:g} rpm")


def _hv_row(bearing: str, rpm: float) -> tables.Row:
    number = read_bearing(bearing).number
    listed = [row for row in tables.rows("regrease_hv") if row["bearing"] == number]
    columns = sorted({float(row["rpm_to"]) for row in tables.rows("regrease_hv")})
    column = next((top for top in columns if rpm <= top), None)
    for row in listed:
        if float(row["rpm_to"]) == column:
            return row
    raise NotInTable("regrease_hv", f"{number} at {rpm:g} rpm")
