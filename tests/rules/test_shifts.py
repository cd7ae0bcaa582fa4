"""Every instant lies in exactly one shift, whatever the clocks do, and the crew's night belongs to the date it began.

References: the IANA time zone data through Python's zoneinfo and, independently, through python-dateutil; ISO 8601 for
weeks through datetime.isocalendar and hand-read calendars. Lengths of the nights are hand sums beside the cases.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as reference
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.shifts import (
    BadShiftTime,
    BadWeek,
    Calendar,
    Pattern,
    Shift,
    ShiftStart,
    day_bounds,
    local_instant,
    next_week,
    parse_week,
    week_bounds,
    week_days,
    week_of,
)

#: One hour and half an hour of change, none, half-hour offsets, a change in Ramadan, a date left out, midnight skipped.
ZONES = ("America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "Asia/Kolkata", "America/St_Johns",
         "Africa/Casablanca", "Pacific/Apia", "America/Sao_Paulo", "Europe/Dublin", "Pacific/Chatham")


def pattern(*starts: str) -> tuple[ShiftStart, ...]:
    return tuple(ShiftStart(name, at) for name, at in (s.split() for s in starts))


PATTERNS = {
    "8 h": pattern("Morning 06:00", "Afternoon 14:00", "Night 22:00"),
    "12 h": pattern("Day 06:00", "Night 18:00"),
    "uneven": pattern("Early 05:30", "Late 13:15", "Night 21:45"),
    "in the hour that changes": pattern("A 00:00", "B 02:15", "C 02:45", "D 12:00"),
    "names against the clock": pattern("Z 02:10", "A 02:50", "M 14:00"),
    "one a day": pattern("Whole 07:00"),
    "begins after midnight": pattern("Day 08:00", "Night 20:00", "Dog 00:30"),
}
patterns = pytest.mark.parametrize("shifts", PATTERNS.values(), ids=PATTERNS.keys())
zones = pytest.mark.parametrize("zone", ZONES)

TWENTY_YEARS = (datetime(2010, 1, 1, tzinfo=UTC), datetime(2030, 1, 1, tzinfo=UTC))
instants = st.integers(0, int((TWENTY_YEARS[1] - TWENTY_YEARS[0]).total_seconds() * 1_000_000)).map(
    lambda us: TWENTY_YEARS[0] + timedelta(microseconds=us))
A_MOMENT = timedelta(microseconds=1)
HOUR = timedelta(hours=1)


def plan(zone: str, *shifts: tuple[ShiftStart, ...]) -> Calendar:
    return Calendar(zone, (Pattern(shifts[0]), *(Pattern(s) for s in shifts[1:])))


@cache
def clock_changes(zone: str) -> list[datetime]:
    """Every instant of the twenty years at which the zone's offset changes, to the minute, by looking at each day."""
    there, found = ZoneInfo(zone), []
    at = TWENTY_YEARS[0]
    while at < TWENTY_YEARS[1]:
        after = at + timedelta(days=1)
        if at.astimezone(there).utcoffset() != after.astimezone(there).utcoffset():
            low, high = at, after
            while high - low > timedelta(minutes=1):
                middle = low + timedelta(minutes=(high - low) // timedelta(minutes=2))
                same = middle.astimezone(there).utcoffset() == at.astimezone(there).utcoffset()
                low, high = (middle, high) if same else (low, middle)
            found.append(high)
        at = after
    return found


def check_one_shift_holds(calendar: Calendar, instant: datetime) -> Shift:
    """The shift of an instant holds it, and its neighbours touch it without a gap and without an overlap."""
    shift = calendar.shift_of(instant)
    assert shift.holds(instant)
    assert calendar.shift_of(shift.starts_at) == shift
    assert calendar.shift_of(shift.ends_at - A_MOMENT) == shift
    after, before = calendar.after(shift), calendar.before(shift)
    assert (after.starts_at, before.ends_at) == (shift.ends_at, shift.starts_at)
    assert calendar.before(after) == shift == calendar.after(before)
    return shift


@given(instant=instants, zone=st.sampled_from(ZONES), shifts=st.sampled_from(list(PATTERNS.values())))
@settings(max_examples=400, deadline=None)
def test_any_instant_of_twenty_years_is_in_exactly_one_shift(
        instant: datetime, zone: str, shifts: tuple[ShiftStart, ...]) -> None:
    check_one_shift_holds(plan(zone, shifts), instant)


start_times = st.lists(st.times(), min_size=1, max_size=5, unique_by=lambda t: (t.hour, t.minute)).map(
    lambda times: tuple(ShiftStart(f"S{i}", f"{t:%H:%M}") for i, t in enumerate(times)))


@given(instant=instants, zone=st.sampled_from(ZONES), shifts=start_times)
@settings(max_examples=400, deadline=None)
def test_whatever_times_a_unit_chooses_its_shifts_leave_no_gap(
        instant: datetime, zone: str, shifts: tuple[ShiftStart, ...]) -> None:
    check_one_shift_holds(plan(zone, shifts), instant)


@zones
@patterns
def test_around_every_clock_change_the_shifts_join(zone: str, shifts: tuple[ShiftStart, ...]) -> None:
    calendar = plan(zone, shifts)
    for change in clock_changes(zone):
        walked = list(calendar.between(change - timedelta(days=2), change + timedelta(days=2)))
        assert len({s.label for s in walked}) == len(walked)
        assert all(a.ends_at == b.starts_at and a.starts_at < b.starts_at for a, b in pairwise(walked))
        for offset in (-HOUR, -A_MOMENT, timedelta(0), A_MOMENT, HOUR / 2, HOUR):
            check_one_shift_holds(calendar, change + offset)


def test_the_twenty_years_hold_the_changes_they_should() -> None:
    # Two a year; Kolkata has none; Samoa: summer time to 2021 with its date left out in it; Brazil: to 2019.
    assert [len(clock_changes(z)) for z in ("America/Chicago", "Europe/Berlin", "Asia/Kolkata")] == [40, 40, 0]
    assert len(clock_changes("Pacific/Apia")) == 23
    assert len(clock_changes("America/Sao_Paulo")) == 19


# against another reader of the zone data -------------------------------------------------------------------


@given(day=st.dates(date(2010, 1, 2), date(2029, 12, 30)), at=st.times().map(lambda t: time(t.hour, t.minute)),
       zone=st.sampled_from(ZONES))
@settings(max_examples=600, deadline=None)
def test_a_local_start_is_the_instant_that_dateutil_gives(day: date, at: time, zone: str) -> None:
    there = reference.gettz(zone)
    naive = datetime.combine(day, at)
    wanted = naive.replace(tzinfo=there)
    got = local_instant(day, at, ZoneInfo(zone))
    if reference.datetime_exists(wanted):
        assert got == wanted.astimezone(UTC)  # fold 0 is the first of two
    else:
        # The first instant after the gap: there the clock shows more than was asked for, a moment before it less.
        assert got.astimezone(there).replace(tzinfo=None) > naive
        assert (got - A_MOMENT).astimezone(there).replace(tzinfo=None) < naive


@zones
def test_starts_in_every_gap_and_every_double_hour_agree_with_dateutil(zone: str) -> None:
    there = reference.gettz(zone)
    for change in clock_changes(zone):
        wall = change.astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0)
        for minutes in range(-90, 91, 10):
            naive = wall + timedelta(minutes=minutes)
            got = local_instant(naive.date(), naive.time(), ZoneInfo(zone))
            if reference.datetime_exists(naive, there):
                first = naive.replace(tzinfo=there, fold=0)
                assert got == first.astimezone(UTC)
            else:
                assert got == change


