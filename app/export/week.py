"""The week of exceptions: one row a flag that stood at any time in an ISO week of the unit's local time, or in a span.

The same rows, in the same order, serve the page, the CSV, the workbook, the command line and the JSON door. Rows
come one by one from a single query, so a week of any size takes the same memory.
"""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.export.csv_file import csv_bytes
from app.export.tables import NUMBER, TEXT, TIME, Cell, Column, figure, local_iso
from app.export.week_stood import OF_FILE, FlagStood, standing_rows
from app.review_list import rises
from app.rules.shifts import Calendar, Shift
from app.rules.spans import Span, parse_span
from app.store.flags import state_word
from app.store.units import Unit

#: A week has few shifts; of spans without end no more are remembered.
MOST_SHIFTS = 5_000

COLUMNS = (
    Column("week", TEXT, "ISO week, Monday to Sunday in the unit's local time; of a span that was asked for, the span",
           10),
    Column("unit", TEXT, "The process unit", 16),
    Column("area", TEXT, "Part of the unit that is walked together", 16),
    Column("tag", TEXT, "The motor's tag, as typed", 14),
    Column("service", TEXT, "What the motor drives", 22),
    Column("rule", TEXT, "The rule that raised the flag", 24),
    Column("end", TEXT, "Bearing: DE drive end, ODE opposite drive end; empty: the motor as a whole", 6),
    Column("priority", TEXT, "act now, this shift or watch; of the newest sighting", 11),
    Column("value", NUMBER, "What was found at the newest sighting, in unit_of_measure; empty where words decide", 10),
    Column("limit", NUMBER, "The limit it was judged by, in unit_of_measure", 10),
    Column("unit_of_measure", TEXT, "SI unit of value and limit; K is a difference, °C a temperature", 10),
    Column("percent_of_limit", NUMBER, "100 × value ÷ limit, where there are both and the limit is above zero", 10),
    Column("limit_source", TEXT, "Where the limit comes from", 24),
    Column("first_raised", TIME, "When the flag was first seen"),
    Column("last_seen", TIME, "When its condition was last seen"),
    Column("times_seen", NUMBER, "How many entries showed it", 8),
    Column("shifts_open", NUMBER, "Shifts from the one it was raised in to the one it was last seen in (or closed in), "
                                  "both included", 8),
    Column("state", TEXT, "active, improving, returned to normal, shelved or closed; when exported", 16),
    Column("raised_by", TEXT, "Whose entry raised it; empty: the clock did", 18),
    Column("seen_by", TEXT, "Who marked it seen", 18),
    Column("seen_at", TIME, "When it was marked seen"),
    Column("action", TEXT, "What is or was done about it", 36),
    Column("action_by", TEXT, "Who said so", 18),
    Column("action_at", TIME, "When that was said"),
    Column("run_on_reason", TEXT, "Why the motor runs on with it", 30),
    Column("shelved_until", TIME, "Put aside until then"),
    Column("returned_at", TIME, "When it was back to normal (two rounds below the limit less the clearing band)"),
    Column("closed_by", TEXT, "Who closed it; empty when it closed itself", 18),
    Column("closed_at", TIME, "When it was closed"),
    Column("hours_open", NUMBER, "Hours from first_raised to closed_at; not closed: to the end of the week", 9),
    Column("arrived_late", TEXT, "yes: the entry that raised it was received in a later shift than it was taken in", 8),
    Column("remarks", TEXT, "Remarks of the entry that raised it; of one corrected since, why and what it said", 40),
)


class ExceptionRow(NamedTuple):
    """One flag of the week. The fields up to `remarks` are the columns of the file; the rest is for our own pages.

    Times are ISO text with offset or None; missing figures None; missing words "". hours_open and shifts_open as in
    the column notes; value and limit SI. days_late: how long what was to be done was late, within the week or when
    it was over; None: nothing was. waits: nobody did anything about it for too long, now.
    """

    week: str
    unit: str
    area: str
    tag: str
    service: str
    rule: str
    end: str
    priority: str
    value: float | None
    limit: float | None
    unit_of_measure: str
    percent_of_limit: float | None
    limit_source: str
    first_raised: str
    last_seen: str
    times_seen: int
    shifts_open: int
    state: str
    raised_by: str
    seen_by: str
    seen_at: str | None
    action: str
    action_by: str
    action_at: str | None
    run_on_reason: str
    shelved_until: str | None
    returned_at: str | None
    closed_by: str
    closed_at: str | None
    hours_open: float
    arrived_late: str
    remarks: str
    flag_id: int
    says: str
    raised_in_week: bool
    closed_in_week: bool
    hours_to_seen: float | None
    flag: FlagStood
    shift: str  # name of the shift it was raised in
    run_on_by: str
    days_late: float | None
    waits: bool

    def cells(self) -> tuple[Cell, ...]:
        """The row of the file, in the columns' order."""
        return self[:len(COLUMNS)]

    def as_dict(self) -> dict[str, Cell]:
        """The row of the JSON door: the columns by name."""
        return dict(zip(NAMES, self.cells(), strict=True))


