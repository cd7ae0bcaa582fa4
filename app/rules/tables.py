"""The published tables as shipped under data/*.csv, each row with its source and how far it is confirmed.

Nothing else reads those files. Every figure a rule needs is a row there, so that it can be checked beside its source.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

Row = Mapping[str, str]


class NotInTable(LookupError):
    """The table holds no such row: the caller must decline, never guess. Says the table and what was asked."""

    def __init__(self, table: str, asked: str) -> None:
        super().__init__(f"{table} does not list {asked}")
        self.table = table
        self.asked = asked


class MakesNoSense(ValueError):
    """The figures given cannot be true, or a formula gives nothing usable for them."""


@cache
def rows(name: str) -> tuple[Row, ...]:
    """All rows of data/<name>.csv as text. Raises FileNotFoundError for a table that is not shipped."""
    text = files("app.rules").joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def row(name: str, **wanted: str) -> Row:
    """The first row whose cells equal `wanted`. Raises NotInTable."""
    for candidate in rows(name):
        if all(candidate[column] == cell for column, cell in wanted.items()):
            return candidate
    raise NotInTable(name, ", ".join(f"{column} {cell}" for column, cell in wanted.items()))


def figure(name: str, value: str, **wanted: str) -> float:
    """The number in column `value` of that row. Raises NotInTable, for a blank cell too."""
    cell = row(name, **wanted)[value]
    if not cell:
        raise NotInTable(name, ", ".join(f"{column} {text}" for column, text in wanted.items()))
    return float(cell)


def number(cell: str) -> float | None:
    """A cell as a number; an empty cell is None (no bound, not zero)."""
    return float(cell) if cell else None


def within(value: float, over: str, to: str) -> bool:
    """value lies above the cell `over` and not above the cell `to`; an empty cell is no bound."""
    low, high = number(over), number(to)
    return (low is None or value > low) and (high is None or value <= high)