# nights whose length is a hand sum -------------------------------------------------------------------------

CHICAGO_8H = plan("America/Chicago", PATTERNS["8 h"])
CHICAGO_12H = plan("America/Chicago", PATTERNS["12 h"])


@pytest.mark.parametrize(("calendar", "night", "hours"), [
    # 22:00 to 06:00 is 8 h by the clock; one hour is skipped at 02:00 on 8 March 2026, one comes twice on 1 November.
    pytest.param(CHICAGO_8H, date(2026, 3, 7), 7, id="8 h shift, spring"),
    pytest.param(CHICAGO_8H, date(2026, 10, 31), 9, id="8 h shift, autumn"),
    pytest.param(CHICAGO_8H, date(2026, 11, 24), 8, id="8 h shift, no change"),
    # 18:00 to 06:00 is 12 h.
    pytest.param(CHICAGO_12H, date(2026, 3, 7), 11, id="12 h shift, spring"),
    pytest.param(CHICAGO_12H, date(2026, 10, 31), 13, id="12 h shift, autumn"),
    # Lord Howe Island moves by half an hour: back on 5 April 2026, on again on 4 October.
    pytest.param(plan("Australia/Lord_Howe", PATTERNS["8 h"]), date(2026, 4, 4), 8.5, id="half an hour back"),
    pytest.param(plan("Australia/Lord_Howe", PATTERNS["8 h"]), date(2026, 10, 3), 7.5, id="half an hour on"),
])
def test_a_night_over_a_clock_change_lasts_as_long_as_it_lasts(calendar: Calendar, night: date, hours: float) -> None:
    shift = calendar.named(night, "Night")
    assert shift is not None
    assert (shift.ends_at - shift.starts_at) / HOUR == hours
    assert (calendar.before(shift).ends_at, calendar.after(shift).starts_at) == (shift.starts_at, shift.ends_at)