NAMES = tuple(column.name for column in COLUMNS)


@dataclass(frozen=True)
class Week:
    """An ISO week of a unit, or another span of its local days: its instants (UTC, half-open), zone and shifts."""

    span: Span
    start: datetime
    end: datetime
    zone: ZoneInfo
    calendar: Calendar

    @property
    def text(self) -> str:
        return self.span.text

    def holds(self, instant: datetime) -> bool:
        return self.start <= instant < self.end

    def before(self, steps: int = 1) -> Week:
        """As many days, so many times as far back."""
        return _week(self.span.before(steps), self.calendar)


def week_for(unit: Unit, week: str) -> Week:
    """Raises app.rules.shifts.BadWeek for anything but 2026-W48, 2026-W45--2026-W48 or 2026-11-02--2026-11-15."""
    return _week(parse_span(week), unit.calendar)


@lru_cache(256)  # a workbook asks for each of five weeks again and again
def _week(span: Span, calendar: Calendar) -> Week:
    start, end = span.bounds(calendar.zone)
    return Week(span, start, end, calendar.zone, calendar)


class ShiftCount:
    """Counts shifts as the calendar does, remembering the shifts it has met: many flags lie in few shifts.

    Several may ask at once: what is known of shifts is never changed, only put in its place anew.
    """

    def __init__(self, calendar: Calendar) -> None:
        self._calendar = calendar
        self._known: tuple[list[datetime], list[Shift]] = [], []
        self._counts: dict[tuple[datetime, datetime], int] = {}

    def _shift(self, instant: datetime) -> Shift:
        starts, shifts = self._known
        place = bisect_right(starts, instant)
        if place and shifts[place - 1].holds(instant):
            return shifts[place - 1]
        shift = self._calendar.shift_of(instant)
        if len(starts) < MOST_SHIFTS:
            self._known = ([*starts[:place], shift.starts_at, *starts[place:]],
                           [*shifts[:place], shift, *shifts[place:]])
        return shift

    def name(self, instant: datetime) -> str:
        return self._shift(instant).name

    def count(self, first: datetime, last: datetime) -> int:
        """From the shift that holds `first` to the one that holds `last`, both included; 1 where last is earlier."""
        key = self._shift(first).starts_at, self._shift(max(first, last)).starts_at
        count = self._counts.get(key)
        if count is None:
            if len(self._counts) >= MOST_SHIFTS:
                self._counts.clear()
            count = self._counts[key] = self._calendar.count(*key)
        return count


#: Of some calendars: a week is asked for as page, as CSV and as workbook.
shift_count = lru_cache(16)(ShiftCount)


# the rows --------------------------------------------------------------------------------------------------


def exception_rows(session: Session, unit: Unit, week: str, now: datetime) -> Iterator[ExceptionRow]:
    """The week's exceptions, gravest first: by priority, first_raised, tag, rule, end.

    now: state is as it stands then; a week that has not begun has no rows. Raises BadWeek.
    """
    telling = _Telling(unit, week_for(unit, week), now)
    return map(telling.row, map(FlagStood._make, telling.asked(session, len(FlagStood._fields))))


def percent_of_limit(value: float | None, limit: float | None) -> float | None:
    """100 × value ÷ limit to one decimal; None unless there are both and the limit is above zero."""
    if value is None or limit is None or limit <= 0:
        return None
    return round(100.0 * value / limit, 1)


def hours(start: datetime, end: datetime) -> float:
    """Elapsed hours to one decimal, whatever the clocks did between."""
    return round((end - start).total_seconds() / 3600.0, 1)


def _remarks(remarks: str | None, corrected: str | None) -> str:
    """The words of the entry that raised it; of one that was corrected, with why it no longer counts."""
    if corrected is None:
        return remarks or ""
    return f"Entry corrected: {corrected}. It said: {remarks}" if remarks else f"Entry corrected: {corrected}"


