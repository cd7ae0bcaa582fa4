"""When a bearing falls due, in which list it stands, and what a walk with one gun needs."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from app.rules import greasing, greasing_plan
from app.rules.facts import LubricationPoint
from app.rules.greasing_plan import Gun
from tests.rules.plant import NOW

SHIFT_END, WEEK_END = NOW + timedelta(hours=5), NOW + timedelta(days=5)


def point(**columns: Any) -> LubricationPoint:
    return LubricationPoint(kind="grease", **columns)


def ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


#: name: chart, share of the time it runs, days from now until it is due (None: nothing makes it due)
FALLS = [
    ("by days", {"interval_days": 90, "last_greased_at": ago(80)}, 1.0, 10.0),
    ("by days, over", {"interval_days": 90, "last_greased_at": ago(100)}, 1.0, -10.0),
    # 240 h left
    ("by hours, runs always", {"interval_run_h": 1000, "run_h_since": 760, "last_greased_at": ago(40)}, 1.0, 10.0),
    ("by hours, runs half", {"interval_run_h": 1000, "run_h_since": 760, "last_greased_at": ago(80)}, 0.5, 20.0),
    ("by hours, stands", {"interval_run_h": 1000, "run_h_since": 0, "last_greased_at": ago(80)}, 0.0, None),
    ("by hours, over though it stands", {"interval_run_h": 1000, "run_h_since": 1001, "last_greased_at": ago(80)}, 0.0,
     -1 / 24),
    ("days before hours", {"interval_days": 90, "interval_run_h": 1000, "run_h_since": 0, "last_greased_at": ago(85)},
     1.0, 5.0),
    ("hours before days", {"interval_days": 90, "interval_run_h": 1000, "run_h_since": 976, "last_greased_at": ago(45)},
     1.0, 1.0),
    ("never greased", {"interval_days": 90}, 1.0, None),
]


@pytest.mark.parametrize(("chart", "share", "days"), [f[1:] for f in FALLS], ids=[f[0] for f in FALLS])
def test_the_first_of_both_intervals_to_end(chart: dict[str, Any], share: float, days: float | None) -> None:
    falls = greasing_plan.falls_due_at(point(**chart), NOW, share)
    assert (falls is None) == (days is None)
    assert days is None or (falls - NOW) / timedelta(days=1) == pytest.approx(days)  # type: ignore[operator]


LISTS = [
    ("overdue", {"interval_days": 90, "last_greased_at": ago(91)}, greasing_plan.OVERDUE),
    ("due before the shift ends", {"interval_days": 90, "last_greased_at": ago(90) + timedelta(hours=4)},
     greasing_plan.NOW),
    ("due when the shift ends", {"interval_days": 90, "last_greased_at": ago(90) + timedelta(hours=5)},
     greasing_plan.THIS_WEEK),
    ("due this week", {"interval_days": 90, "last_greased_at": ago(86)}, greasing_plan.THIS_WEEK),
    ("due when the week ends", {"interval_days": 90, "last_greased_at": ago(85)}, greasing_plan.LATER),
    ("never recorded", {"interval_days": 90}, greasing_plan.NEVER),
    ("no interval", {"last_greased_at": ago(10)}, greasing_plan.NONE),
]


@pytest.mark.parametrize(("chart", "where"), [x[1:] for x in LISTS], ids=[x[0] for x in LISTS])
def test_each_bearing_stands_in_one_list(chart: dict[str, Any], where: str) -> None:
    line = point(**chart)
    due, falls = greasing.due(line, NOW), greasing_plan.falls_due_at(line, NOW)
    assert greasing_plan.list_of(due, falls, SHIFT_END, WEEK_END) == where


def test_a_shift_that_outlasts_the_week_is_still_now() -> None:
    line = point(interval_days=90, last_greased_at=ago(90) + timedelta(hours=4))
    due, falls = greasing.due(line, NOW), greasing_plan.falls_due_at(line, NOW)
    assert greasing_plan.list_of(due, falls, SHIFT_END, NOW + timedelta(hours=1)) == greasing_plan.NOW


#: first due in days, every so many days, week from..to in days, due in it
WEEKS = [(3, 14, 0, 7, True), (3, 14, 7, 14, False), (3, 14, 14, 21, True), (3, None, 14, 21, False),
         (0, 7, 7, 14, True), (20, 7, 7, 14, False), (-30, 14, 7, 14, True)]


@pytest.mark.parametrize(("first", "every", "start", "end", "falls"), WEEKS)
def test_a_short_interval_falls_due_again_within_the_weeks_ahead(
        first: float, every: float | None, start: float, end: float, falls: bool) -> None:
    # -30 + 3 × 14 = 12, between 7 and 14
    assert greasing_plan.falls_due_between(NOW + timedelta(days=first), every, NOW + timedelta(days=start),
                                           NOW + timedelta(days=end)) is falls


def test_every_so_many_days_as_the_motor_runs_now() -> None:
    assert greasing_plan.every_days(point(interval_days=90, interval_run_h=1200), 0.5) == 90  # 1,200 h at half: 100
    assert greasing_plan.every_days(point(interval_run_h=1200), 0.5) == 100
    assert greasing_plan.every_days(point(interval_run_h=1200), 0.0) is None


def test_totals_are_grams_and_whole_strokes_of_each_gun_that_fits() -> None:
    guns = [Gun("Gun 1", 1.35, "Blue EP"), Gun("Gun 2", 1.1, "Red EP"), Gun("Spare", 0.9)]
    needs = [("Blue EP", 23.1), ("blue  ep", 30.0), ("Green", 10.0), ("Green", None), (None, 9.0)]
    found = {t.lubricant: t for t in greasing_plan.totals(needs, guns)}
    # 23.1 / 1.35 = 17.1 -> 17
    assert found["Blue EP"].strokes == ((guns[0], 17),)
    assert found["blue  ep"].strokes == ((guns[0], 22),)
    # nothing holds Green: the gun kept to no lubricant, 10 / 0.9 = 11.1 -> 11
    assert (found["Green"].bearings, found["Green"].grams, found["Green"].unknown) == (2, 10.0, 1)
    assert found["Green"].strokes == ((guns[2], 11),)
    assert [gun.name for gun, _ in found["lubricant not named"].strokes] == ["Gun 1", "Gun 2", "Spare"]


def test_strokes_are_rounded_to_the_nearest_whole_one() -> None:
    gun = Gun("Gun", 2.0)
    assert [greasing_plan.strokes_for(g, gun) for g in (0.5, 2.9, 3.0, 5.0, 23.1)] == [1, 1, 2, 3, 12]
    assert greasing_plan.strokes_for(None, gun) is None