@pytest.mark.parametrize(("local", "label"), [
    ("2026-11-24T21:59:59", "Afternoon 2026-11-24"),
    ("2026-11-24T22:00:00", "Night 2026-11-24"),
    ("2026-11-24T23:50:00", "Night 2026-11-24"),
    ("2026-11-25T02:10:00", "Night 2026-11-24"),
    ("2026-11-25T05:59:59", "Night 2026-11-24"),
    ("2026-11-25T06:00:00", "Morning 2026-11-25"),
])
def test_a_night_belongs_to_the_date_it_began_on(local: str, label: str) -> None:
    assert CHICAGO_8H.shift_of(datetime.fromisoformat(local).replace(tzinfo=CHICAGO_8H.zone)).label == label


@pytest.mark.parametrize(("zone", "day", "at", "instant"), [
    # 02:30 is skipped: at 02:00 CST = 08:00 UTC the clock shows 03:00.
    pytest.param("America/Chicago", date(2026, 3, 8), time(2, 30), "2026-03-08T08:00+00:00", id="skipped, Chicago"),
    # 02:00 CET = 01:00 UTC becomes 03:00.
    pytest.param("Europe/Berlin", date(2026, 3, 29), time(2, 0), "2026-03-29T01:00+00:00", id="skipped, Berlin"),
    # Midnight itself was skipped: 00:00 at UTC-3 became 01:00.
    pytest.param("America/Sao_Paulo", date(2018, 11, 4), time(0, 0), "2018-11-04T03:00+00:00", id="skipped midnight"),
    # Samoa left out 30 December 2011: the 29th ended at UTC-10 (10:00 UTC) and the 31st began.
    pytest.param("Pacific/Apia", date(2011, 12, 30), time(6, 0), "2011-12-30T10:00+00:00", id="skipped date"),
    # 01:30 comes twice: the first is CDT, UTC-5.
    pytest.param("America/Chicago", date(2026, 11, 1), time(1, 30), "2026-11-01T06:30+00:00", id="doubled, Chicago"),
    # 02:30 comes twice: the first is CEST, UTC+2.
    pytest.param("Europe/Berlin", date(2026, 10, 25), time(2, 30), "2026-10-25T00:30+00:00", id="doubled, Berlin"),
    # 01:45 comes twice on Lord Howe, half an hour apart: the first is UTC+11.
    pytest.param("Australia/Lord_Howe", date(2026, 4, 5), time(1, 45), "2026-04-04T14:45+00:00", id="doubled by half"),
    pytest.param("Asia/Kolkata", date(2026, 3, 8), time(2, 30), "2026-03-07T21:00+00:00", id="no change at all"),
])
def test_a_start_that_is_skipped_or_doubled(zone: str, day: date, at: time, instant: str) -> None:
    assert local_instant(day, at, ZoneInfo(zone)) == datetime.fromisoformat(instant)


