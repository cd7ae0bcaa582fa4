"""What uneven volts do to a motor: derating, extra heat, uneven amps; and the tolerance of volts and hertz.

Unbalance itself is balance.unbalance_percent. Derating after the NEMA MG 1 curve as an engineering page tabulates it
(2 % 0.95, read in two pages; 3 % 0.89, where others print 0.88 and 0.90); above 5 % a motor should not run. Extra rise
of the worst phase: 2 × u², so 3 % is 18 % more rise.
"""

from __future__ import annotations

from app.rules import tables
from app.rules.findings import over
from app.rules.full_load import interpolated
from app.rules.tables import MakesNoSense, NotInTable

HIGHEST_PERCENT = 5.0


def derating(percent: float) -> float:
    """Factor on rated hp at this unbalance. Raises NotInTable above 5 %, MakesNoSense below zero."""
    _not_below_zero(percent)
    if over(percent, HIGHEST_PERCENT):
        raise NotInTable("NEMA MG 1 Figure 14-1", f"{percent:g} % unbalance: a motor should not run above 5 %")
    return interpolated(_curve(), percent)


def rise_increase_percent(percent: float) -> float:
    """More rise of the worst phase, in percent of the RISE: 2 × u². Raises MakesNoSense."""
    _not_below_zero(percent)
    return 2.0 * percent**2


def current_unbalance_percent(percent: float) -> tuple[float, float]:
    """Current unbalance to expect at full load: 6 to 10 times the voltage unbalance. Raises MakesNoSense."""
    _not_below_zero(percent)
    return 6.0 * percent, 10.0 * percent


def within_tolerance(volts_percent: float = 0.0, hertz_percent: float = 0.0) -> bool:
    """MG 1 12.44.1: volts within 10 %, hertz within 5 %, both together within 10 %."""
    volts_off, hertz_off = abs(volts_percent), abs(hertz_percent)
    return not (over(volts_off, 10.0) or over(hertz_off, 5.0) or over(volts_off + hertz_off, 10.0))


def _curve() -> list[tuple[float, float]]:
    """The page's points; the 1 % point, which it leaves out, from MG 1 (from memory)."""
    rows = tables.rows("voltage_unbalance_derating")
    page = {float(row["unbalance_percent"]): float(row["derate"]) for row in rows if row["curve"] == "table page"}
    memory = {float(row["unbalance_percent"]): float(row["derate"]) for row in rows if row["curve"] == "MG 1"}
    return sorted({1.0: memory[1.0], **page}.items())


def _not_below_zero(percent: float) -> None:
    if percent < 0:
        raise MakesNoSense("an unbalance is not below zero")
