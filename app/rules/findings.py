"""A finding: what a rule says of one reading, with its figure, its limit and where the limit comes from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

ACT_NOW = "act now"
THIS_SHIFT = "this shift"
WATCH = "watch"

#: Gravest first; the place in this tuple is the order everywhere (pages, exports, JSON).
PRIORITIES = (ACT_NOW, THIS_SHIFT, WATCH)


@dataclass(frozen=True)
class Finding:
    """One rule, one end of one motor, one sentence.

    value and limit are in SI, in the unit named by unit_of_measure ("K", "°C", "A", "mm/s", "%", "days", "h",
    "g", ...); both are None where the rule compares words. source says where the limit comes from.
    """

    rule: str
    end: str | None  # "DE", "ODE" or None
    priority: str
    value: float | None
    limit: float | None
    unit_of_measure: str | None
    source: str
    says: str


def rank(priority: str) -> int:
    """0 for the gravest. Raises ValueError for a word that is no priority."""
    return PRIORITIES.index(priority)


def gravest(findings: Iterable[Finding]) -> Finding:
    """The gravest, the first of equals. Raises ValueError when there is none."""
    return min(findings, key=lambda f: rank(f.priority))


def over(value: float, limit: float) -> bool:
    """A limit is passed only when the value is above it, compared after rounding to six decimals."""
    return round(value, 6) > round(limit, 6)


def under(value: float, limit: float) -> bool:
    """The mirror of over(): strictly below, after rounding to six decimals."""
    return round(value, 6) < round(limit, 6)
