"""A new shift pattern begins where a shift ends; the past and the shift under way keep their sorting."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.shift_change import around, boundaries, change_fault, changed, starts_fault, told
from app.rules.shifts import Calendar, Pattern, ShiftStart

NOW = datetime(2026, 11, 24, 13, 12, tzinfo=UTC)  # 07:12 in Chicago, the day shift's first hour
END = datetime(2026, 11, 25, 0, 0, tzinfo=UTC)  # 18:00: the day shift ends
MORNING = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)  # 06:00
TWELVE = (ShiftStart("Day", "06:00"), ShiftStart("Night", "18:00"))
EIGHT = (ShiftStart("Morning", "06:00"), ShiftStart("Afternoon", "14:00"), ShiftStart("Night", "22:00"))
PLAN = Calendar("America/Chicago", (Pattern(TWELVE),))


def shifts(calendar: Calendar, at: datetime) -> list[tuple[str, str, float]]:
    return [(s.label, s.starts_at.isoformat()[5:16], (s.ends_at - s.starts_at).total_seconds() / 3600)
            for s in around(calendar, at, NOW)]


def test_it_may_begin_at_the_end_of_the_shift_under_way_and_of_each_to_come() -> None:
    assert boundaries(PLAN, NOW)[:3] == [END, MORNING, END + timedelta(days=1)]
    assert change_fault(PLAN, EIGHT, MORNING, NOW) is None
    for other in (NOW, END - timedelta(minutes=1), END - timedelta(days=1)):
        assert "at which a shift ends" in (change_fault(PLAN, EIGHT, other, NOW) or "")


def test_twelve_hours_become_eight_from_the_morning_on_and_the_past_stays() -> None:
    planned = changed(PLAN, EIGHT, MORNING)
    assert shifts(planned, MORNING)[1:5] == [
        ("Night 2026-11-24", "11-25T00:00", 12.0), ("Morning 2026-11-25", "11-25T12:00", 8.0),
        ("Afternoon 2026-11-25", "11-25T20:00", 8.0), ("Night 2026-11-25", "11-26T04:00", 8.0)]
    for hours in range(0, 24 * 30, 5):
        then = MORNING - timedelta(hours=hours, seconds=1)
        assert planned.shift_of(then) == PLAN.shift_of(then)


def test_a_shift_cut_short_by_the_change_ends_where_the_new_one_begins() -> None:
    # from 18:00 the afternoon of 14:00 to 22:00 has four hours left
    assert shifts(changed(PLAN, EIGHT, END), END)[:3] == [
        ("Day 2026-11-24", "11-24T12:00", 12.0), ("Afternoon 2026-11-24", "11-25T00:00", 4.0),
        ("Night 2026-11-24", "11-25T04:00", 8.0)]


def test_the_shift_under_way_is_never_made_longer() -> None:
    longer = (ShiftStart("Day", "06:00"), ShiftStart("Night", "20:00"))
    assert "under way would become longer" in (change_fault(PLAN, longer, END, NOW) or "")
    assert change_fault(PLAN, longer, MORNING, NOW) is None


def test_no_two_shifts_of_one_date_have_one_name() -> None:
    half_days = Calendar("UTC", (Pattern((ShiftStart("A", "00:00"), ShiftStart("B", "12:00"))),))
    now = datetime(2026, 11, 24, 1, 0, tzinfo=UTC)
    # A of the 25th from 0 to 12, then B from 12 to 18, and from 18:00 A of the 25th once more
    turned = (ShiftStart("B", "06:00"), ShiftStart("A", "18:00"))
    fault = change_fault(half_days, turned, datetime(2026, 11, 25, 12, 0, tzinfo=UTC), now)
    assert fault is not None and "A 2026-11-25 would come twice" in fault


def test_a_later_change_takes_the_place_of_one_still_to_come() -> None:
    coming = changed(PLAN, EIGHT, MORNING + timedelta(days=7))
    back = changed(coming, TWELVE, MORNING)
    assert {s.name for s in around(back, MORNING + timedelta(days=7), NOW)} == {"Day", "Night"}


@pytest.mark.parametrize(("starts", "place", "says"), [
    ([], 0, "at least one"), ([("", "06:00")], 0, "Name this"), ([("Day", "6")], 0, "hours and minutes"),
    ([("Day", "24:00")], 0, "hours and minutes"), ([("Day", "06:00"), ("day", "18:00")], 1, "own name"),
    ([("Day", "06:00"), ("Night", "06:00")], 1, "own start"), ([("x" * 41, "06:00")], 0, "Shorten"),
    ([(str(i), f"0{i}:00") for i in range(7)], 6, "at most 6"),
], ids=str)
def test_a_pattern_that_cannot_be_is_told_at_its_line(starts: list[tuple[str, str]], place: int, says: str) -> None:
    fault = starts_fault([ShiftStart(*start) for start in starts])
    assert fault is not None and fault[0] == place and says in fault[1]


def test_uneven_shifts_and_a_single_one_are_shifts() -> None:
    uneven = (ShiftStart("Early", "05:30"), ShiftStart("Late", "13:45"), ShiftStart("Night", "21:15"))
    assert starts_fault(uneven) is None and change_fault(PLAN, uneven, MORNING, NOW) is None
    assert starts_fault([ShiftStart("Watch", "07:00")]) is None
    assert told(tuple(reversed(uneven))) == "Early 05:30, Late 13:45, Night 21:15"


CLOCK = st.tuples(st.integers(0, 23), st.sampled_from((0, 15, 30, 45))).map(lambda t: f"{t[0]:02d}:{t[1]:02d}")


@settings(max_examples=60, deadline=None)
@given(times=st.lists(CLOCK, min_size=1, max_size=6, unique=True), place=st.integers(0, 40),
       zone=st.sampled_from(("America/Chicago", "Australia/Lord_Howe", "Asia/Kolkata")))
def test_whatever_pattern_is_taken_there_is_no_gap_and_no_overlap(times: list[str], place: int, zone: str) -> None:
    plan = Calendar(zone, (Pattern(TWELVE),))
    starts = [ShiftStart(f"S{i}", at) for i, at in enumerate(times)]
    at = boundaries(plan, NOW)[place]
    if change_fault(plan, starts, at, NOW) is None:
        found = around(changed(plan, starts, at), at, NOW)
        assert all(a.ends_at == b.starts_at for a, b in pairwise(found))
        assert len({s.label for s in found}) == len(found)