@pytest.mark.parametrize(("day", "hours"), [
    (date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 11, 24), 24)])
def test_a_local_day_has_as_many_hours_as_the_clocks_gave_it(day: date, hours: int) -> None:
    begins, ends = day_bounds(day, ZoneInfo("America/Chicago"))
    assert (ends - begins) / HOUR == hours


def test_of_two_starts_in_one_gap_the_later_by_the_clock_has_the_time() -> None:
    calendar = plan("America/Chicago", pattern("Zulu 02:10", "Alpha 02:50", "Mike 14:00"))
    shift = calendar.shift_of(datetime(2026, 3, 8, 8, 0, tzinfo=UTC))  # 03:00, the first instant after the gap
    assert shift.name == "Alpha"
    assert calendar.before(shift).label == "Mike 2026-03-07"
    assert calendar.named(date(2026, 3, 8), "Zulu") is None  # its time never was


def test_an_instant_without_a_zone_belongs_to_no_shift() -> None:
    with pytest.raises(ValueError, match="without a zone"):
        CHICAGO_8H.shift_of(datetime(2026, 11, 24, 7, 12))  # noqa: DTZ001  that is the point


@pytest.mark.parametrize("at", ["6:00", "24:00", "06:60", "06.00", "", "06:00 ", "٠٦:٠٠", "noon"])
def test_a_start_that_is_no_time_is_refused_by_name(at: str) -> None:
    with pytest.raises(BadShiftTime, match="is not a time"):
        ShiftStart("Day", at).local_time  # noqa: B018  the property refuses


# how many shifts -------------------------------------------------------------------------------------------


@given(first=instants, hours=st.integers(0, 24 * 40), zone=st.sampled_from(ZONES),
       name=st.sampled_from(["8 h", "12 h", "uneven", "one a day", "begins after midnight"]))
@settings(max_examples=150, deadline=None)
def test_counting_shifts_is_walking_them(first: datetime, hours: int, zone: str, name: str) -> None:
    calendar, last = plan(zone, PATTERNS[name]), first + timedelta(hours=hours)
    a, b = calendar.shift_of(first), calendar.shift_of(last)
    walked = [a]
    while walked[-1] != b:
        walked.append(calendar.after(walked[-1]))
    left_out = 0  # Samoa's 30 December 2011 is a date of the calendar with no time in it
    if zone == "Pacific/Apia" and a.date < date(2011, 12, 30) < b.date:
        left_out = len(PATTERNS[name]) - sum(s.date == date(2011, 12, 30) for s in walked)
    assert calendar.count(first, last) == len(walked) + left_out


def test_nothing_lies_between_an_instant_and_one_before_it() -> None:
    now = datetime(2026, 11, 24, tzinfo=UTC)
    assert CHICAGO_8H.count(now, now) == 1
    assert CHICAGO_8H.count(now, now - A_MOMENT) == 0


# a change of pattern ---------------------------------------------------------------------------------------

CHANGE = datetime(2026, 11, 24, 6, 0, tzinfo=ZoneInfo("America/Chicago")).astimezone(UTC)


def changed(at: datetime, zone: str = "America/Chicago", old: str = "12 h", new: str = "8 h") -> Calendar:
    return Calendar(zone, (Pattern(PATTERNS[old]), Pattern(PATTERNS[new], at)))


