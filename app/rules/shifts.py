"""Shifts, local days and ISO weeks of a unit: every instant lies in exactly one shift, whatever the clocks do.

A shift begins at a local time of the unit's zone. A start that the clocks skip is the first instant after the gap; a
start that comes twice is the first of the two. A night shift belongs to the date it began on.

>>> from datetime import datetime, timezone
>>> plan = Calendar("America/Chicago", (Pattern((ShiftStart("Day", "06:00"), ShiftStart("Night", "18:00"))),))
>>> night = plan.shift_of(datetime(2026, 11, 1, 7, 30, tzinfo=timezone.utc))  # 01:30, the clocks go back at 02:00
>>> night.name, night.date.isoformat(), (night.ends_at - night.starts_at).total_seconds() / 3600
('Night', '2026-10-31', 13.0)
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo


class BadShiftTime(ValueError):
    """A shift start that is no local time of the form 06:00."""


class BadWeek(ValueError):
    """Not an ISO week such as 2026-W48."""


@dataclass(frozen=True)
class ShiftStart:
    """A named shift and the local time it begins at, "HH:MM"."""

    name: str
    at: str

    @property
    def local_time(self) -> time:
        if not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", self.at):
            raise BadShiftTime(f"{self.at!r} is not a time such as 06:00")
        return time(int(self.at[:2]), int(self.at[3:]))


@dataclass(frozen=True)
class Pattern:
    """The day's shifts, valid from an instant on (None: from the beginning)."""

    shifts: tuple[ShiftStart, ...]
    valid_from: datetime | None = None

    def in_order(self) -> tuple[ShiftStart, ...]:
        return tuple(sorted(self.shifts, key=lambda s: s.local_time))


@dataclass(frozen=True)
class Shift:
    """One shift: the local date it began on, its name, and its two instants in UTC (half-open)."""

    date: date
    name: str
    starts_at: datetime
    ends_at: datetime

    @property
    def label(self) -> str:
        return f"{self.name} {self.date.isoformat()}"

    def holds(self, instant: datetime) -> bool:
        return self.starts_at <= instant < self.ends_at


def local_instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The UTC instant of a local time: the first of two, or the first after a gap."""
    naive = datetime.combine(day, at)
    first = naive.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if first.astimezone(zone).replace(tzinfo=None) == naive:
        return first
    # Skipped: the change lies between the readings of the two folds; find it to the second.
    low, high = naive.replace(tzinfo=zone, fold=1).astimezone(UTC), first
    before = low.astimezone(zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=int((high - low).total_seconds()) // 2)
        if middle.astimezone(zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC instants at which a local date begins and ends (23, 24 or 25 hours apart)."""
    return local_instant(day, time(0), zone), local_instant(day + timedelta(days=1), time(0), zone)


def parse_week(text: str) -> tuple[int, int]:
    """Year and week of "2026-W48". Raises BadWeek for anything else, week 53 of a 52-week year included."""
    match = re.fullmatch(r"([0-9]{4})-W([0-9]{2})", text)
    if not match:
        raise BadWeek(f"{text!r} is not a week such as 2026-W48")
    year, week = int(match[1]), int(match[2])
    try:
        date.fromisocalendar(year, week, 1)
    except ValueError:
        raise BadWeek(f"{year} has no week {week}") from None
    if not 1970 <= year <= 2999:
        raise BadWeek(f"{text!r} is outside 1970 to 2999")
    return year, week


def week_of(instant: datetime, zone: ZoneInfo) -> str:
    """The ISO week, in local time, that an instant falls in: "2026-W53"."""
    year, week, _ = instant.astimezone(zone).isocalendar()
    return f"{year}-W{week:02d}"


def week_days(text: str) -> tuple[date, date]:
    """The Monday and the Sunday of an ISO week."""
    year, week = parse_week(text)
    return date.fromisocalendar(year, week, 1), date.fromisocalendar(year, week, 7)


