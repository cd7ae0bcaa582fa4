"""A measured figure beside its floor and goal, and the table at the end of the run."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One row of the table. A goal is a ratio to the floor where there is a floor, else the most the figure may be.

    at_least: the goal is the least the ratio or figure may be. No goal: told, not judged.
    """

    name: str
    figure: float
    unit: str
    floor: float | None = None
    goal: float | None = None
    at_least: bool = False

    @property
    def ratio(self) -> float | None:
        return None if not self.floor else self.figure / self.floor

    @property
    def met(self) -> bool | None:
        """None: nothing was asked."""
        if self.goal is None:
            return None
        told = self.figure if self.ratio is None else self.ratio
        return told >= self.goal if self.at_least else told <= self.goal

    def cells(self) -> tuple[str, ...]:
        sign = "≥" if self.at_least else "≤"
        goal = "" if self.goal is None else f"{sign} {self.goal:g}{'×' if self.ratio is not None else ''}"
        verdict = {True: "met", False: "MISSED", None: ""}[self.met]
        return (self.name, f"{_short(self.figure)} {self.unit}",
                "" if self.floor is None else f"{_short(self.floor)} {self.unit}",
                "" if self.ratio is None else f"{self.ratio:.2f}", goal, verdict)


HEAD = ("name", "figure", "floor", "ratio", "goal", "")


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def table(lines: Iterable[Line]) -> str:
    """The table as text, columns under each other."""
    rows = [HEAD, *(line.cells() for line in lines)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(HEAD))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
                     for row in rows)


# timing ----------------------------------------------------------------------------------------------------


def once_ms(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000.0


def bests_ms(times: int, *works: Callable[[], object]) -> list[float]:
    """The shortest of so many, all works in turn in the same minutes: what else the machine does only adds to it."""
    for work in works:  # what is made once (statements, templates, pages of the database) is made before
        work()
        work()
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(times):
        for kept, work in zip(taken, works, strict=True):
            kept.append(once_ms(work))
    return [min(kept) for kept in taken]