@given(back=st.integers(1, 60 * 24 * 400))
@settings(max_examples=150, deadline=None)
def test_a_new_pattern_at_a_boundary_never_re_sorts_the_past(back: int) -> None:
    before = CHANGE - timedelta(minutes=back)
    assert changed(CHANGE).shift_of(before) == CHICAGO_12H.shift_of(before)


@given(on=st.integers(0, 60 * 24 * 400))
@settings(max_examples=150, deadline=None)
def test_from_the_boundary_on_the_new_pattern_holds(on: int) -> None:
    after = CHANGE + timedelta(minutes=on)
    assert changed(CHANGE).shift_of(after) == CHICAGO_8H.shift_of(after)


names_with_night = st.sampled_from(["8 h", "12 h", "uneven"])


@given(change=instants, zone=st.sampled_from(ZONES), old=names_with_night, new=names_with_night,
       minutes=st.integers(-60 * 72, 60 * 72))
@settings(max_examples=400, deadline=None)
def test_a_change_at_any_time_leaves_every_instant_in_one_shift(
        change: datetime, zone: str, old: str, new: str, minutes: int) -> None:
    check_one_shift_holds(changed(change, zone, old, new), change + timedelta(minutes=minutes))


@given(about=instants, zone=st.sampled_from(ZONES), old=names_with_night, new=names_with_night)
@settings(max_examples=200, deadline=None)
def test_after_a_change_at_a_boundary_no_name_comes_twice_on_one_date(
        about: datetime, zone: str, old: str, new: str) -> None:
    change = plan(zone, PATTERNS[old]).shift_of(about).starts_at
    walked = [s.label for s in changed(change, zone, old, new).between(
        change - timedelta(days=3), change + timedelta(days=3))]
    assert len(set(walked)) == len(walked)


@given(change=instants, old=names_with_night, new=names_with_night, hours=st.integers(0, 24 * 6))
@settings(max_examples=150, deadline=None)
def test_counting_over_a_change_is_walking_over_it(change: datetime, old: str, new: str, hours: int) -> None:
    calendar = changed(change, old=old, new=new)
    first, last = change - timedelta(hours=hours / 2), change + timedelta(hours=hours / 2)
    walked = [calendar.shift_of(first)]
    while not walked[-1].holds(last):
        walked.append(calendar.after(walked[-1]))
    assert calendar.count(first, last) == len(walked)


@pytest.mark.parametrize(("at", "labels"), [
    # 18:00 is a boundary of the old pattern only: the new one's afternoon has begun at 14:00.
    pytest.param("2026-11-24T18:00-06:00", ["Day 2026-11-24", "Afternoon 2026-11-24", "Night 2026-11-24"], id="18:00"),
    # 23:00 is in both patterns' night of the 24th: one night, from 18:00 to 06:00.
    pytest.param("2026-11-24T23:00-06:00", ["Day 2026-11-24", "Night 2026-11-24", "Morning 2026-11-25"], id="23:00"),
    pytest.param("2026-11-24T06:00-06:00", ["Morning 2026-11-24", "Afternoon 2026-11-24", "Night 2026-11-24"],
                 id="a boundary of both"),
])
def test_a_change_inside_a_shift_never_makes_two_shifts_of_one_name_and_date(at: str, labels: list[str]) -> None:
    calendar = changed(datetime.fromisoformat(at))
    morning = datetime.fromisoformat("2026-11-24T06:00-06:00")
    found = calendar.between(morning, morning + timedelta(days=1, minutes=1))
    assert [s.label for s in found][:3] == labels


