"""The NEMA MG 10 table of starts: A starts an hour at most, B starts an hour × load Wk², C seconds of rest between.

Design A and B motors, 1 to 250 hp, 2, 4 and 6 poles, load torque falling with the square of speed; both the hour and
the rest must be met. Published example (EASA handbook copy): 25 hp, 4-pole, load Wk² 50 lb-ft²: A 8.8, B 122,
122 / 50 = 2.44 starts an hour, lower than A; whole starts: 2. Without the inertia A alone is the upper bound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from app.rules import tables
from app.rules.tables import MakesNoSense, NotInTable

TABLE = "starts_mg10"
SOURCE = "NEMA MG 10 table"
A, B, C = "A_max_starts_per_hour", "B_max_starts_per_hour_x_load_wk2_lb_ft2", "C_min_off_time_between_starts_s"


@dataclass(frozen=True)
class Mg10Row:
    """One cell group: a in starts/h, b in starts/h × lb-ft², c in seconds at rest between starts."""

    a: float
    b: float
    c: float


def mg10(hp: float | None, poles: int | None) -> Mg10Row:
    """The table's row. Raises NotInTable for a size or a number of poles it does not list, or that is not known."""
    for row in tables.rows(TABLE):
        if hp is not None and math.isclose(float(row["hp"]), hp, abs_tol=1e-6) and row["poles"] == str(poles):
            return Mg10Row(float(row[A]), float(row[B]), float(row[C]))
    raise NotInTable(SOURCE, f"{'unknown' if hp is None else f'{hp:g}'} hp, {poles or 'unknown'} poles")


def mg10_starts_per_hour(hp: float | None, poles: int | None, load_wk2_lbft2: float | None = None) -> float:
    """Starts an hour, not rounded: the lesser of A and B ÷ load Wk² (lb-ft²); A alone where the inertia is not known.

    Raises NotInTable, and MakesNoSense for an inertia that is not above zero.

    >>> mg10_starts_per_hour(25, 4, 50.0), mg10_starts_per_hour(75, 4)
    (2.44, 5.8)
    """
    row = mg10(hp, poles)
    if load_wk2_lbft2 is None:
        return row.a
    if not 0.0 < load_wk2_lbft2 < math.inf:
        raise MakesNoSense("load Wk² must be above zero")
    return min(row.a, row.b / load_wk2_lbft2)
