"""An ISO week, several, or any run of local days, as people and file names write them."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.rules.shifts import BadWeek
from app.rules.spans import parse_span

CHICAGO = ZoneInfo("America/Chicago")


# Mondays and Sundays by the calendar of 2026 and 2027: 1 January 2027 is a Friday, so its week is 2026-W53.
@pytest.mark.parametrize(("text", "first", "last"), [
    ("2026-W48", date(2026, 11, 23), date(2026, 11, 29)),
    ("2026-W53", date(2026, 12, 28), date(2027, 1, 3)),
    ("2026-W45--2026-W48", date(2026, 11, 2), date(2026, 11, 29)),
    ("2026-W52--2027-W01", date(2026, 12, 21), date(2027, 1, 10)),
    ("2026-11-03--2026-11-17", date(2026, 11, 3), date(2026, 11, 17)),
    ("2026-11-24--2026-11-24", date(2026, 11, 24), date(2026, 11, 24)),
    ("2026-11-24--2026-W48", date(2026, 11, 24), date(2026, 11, 29)),
])
def test_a_span_is_whole_days_both_included(text: str, first: date, last: date) -> None:
    span = parse_span(text)
    assert (span.first, span.last) == (first, last)


@pytest.mark.parametrize(("text", "name"), [
    ("2026-11-23--2026-11-29", "2026-W48"), ("2026-W48--2026-W48", "2026-W48"),
    ("2026-11-02--2026-11-29", "2026-W45--2026-W48"), ("2026-11-24", "2026-11-24--2026-11-24"),
    ("2026-11-03--2026-11-29", "2026-11-03--2026-11-29"),
])
def test_each_span_has_one_name(text: str, name: str) -> None:
    assert parse_span(text).text == name
    assert parse_span(name) == parse_span(text)


@pytest.mark.parametrize("text", [
    "", "2026", "2026-W54", "2026-w48", "2026-W1", "2026-02-30", "2026-2-3", "2026-W48--", "--2026-W48",
    "2026-W48--2026-W47", "2026-11-24--2026-11-23", "2026-W48--2026-W49--2026-W50", "2026-W48/2026-W49", "1969-12-31",
    "3000-01-01", "2026-W01--2027-W01", "2026-01-01--2027-01-07", "2026-W48 ", "\uff12026-W48",
])
def test_what_is_no_span_is_refused(text: str) -> None:
    with pytest.raises(BadWeek):
        parse_span(text)


def test_fifty_three_weeks_are_the_longest() -> None:
    assert parse_span("2026-W01--2026-W53").days == 371
    assert parse_span("2026-01-01--2027-01-06").days == 371


@pytest.mark.parametrize(("text", "hours"), [
    ("2026-W44", 169), ("2027-W10", 167), ("2026-W48", 168), ("2026-11-01--2026-11-01", 25), ("2027-03-14", 23),
], ids=["clocks go back", "clocks go forward", "plain", "the day of 25 hours", "the day of 23"])
def test_a_span_over_a_clock_change_is_an_hour_longer_or_shorter(text: str, hours: int) -> None:
    start, end = parse_span(text).bounds(CHICAGO)
    assert end - start == timedelta(hours=hours)


def test_the_span_before_is_as_long_and_ends_where_this_begins() -> None:
    for text in ("2026-W48", "2026-W45--2026-W48", "2026-11-03--2026-11-17"):
        span = parse_span(text)
        assert span.before().days == span.days
        assert span.before().last + timedelta(days=1) == span.first
        assert span.before(2).before(-2) == span
    assert parse_span("2027-W01").before().text == "2026-W53"
