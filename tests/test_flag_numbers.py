"""Numbers about the flags: counted by hand here; the targets are general practice, no standard's figures for rounds."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from app import flag_numbers
from app.flag_numbers import BETWEEN, MET, NO_NUMBER, NOT_MET, Facts, Measure
from app.rules.shifts import Calendar, Pattern, ShiftStart
from app.store.flags import Flag
from app.store.motors import Motor
from tests.factories import NOW

UNIT: Any = SimpleNamespace(calendar=Calendar("America/Chicago", (
    Pattern((ShiftStart("Day", "06:00"), ShiftStart("Night", "18:00")), None),)))


def flag(tag: str = "P-101A", priority: str = "watch", hours_ago: float = 1.0, **columns: Any) -> Flag:
    at = NOW - timedelta(hours=hours_ago)
    return Flag(motor=Motor(tag=tag), motor_id=sum(map(ord, tag)), rule=columns.pop("rule", "dirty"), end="",
                priority=priority, raised_at=at, **columns)


def measure(name: str, raised: list[Flag], motor_count: int = 10, round_count: int = 2) -> Measure:
    given = Facts(raised, [f for f in raised if f.open], motor_count, round_count, UNIT, NOW)
    return next(m for m in flag_numbers.measures(given) if m.name.startswith(name))


@pytest.mark.parametrize(("count", "state"), [(1, MET), (2, BETWEEN), (3, NOT_MET)])
def test_new_flags_are_measured_against_motors_and_rounds(count: int, state: str) -> None:
    # 2 rounds of 10 motors: 1 flag is 5 %, 2 are 10 %, 3 are 15 %
    found = measure("New flags", [flag() for _ in range(count)])
    assert (found.state, found.now.split(" %")[0]) == (state, f"{5 * count}.0")


@pytest.mark.parametrize(("grave", "state"), [(1, MET), (2, BETWEEN), (3, NOT_MET)])
def test_the_share_act_now(grave: int, state: str) -> None:
    raised = [flag(priority="act now" if i < grave else "watch") for i in range(20)]  # 5, 10, 15 %
    assert measure("Share act now", raised).state == state


@pytest.mark.parametrize(("hours_ago", "counted"), [(1.1, "0"), (13.1, "0"), (13.3, "1")])
def test_a_flag_stands_long_from_its_third_shift_on(hours_ago: float, counted: str) -> None:
    """07:12 is 1.2 h into the day shift: raised in the night before, this is its second; before that, its third."""
    assert measure("Standing more", [flag(hours_ago=hours_ago)]).now == counted


def test_what_stands_long_with_nobody_named_is_not_met() -> None:
    assert measure("Of these", [flag(hours_ago=48)]).state == NOT_MET
    assert measure("Of these", [flag(hours_ago=48, owner="Ida Berg")]).state == MET


def test_the_same_flag_three_times_in_a_week_names_the_motor() -> None:
    raised = [flag(hours_ago=h) for h in (1, 30, 60)] + [flag("P-102", hours_ago=h) for h in (1, 30, 200)]
    assert measure("Motors with", raised).now == "1: P-101A"


@pytest.mark.parametrize(("priority", "minutes", "good"), [
    ("act now", 15, True), ("act now", 16, False), ("this shift", 720, True), ("this shift", 721, False),
    ("watch", 1440, True), ("watch", 1441, False)])
def test_seen_in_time_by_priority(priority: str, minutes: int, good: bool) -> None:
    at = NOW - timedelta(days=3)
    seen: datetime = at + timedelta(minutes=minutes)
    assert measure("Seen in time", [flag(priority=priority, hours_ago=72, seen_at=seen)]).state == (
        MET if good else NOT_MET)


def test_a_flag_nobody_has_seen_counts_once_its_time_is_over() -> None:
    assert measure("Seen in time", [flag(priority="act now", hours_ago=0.2)]).state == NO_NUMBER
    assert measure("Seen in time", [flag(priority="act now", hours_ago=1)]).state == NOT_MET


def test_nothing_raised_is_said_and_not_called_met() -> None:
    assert measure("Share act now", []).state == NO_NUMBER
    assert measure("New flags", [], round_count=0).state == NO_NUMBER


def test_one_motors_share() -> None:
    raised = [flag(f"P-{n}") for n in range(5)]  # 20 % each
    assert measure("Share of the one", raised).state == MET
    assert measure("Share of the one", [*raised, flag("P-0")]).state == NOT_MET  # 2 of 6


def test_shelved_now() -> None:
    until = NOW + timedelta(hours=1)
    assert measure("Shelved", [flag(shelved_until=until) for _ in range(3)]).state == MET
    assert measure("Shelved", [flag(shelved_until=until) for _ in range(4)]).state == NOT_MET
    assert measure("Shelved", [flag(shelved_until=NOW)]).now == "0"
