"""Limits: frozen, dated figures handed to the rules. Every default lives once, in DEFAULTS, with its source.

Names are interface: rule, kind, grade, unit joined by `_`. The figures stand in data/limits.csv, one row a limit, with
where it comes from and how far that is confirmed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.rules import tables

PRACTICE = "general practice"


@dataclass(frozen=True)
class Default:
    """A limit as shipped: value in `unit` (SI), plausible range, source, and how far the source is confirmed."""

    name: str
    value: float
    unit: str
    says: str  # what it is, for the limits page
    source: str  # goes into the finding: "general practice", or standard and clause
    confirmed: str  # word for word from the reference set; "common practice, no published source"
    low: float
    high: float


@dataclass(frozen=True)
class Limit:
    """A limit in force for one motor at one moment."""

    name: str
    value: float
    unit: str
    source: str
    #: how far a shipped figure is confirmed; empty for a limit that was set here
    confirmed: str = ""

    @property
    def from_memory(self) -> bool:
        """The shipped figure was written down from memory, and the screen must say so."""
        return self.confirmed.startswith("from memory")

    @property
    def origin(self) -> str:
        """The source as a finding shows it."""
        return f"{self.source}, from memory" if self.from_memory else self.source


@dataclass(frozen=True)
class Limits:
    """The limits in force for one motor at one moment; falls back to DEFAULTS.

    >>> Limits()["bearings_uneven_this_shift_k"].value
    10.0
    >>> Limits({"bearings_uneven_this_shift_k": (8.0, "unit's limit")}).value("bearings_uneven_this_shift_k")
    8.0
    """

    changed: Mapping[str, tuple[float, str]] = field(default_factory=dict)  # name -> (value, source)

    def __getitem__(self, name: str) -> Limit:
        default = DEFAULTS[name]
        if name in self.changed:
            value, source = self.changed[name]
            return Limit(name, value, default.unit, source)
        return Limit(name, default.value, default.unit, default.source, default.confirmed)

    def value(self, name: str) -> float:
        return self.changed[name][0] if name in self.changed else DEFAULTS[name].value


def _default(row: tables.Row) -> Default:
    return Default(row["name"], float(row["value"]), row["unit"], row["says"], row["source"], row["confirmed"],
                   float(row["low"]), float(row["high"]))


DEFAULTS: dict[str, Default] = {row["name"]: _default(row) for row in tables.rows("limits")}
