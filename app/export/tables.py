"""Tables as files show them: named columns, rows of plain cells, and what makes a cell harmless.

A cell is text, a number or a time. A time is ISO text with the offset the unit had then: one shape for the page,
the CSV, the workbook and the JSON door. An empty cell is None (or "" for text): nothing, never zero.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

TEXT, NUMBER, TIME = "text", "number", "time"
Cell = str | float | int | None
Row = Sequence[Cell]

#: What a spreadsheet takes for the beginning of a formula.
RUN_BY_A_SPREADSHEET = ("=", "+", "-", "@", "\t", "\r")
#: Control characters but tab, line feed and carriage return; what no XML file may hold; halves of a character.
_NOT_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
#: Limits are compared after rounding to six decimals; more would be noise of the conversion.
PLACES = 6


@dataclass(frozen=True)
class Column:
    """A column: its name (interface), what its cells are, what they mean, how wide it is on a sheet (characters)."""

    name: str
    kind: str
    about: str
    width: int = 14


@dataclass(frozen=True)
class Table:
    """A sheet. `rows` may be a generator: it is gone through once."""

    name: str
    columns: Sequence[Column]
    rows: Iterable[Row]


def local_iso(value: datetime | None, zone: tzinfo) -> str | None:
    """An instant in the unit's local time, with its offset then, to the second.

    >>> from datetime import UTC
    >>> from zoneinfo import ZoneInfo
    >>> local_iso(datetime(2026, 11, 1, 7, 30, tzinfo=UTC), ZoneInfo("America/Chicago"))
    '2026-11-01T01:30:00-06:00'
    """
    return None if value is None else value.astimezone(zone).isoformat(timespec="seconds")


def figure(value: float | None) -> float | None:
    """A stored SI figure, rounded as limits are compared."""
    return None if value is None else round(value, PLACES)


def clean(text: str) -> str:
    """The text without the characters that stop a workbook or a reader of the file."""
    return text if text.isprintable() else _NOT_TEXT.sub("", text)


def harmless(text: str) -> str:
    """Text that a spreadsheet shows instead of running: one ' before what it would take for a formula.

    >>> harmless("=1+1"), harmless("- belt worn"), harmless("3-4")
    ("'=1+1", "'- belt worn", '3-4')
    """
    text = clean(text)
    return "'" + text if text.startswith(RUN_BY_A_SPREADSHEET) else text


def digits(value: float | int) -> str:
    """A number as plain digits with a point: no exponent, no trailing .0, no minus zero.

    >>> digits(85.0), digits(-2.5), digits(1e-06), digits(-0.0)
    ('85', '-2.5', '0.000001', '0')
    """
    if value == int(value):
        return str(int(value))
    return format(Decimal(repr(value)), "f")
