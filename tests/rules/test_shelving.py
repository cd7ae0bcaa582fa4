"""How long a flag may be put aside, and that it wakes at the start of a shift. Common practice, no published source."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from app.rules import shelving
from app.rules.facts import Show
from app.rules.shifts import Calendar, Pattern, ShiftStart

TWELVE = Calendar("America/Chicago", (Pattern((ShiftStart("Day", "06:00"), ShiftStart("Night", "18:00"))),))


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


def test_a_head_operator_chooses_from_the_next_three_shifts() -> None:
    found = shelving.wakes_at(TWELVE, at("2026-11-24T07:12:00-06:00"), for_days=False)
    assert found == [at("2026-11-24T18:00:00-06:00"), at("2026-11-25T06:00:00-06:00"), at("2026-11-25T18:00:00-06:00")]


def test_in_the_night_the_clocks_go_back_it_still_wakes_when_the_shift_begins() -> None:
    found = shelving.wakes_at(TWELVE, at("2026-10-31T19:00:00-05:00"), for_days=False)
    assert found[0] == at("2026-11-01T06:00:00-06:00")  # 12 h on by the clock, 12 h from 18:00 and one more


@pytest.mark.parametrize(("now", "last"), [
    ("2026-11-24T05:59:59-06:00", "2026-12-07T18:00:00-06:00"),
    ("2026-11-24T06:00:00-06:00", "2026-12-08T06:00:00-06:00"),  # exactly 14 days on
    ("2026-11-24T06:00:01-06:00", "2026-12-08T06:00:00-06:00")])
def test_a_supervisor_chooses_within_14_days(now: str, last: str) -> None:
    found = shelving.wakes_at(TWELVE, at(now), for_days=True)
    assert found[-1] == at(last) and found[0] > at(now)
    assert found[-1] - at(now) <= timedelta(days=14)


@pytest.mark.parametrize(("then", "now", "wakes"), [
    ("watch", "this shift", True), ("this shift", "act now", True), ("this shift", "this shift", False),
    ("this shift", "watch", False)])
def test_a_graver_priority_wakes(then: str, now: str, wakes: bool) -> None:
    assert (shelving.why_wake(then, None, now, None, None, None, Show()) is not None) is wakes


def test_why_it_woke_is_said_in_the_units_scale() -> None:
    # 6 K is 10.8 °F of difference
    assert shelving.why_wake("watch", 90.0, "watch", 96.0, 85.0, "°C", Show(temperature="F")) == (
        "10.8 °F worse than when it was shelved")
    assert shelving.why_wake("watch", 100.0, "watch", 106.0, 87.0, "A", Show()) == (
        "6 % worse than when it was shelved")
