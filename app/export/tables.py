"""Tables as files show them: named columns, rows of plain cells, and what makes a cell harmless.

A cell is text, a number or a time. A time is ISO text with the offset the unit had then: one shape for the page,
the CSV, the workbook and the JSON door. An empty cell is None (or "" for text): nothing, never zero.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Decimal
from functools import lru_cache

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

    >>> from zoneinfo import ZoneInfo
    >>> local_iso(datetime(2026, 11, 1, 7, 30, tzinfo=UTC), ZoneInfo("America/Chicago"))
    '2026-11-01T01:30:00-06:00'
    """
    if value is None:
        return None
    hour = _hours_in(zone)[value.toordinal() * 24 + value.hour] if value.tzinfo is UTC else None
    if hour is None:
        return value.astimezone(zone).isoformat(timespec="seconds")
    return f"{hour[0]}{_MINUTES[value.minute]}{_MINUTES[value.second]}{hour[1]}"


_MINUTES = tuple(f":{i:02}" for i in range(60))
#: A year has fewer hours; of spans without end no more are remembered.
_MOST_HOURS = 10_000


class _Hours(dict[int, tuple[str, str] | None]):
    """The hours of UTC (days since the calendar's beginning × 24 + hour) as a zone's clocks tell them: what stands
    before the minutes and after the seconds. A week's instants lie in few hours, and to ask the zone for each takes
    four times as long. None: an hour in which the clocks change, or in a zone that is not whole hours from UTC.
    """

    def __init__(self, zone: tzinfo) -> None:
        super().__init__()
        self._zone = zone

    def __missing__(self, hour: int) -> tuple[str, str] | None:
        begins = datetime.fromordinal(hour // 24).replace(hour=hour % 24, tzinfo=UTC)
        first, last = (at.astimezone(self._zone) for at in (begins, begins + timedelta(minutes=59, seconds=59)))
        whole = first.isoformat(timespec="seconds")
        same = first.utcoffset() == last.utcoffset() and whole[13:19] == ":00:00"
        if len(self) >= _MOST_HOURS:
            self.clear()
        self[hour] = told = (whole[:13], whole[19:]) if same else None
        return told


_hours_in = lru_cache(64)(_Hours)


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
    told = repr(value)
    if "e" in told:
        return str(int(value)) if value == int(value) else format(Decimal(told), "f")
    whole = told.removesuffix(".0")
    return "0" if whole == "-0" else whole