def days_late(flag: FlagStood, week: Week, now: datetime) -> float | None:
    """Days from when it was due to when it was over (closed, back to normal), else to now or the week's end.

    None where nothing was to be done by a time, or where it was late only before or after this week.
    """
    if flag.due_at is None:
        return None
    over = min([at for at in (flag.closed_at, flag.returned_at) if at is not None], default=None)
    until = min(at for at in (over, now, week.end) if at is not None)
    if flag.due_at >= until or until < week.start:
        return None
    return round((until - flag.due_at) / timedelta(days=1), 1)


class _Telling:
    """Makes rows of flags that stood: what is the same for all of them is asked for once."""

    def __init__(self, unit: Unit, week: Week, now: datetime) -> None:
        self.week = week
        self._now, self._unit_id, self._unit = now, unit.id, unit.name
        self._text, self._shifts = week.text, shift_count(week.calendar)

    def asked(self, session: Session, how_many: int) -> Iterator[Any]:
        """The first so many values of every `FlagStood`; of a week that has not begun nothing."""
        if self.week.start > self._now:
            return iter(())
        return standing_rows(session, self._unit_id, self.week.start, self.week.end, how_many)

    def cells(self, flag: Sequence[Any]) -> tuple[Cell, ...]:
        """The row of the file, in the columns' order. flag: the first values of a `FlagStood`, as far as the file
        needs them."""
        (area, tag, service, rule, end, priority, value, limit, unit_of_measure, source, raised_at, last_seen_at,
         times_seen, improving_at, raised_by, seen_by, seen_at, action, action_by, action_at, note, note_by, note_at,
         run_on_reason, shelved_until, returned_at, closed_by, closed_at, arrived_late, remarks, corrected) = flag
        if not action:  # the flag's own word, else the last note that says what was done
            action, action_by, action_at = (note, note_by, note_at) if note else ("", "", None)
        zone = self.week.zone
        return (
            self._text, self._unit, area, tag, service, rule, end, priority, figure(value), figure(limit),
            unit_of_measure or "", percent_of_limit(value, limit), source, local_iso(raised_at, zone) or "",
            local_iso(last_seen_at, zone) or "", times_seen,
            self._shifts.count(raised_at, closed_at or last_seen_at),
            state_word(self._now, closed_at, returned_at, shelved_until, improving_at),
            raised_by or "", seen_by or "", local_iso(seen_at, zone), action, action_by or "",
            local_iso(action_at, zone), run_on_reason or "", local_iso(shelved_until, zone),
            local_iso(returned_at, zone), closed_by or "", local_iso(closed_at, zone),
            hours(raised_at, closed_at or self.week.end), "yes" if arrived_late else "", _remarks(remarks, corrected))

    def row(self, flag: FlagStood) -> ExceptionRow:
        """The same, and what page and figures need beside it."""
        week, now, closed_at = self.week, self._now, flag.closed_at
        return ExceptionRow._make((
            *self.cells(flag[:OF_FILE]), flag.id, flag.says, week.holds(flag.raised_at),
            closed_at is not None and week.holds(closed_at),
            None if flag.seen_at is None else hours(flag.raised_at, flag.seen_at),
            flag, self._shifts.name(flag.raised_at), flag.run_on_by or "", days_late(flag, week, now),
            closed_at is None and week.holds(now) and rises(flag, self._shifts.count(flag.raised_at, now), now)))


# the files -------------------------------------------------------------------------------------------------


def week_csv(session: Session, unit: Unit, week: str, now: datetime, continental: bool = False) -> Iterator[bytes]:
    """The week as CSV, in pieces. continental: semicolons and decimal commas. Raises BadWeek before the first."""
    telling = _Telling(unit, week_for(unit, week), now)
    return csv_bytes(COLUMNS, map(telling.cells, telling.asked(session, OF_FILE)), continental)


def cells(rows: Iterable[ExceptionRow]) -> Iterator[tuple[Cell, ...]]:
    return (row.cells() for row in rows)


def file_name(unit: Unit, week: str, made: datetime, kind: str, continental: bool = False) -> str:
    """A name that any shared drive takes: exceptions_unit-2_2026-W48_made-20261130T0610Z.xlsx."""
    style = "_continental" if continental else ""
    plain = unicodedata.normalize("NFKD", unit.name).encode("ascii", "ignore").decode()
    slug = re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-").lower()[:40].strip("-") or f"unit-{unit.id}"
    return f"exceptions_{slug}_{week}_made-{made.astimezone(UTC):%Y%m%dT%H%MZ}{style}.{kind}"