@pytest.mark.parametrize("hour", [0, 10])  # at a boundary of both, and in the middle of the old pattern's day
def test_of_changes_entered_out_of_order_the_later_entered_holds_and_nothing_overlaps(hour: int) -> None:
    at = CHANGE + timedelta(hours=hour)
    dead = Pattern(PATTERNS["uneven"], at + timedelta(days=7))
    calendar = Calendar("America/Chicago", (Pattern(PATTERNS["12 h"]), dead, Pattern(PATTERNS["8 h"], at)))
    for hours in range(-48, 24 * 10):
        instant = at + timedelta(hours=hours)
        assert check_one_shift_holds(calendar, instant) == changed(at).shift_of(instant)


def test_the_first_pattern_holds_from_the_beginning_whatever_its_date_says() -> None:
    calendar = Calendar("America/Chicago", (Pattern(PATTERNS["12 h"], CHANGE),))
    before = CHANGE - timedelta(days=3)
    assert check_one_shift_holds(calendar, before) == CHICAGO_12H.shift_of(before)


# weeks -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("day", "week"), [
    # ISO 8601: the week of the year's first Thursday is week 1. 2026 begins on a Thursday and so has 53 weeks.
    ("2026-12-28", "2026-W53"), ("2027-01-01", "2026-W53"), ("2027-01-03", "2026-W53"), ("2027-01-04", "2027-W01"),
    ("2024-12-29", "2024-W52"), ("2024-12-30", "2025-W01"), ("2025-01-01", "2025-W01"), ("2026-11-24", "2026-W48"),
])
def test_a_day_is_in_its_iso_week_over_the_year_end(day: str, week: str) -> None:
    noon = datetime.fromisoformat(day + "T12:00").replace(tzinfo=CHICAGO_8H.zone)
    assert week_of(noon, CHICAGO_8H.zone) == week


@pytest.mark.parametrize(("week", "monday", "sunday"), [
    ("2026-W53", date(2026, 12, 28), date(2027, 1, 3)), ("2025-W01", date(2024, 12, 30), date(2025, 1, 5))])
def test_a_week_at_the_year_end_has_its_seven_days(week: str, monday: date, sunday: date) -> None:
    assert week_days(week) == (monday, sunday)


@given(instant=instants, zone=st.sampled_from(ZONES))
@settings(max_examples=300, deadline=None)
def test_an_instant_lies_within_the_bounds_of_its_week(instant: datetime, zone: str) -> None:
    begins, ends = week_bounds(week_of(instant, ZoneInfo(zone)), ZoneInfo(zone))
    assert begins <= instant < ends


@pytest.mark.parametrize(("week", "hours"), [
    ("2026-W48", 168), ("2026-W10", 167), ("2026-W44", 169)])  # 8 March ends week 10, 1 November week 44
def test_a_week_with_a_clock_change_is_an_hour_shorter_or_longer(week: str, hours: int) -> None:
    begins, ends = week_bounds(week, ZoneInfo("America/Chicago"))
    assert (ends - begins) / HOUR == hours


@given(st.dates(date(1975, 1, 1), date(2900, 12, 31)), st.integers(-60, 60))
def test_the_next_week_begins_seven_days_on(day: date, step: int) -> None:
    year, week, _ = day.isocalendar()
    here = f"{year}-W{week:02d}"
    assert week_days(next_week(here, step))[0] == week_days(here)[0] + timedelta(weeks=step)


@pytest.mark.parametrize(("text", "why"), [
    ("2027-W53", "2027 has no week 53"), ("2026-W00", "no week 0"), ("2026-W54", "no week 54"),
    ("2026-48", "not a week"), ("2026-w48", "not a week"), ("26-W48", "not a week"), ("2026-W48 ", "not a week"),
    ("٢٠٢٦-W48", "not a week"), ("1969-W01", "outside"), ("3000-W01", "outside"), ("0000-W01", "no week")])
def test_a_week_that_is_none_is_refused_with_the_reason(text: str, why: str) -> None:
    with pytest.raises(BadWeek, match=why):
        parse_week(text)


def test_the_long_year_has_its_week_53() -> None:
    assert parse_week("2026-W53") == (2026, 53)
