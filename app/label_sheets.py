"""Sheets of labels: standard grids as data, one typed by hand, and where each label lies on the paper. All in mm.

Paper sizes: A4 is 210 × 297 mm (ISO 216), Letter 8.5 × 11 in (ASME Y14.1). The grids are common practice of the
stationery trade, no published source: so many labels a sheet, equal margins left and right, top and bottom.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
LEAST_WIDTH_MM, LEAST_HEIGHT_MM = 20.0, 12.0
MOST_ON_A_SHEET = 200
#: What a printer may be off by without it being called an error of the grid.
SLACK_MM = 0.11


@dataclass(frozen=True)
class Grid:
    """Columns and rows of one size of label. across, down: from one label's edge to the next one's same edge."""

    name: str
    paper: str
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    across: float
    down: float

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def says(self) -> str:
        return f"{self.paper}, {self.count} a sheet, {self.width:g} × {self.height:g} mm"

    def places(self) -> list[tuple[float, float]]:
        """The upper left corner of every label, row by row, as labels are peeled."""
        return [(round(self.left + column * self.across, 3), round(self.top + row * self.down, 3))
                for row in range(self.rows) for column in range(self.columns)]


GRIDS = {grid.name: grid for grid in (
    Grid("a4-8", "A4", 2, 4, 99.1, 67.7, 4.65, 13.1, 101.6, 67.7),
    Grid("a4-21", "A4", 3, 7, 63.5, 38.1, 7.25, 15.15, 66.0, 38.1),
    Grid("a4-24", "A4", 3, 8, 63.5, 33.9, 7.25, 12.9, 66.0, 33.9),
    Grid("a4-65", "A4", 5, 13, 38.1, 21.2, 4.75, 10.7, 40.6, 21.2),
    Grid("letter-10", "Letter", 2, 5, 101.6, 50.8, 3.97, 12.7, 106.36, 50.8),
    Grid("letter-30", "Letter", 3, 10, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4),
)}
FREE = "free"


def faults(grid: Grid) -> list[tuple[str, str]]:
    """What keeps a grid typed by hand from being printed: the field, and what to do."""
    found: list[tuple[str, str]] = []
    across, down = PAPER_MM[grid.paper]
    if grid.width < LEAST_WIDTH_MM:
        found.append(("width", f"Make a label {LEAST_WIDTH_MM:g} mm wide or more: the code must stay readable."))
    if grid.height < LEAST_HEIGHT_MM:
        found.append(("height", f"Make a label {LEAST_HEIGHT_MM:g} mm high or more: the code must stay readable."))
    if grid.columns > 1 and grid.across < grid.width - SLACK_MM:
        found.append(("across", "The step across is less than a label's width: they would lie on each other."))
    if grid.rows > 1 and grid.down < grid.height - SLACK_MM:
        found.append(("down", "The step down is less than a label's height: they would lie on each other."))
    needs = grid.left + (grid.columns - 1) * grid.across + grid.width
    if needs > across + SLACK_MM:
        found.append(("columns", f"{grid.columns} columns need {needs:.1f} mm; {grid.paper} is {across:g} mm wide."))
    needs = grid.top + (grid.rows - 1) * grid.down + grid.height
    if needs > down + SLACK_MM:
        found.append(("rows", f"{grid.rows} rows need {needs:.1f} mm; {grid.paper} is {down:g} mm high."))
    if grid.count > MOST_ON_A_SHEET:
        found.append(("rows", f"{grid.count} labels a sheet: {MOST_ON_A_SHEET} is the most."))
    return found


def without_pitch(grid: Grid) -> Grid:
    """Labels that touch: a step that was left empty is the label's own size."""
    return replace(grid, across=grid.across or grid.width, down=grid.down or grid.height)


def sheets(things: list[Any], grid: Grid, first: int = 1) -> list[list[tuple[float, float, Any]]]:
    """The things on their places, sheet by sheet. first: the first free label of a part-used sheet, counted from 1."""
    places, made = grid.places(), []
    slots: list[Any] = [*([None] * (first - 1)), *things]
    for start in range(0, len(slots), grid.count):
        here = zip(places, slots[start:start + grid.count], strict=False)
        made.append([(x, y, thing) for (x, y), thing in here if thing is not None])
    return made