def week_bounds(text: str, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC instants of an ISO week in local time, half-open."""
    monday, sunday = week_days(text)
    return local_instant(monday, time(0), zone), local_instant(sunday + timedelta(days=1), time(0), zone)


def next_week(text: str, step: int = 1) -> str:
    """The ISO week `step` weeks on (negative: back)."""
    year, week, _ = (week_days(text)[0] + timedelta(weeks=step)).isocalendar()
    return f"{year}-W{week:02d}"


@lru_cache(4096)  # every entry of a day asks for the same
def _starts(zone_name: str, pattern: Pattern, around: date,
            days: int = 2) -> tuple[tuple[datetime, date, str], ...]:
    """Every start near a day, in the order of the local clock: of two in one gap the later one counts."""
    zone = ZoneInfo(zone_name)
    return tuple(
        (local_instant(day, shift.local_time, zone), day, shift.name)
        for day in (around + timedelta(days=d) for d in range(-days, days + 1))
        for shift in pattern.in_order())


@dataclass(frozen=True)
class Calendar:
    """A unit's zone and its shift patterns, the oldest first. A new pattern never re-sorts what came before it."""

    zone_name: str
    patterns: tuple[Pattern, ...]

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.zone_name)

    def _segment(self, instant: datetime) -> tuple[Pattern, datetime | None, datetime | None]:
        """The pattern in force at an instant, since when and until when. Of two in force the later row is."""
        index = 0
        for i, pattern in enumerate(self.patterns):
            if pattern.valid_from is None or pattern.valid_from <= instant:
                index = i
        later = [p.valid_from for p in self.patterns[index + 1:] if p.valid_from is not None]
        since = self.patterns[index].valid_from if index else None  # the first holds from the beginning
        return self.patterns[index], since, min(later, default=None)

    def pattern_at(self, instant: datetime) -> Pattern:
        """The pattern in force at an instant."""
        return self._segment(instant)[0]

    def _piece(self, instant: datetime) -> tuple[Shift, datetime | None, datetime | None]:
        """The part of a shift that lies under one pattern, and that pattern's own two ends."""
        pattern, since, until = self._segment(instant)
        starts = _starts(self.zone_name, pattern, instant.astimezone(self.zone).date())
        i = bisect_right([s[0] for s in starts], instant) - 1
        begins, day, name = starts[i]
        ends = starts[i + 1][0]
        if since is not None and begins < since:
            begins = since
        if until is not None and ends > until:
            ends = until
        return Shift(day, name, begins, ends), since, until

    def shift_of(self, instant: datetime) -> Shift:
        """The one shift that holds an instant. The instant must know its zone (ValueError otherwise).

        Where a new pattern begins in the middle of a shift that both have, the crew stays: it is one shift.
        """
        if instant.tzinfo is None:
            raise ValueError("an instant without a zone belongs to no shift")
        shift, since, until = self._piece(instant)
        if since is not None and shift.starts_at == since:
            earlier = self._piece(since - timedelta(microseconds=1))[0]
            if earlier.label == shift.label:
                shift = replace(shift, starts_at=earlier.starts_at)
        if until is not None and shift.ends_at == until:
            later = self._piece(until)[0]
            if later.label == shift.label:
                shift = replace(shift, ends_at=later.ends_at)
        return shift

    def after(self, shift: Shift) -> Shift:
        return self.shift_of(shift.ends_at)

    def before(self, shift: Shift) -> Shift:
        return self.shift_of(shift.starts_at - timedelta(microseconds=1))

    def between(self, start: datetime, end: datetime) -> Iterator[Shift]:
        """Every shift that begins in [start, end)."""
        shift = self.shift_of(start)
        if shift.starts_at < start:
            shift = self.after(shift)
        while shift.starts_at < end:
            yield shift
            shift = self.after(shift)

    def count(self, first: datetime, last: datetime) -> int:
        """How many shifts from the one that holds `first` to the one that holds `last`, both included.

        Counted by the calendar, not by walking: one that the clocks skipped whole (a date left out) counts too.
        """
        if last < first:
            return 0
        a, b = self.shift_of(first), self.shift_of(last)
        pattern, _, until = self._segment(first)
        if until is not None and until <= last:
            last_here = self.shift_of(until - timedelta(microseconds=1))
            carried_over = 1 if last_here.ends_at > until else 0
            return self._count_same(pattern, a, last_here) + self.count(until, last) - carried_over
        return self._count_same(pattern, a, b)

    @staticmethod
    def _count_same(pattern: Pattern, a: Shift, b: Shift) -> int:
        names = [s.name for s in pattern.in_order()]
        return (b.date - a.date).days * len(names) + names.index(b.name) - names.index(a.name) + 1

    def named(self, day: date, name: str) -> Shift | None:
        """The shift of that date and name, or None when the pattern of that day has none."""
        middle = local_instant(day, time(12), self.zone)
        for shift in self.between(middle - timedelta(days=2), middle + timedelta(days=2)):
            if shift.date == day and shift.name == name:
                return shift
        return None
