"""Greasing month by month: grams used, done, missed."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime

import pytest

from app import greasing_months
from app.db import Database
from app.greasing_months import Month
from tests.entering import Crew, day


@pytest.fixture
def crew(database: Database) -> Crew:
    crew = Crew(database)
    crew.point("DE", interval_days=90.0)
    return crew


def months(crew: Crew, at: datetime, count: int = 6) -> dict[date, Month]:
    with crew.database.reading() as session:
        return {m.first: m for m in greasing_months.by_month(session, crew.unit, at, count)}


def test_months_are_the_units_own(crew: Crew) -> None:
    behind = greasing_months.months_behind(crew.unit, day(0), 12)
    assert [behind[0].first, behind[-1].first] == [date(2026, 11, 1), date(2025, 12, 1)]
    # midnight in Chicago: UTC−5 until 1 November 2026 at two, UTC−6 after
    assert behind[0].start == datetime(2026, 11, 1, 5, tzinfo=UTC)
    assert behind[0].end == datetime(2026, 12, 1, 6, tzinfo=UTC)
    assert all(later.start == earlier.end for later, earlier in itertools.pairwise(behind))


def test_grams_are_added_up_by_lubricant_and_what_has_no_amount_is_counted(crew: Crew) -> None:
    crew.grease(day(-30), grams=30.0)  # 25 October
    crew.grease(day(-20), grams=10.0, end="ODE")
    crew.grease(day(-10), grams=2.5, end="ODE")
    crew.grease(day(-9), grams=12.0, lubricant="Red EP")
    crew.grease(day(-8), grams=None)
    crew.grease(day(-7), grams=0.0)
    found = months(crew, day(0))
    november = found[date(2026, 11, 1)]
    assert november.grams == {"motor grease NLGI 2": 12.5, "Red EP": 12.0}
    assert (november.done, november.without_amount, november.total_g) == (4, 1, 24.5)
    assert found[date(2026, 10, 1)].grams == {"motor grease NLGI 2": 30.0}


def test_missed_is_counted_once_in_the_month_it_fell_due(crew: Crew) -> None:
    crew.grease(day(-140))  # 7 July: due on 5 October, greased on 4 November
    crew.grease(day(-20))
    found = months(crew, day(0))
    assert {first: m.missed for first, m in found.items() if m.missed} == {date(2026, 10, 1): [("P-101A", "DE")]}


def test_greased_on_the_day_it_falls_due_is_not_missed(crew: Crew) -> None:
    crew.grease(day(-100))
    crew.grease(day(-10))
    assert [m.missed for m in months(crew, day(0)).values()] == [[]] * 6


def test_what_stands_over_now_is_missed_too(crew: Crew) -> None:
    crew.grease(day(-100))  # due ten days ago, 14 November
    assert months(crew, day(0))[date(2026, 11, 1)].missed == [("P-101A", "DE")]
    assert months(crew, day(-10))[date(2026, 11, 1)].missed == []


def test_by_the_registers_own_date_where_nothing_is_recorded(crew: Crew) -> None:
    crew.point("ODE", interval_days=30.0, last_greased_at=day(-60))
    assert months(crew, day(0))[date(2026, 10, 1)].missed == [("P-101A", "ODE")]  # due on 25 October


def test_running_hours_that_ran_out_on_the_way(crew: Crew) -> None:
    crew.point("ODE", interval_days=None, interval_run_h=480.0)
    crew.set_condition(day(-60), "running")
    crew.grease(day(-50), end="ODE")  # runs on: 480 h are over after 20 days, on 25 October
    crew.grease(day(-10), end="ODE")
    assert months(crew, day(0))[date(2026, 10, 1)].missed == [("P-101A", "ODE")]


def test_a_bearing_nobody_recorded_is_missed_in_no_month(crew: Crew) -> None:
    assert [m.missed for m in months(crew, day(0)).values()] == [[]] * 6
