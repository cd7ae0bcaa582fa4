"""What a meeting looks back on: an ISO week, several of them, or any run of local days.

Written as people and file names take it: "2026-W48", or first and last with two hyphens between (ISO 8601's own
stand-in for its slash), as weeks or as days, both included.

>>> span = parse_span("2026-W52--2026-W53")
>>> span.first.isoformat(), span.last.isoformat(), span.days
('2026-12-21', '2027-01-03', 14)
>>> parse_span("2026-11-02--2026-11-15").text, span.before().text
('2026-W45--2026-W46', '2026-W50--2026-W51')
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from app.rules.shifts import BadWeek, local_instant, parse_week, week_days

BETWEEN = "--"
#: Fifty-three ISO weeks: the longest year there is.
MOST_DAYS = 53 * 7
#: parse_week's own years, so that the days before and after still are dates.
FIRST, LAST = date(1970, 1, 1), date(2999, 12, 31)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True)
class Span:
    """Whole local days, both included."""

    first: date
    last: date

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1

    @property
    def whole_weeks(self) -> bool:
        return self.first.isoweekday() == 1 and self.last.isoweekday() == 7

    @property
    def is_week(self) -> bool:
        return self.whole_weeks and self.days == 7

    @property
    def text(self) -> str:
        """As files are named: whole weeks by their numbers, else days."""
        if self.is_week:
            return _week(self.first)
        if self.whole_weeks:
            return f"{_week(self.first)}{BETWEEN}{_week(self.last)}"
        return f"{self.first.isoformat()}{BETWEEN}{self.last.isoformat()}"

    def before(self, steps: int = 1) -> Span:
        """As many days, `steps` times as far back; negative: later."""
        by = timedelta(days=self.days * steps)
        return Span(self.first - by, self.last - by)

    def bounds(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """The UTC instants at which it begins and ends, half-open."""
        return local_instant(self.first, time(0), zone), local_instant(self.last + timedelta(days=1), time(0), zone)


def _week(day: date) -> str:
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def _ends(text: str) -> tuple[date, date]:
    """First and last day of one side. Raises BadWeek."""
    if not _DAY.fullmatch(text):
        parse_week(text)
        return week_days(text)
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise BadWeek(f"{text!r} is no day of the calendar") from None
    if not FIRST <= day <= LAST:
        raise BadWeek(f"{text!r} is outside 1970 to 2999")
    return day, day


def parse_span(text: str) -> Span:
    """Raises BadWeek for anything else, for an end before its beginning and for more than 53 weeks."""
    first, between, last = text.partition(BETWEEN)
    span = Span(_ends(first)[0], _ends(last if between else first)[1])
    if span.last < span.first:
        raise BadWeek(f"{text!r} ends before it begins")
    if span.days > MOST_DAYS:
        raise BadWeek(f"{text!r} is longer than 53 weeks")
    return span
