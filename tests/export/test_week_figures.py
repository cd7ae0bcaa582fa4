"""The week in figures: what stood, what keeps coming back."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.export.week import exception_rows, week_for
from app.export.week_figures import Figures, most_first, repeats
from tests import factories
from tests.export.hand_made import AFTERWARDS, SECOND, TUESDAY, WEEK, WEEK_END, WEEK_START, make_flag
from tests.factories import Plant


def figures_of(session: Session, plant: Plant) -> Figures:
    figures = Figures()
    for _ in figures.counted(exception_rows(session, plant.unit, WEEK, AFTERWARDS)):
        pass
    return figures


def test_the_week_is_counted_by_what_the_meeting_asks(session: Session, plant: Plant) -> None:
    other = factories.make_motor(session, plant.unit, "F-1", area="Cooling")
    make_flag(session, other, WEEK_START - SECOND, priority="act now", rule="smoke", run_on_reason="no spare")
    make_flag(session, plant.motor, TUESDAY, rule="dirty", priority="watch", seen_at=TUESDAY + timedelta(hours=2))
    make_flag(session, plant.motor, TUESDAY, rule="dirty", end="DE", priority="watch", arrived_late=True,
              seen_at=TUESDAY + timedelta(hours=5), closed_at=TUESDAY + timedelta(hours=8))
    make_flag(session, plant.motor, TUESDAY, rule="greasing_overdue", end="DE", priority="this shift",
              closed_at=WEEK_END + timedelta(hours=1))
    make_flag(session, plant.motor, TUESDAY, rule="greasing_overdue", end="ODE", priority="watch")  # never recorded
    f = figures_of(session, plant)
    assert (f.stood, f.raised, f.closed, f.not_seen_yet, f.run_on, f.late) == (5, 4, 1, 2, 1, 1)
    assert f.greasing_overdue == 1
    assert f.priorities == [("act now", 1), ("this shift", 1), ("watch", 3)]
    assert most_first(f.by_rule) == [("dirty", 2), ("greasing_overdue", 2), ("smoke", 1)]
    assert most_first(f.by_area) == [("Feed", 4), ("Cooling", 1)]
    assert f.median_hours_to_seen == 3.5  # of 2 and 5
    # 8 h; and from Tuesday 08:00 to an hour into Monday, 5 days and 17 hours: the median of 8 and 137
    assert f.median_hours_to_closed == 72.5


def test_nothing_has_no_median(session: Session, plant: Plant) -> None:
    f = figures_of(session, plant)
    assert (f.stood, f.median_hours_to_seen, f.median_hours_to_closed) == (0, None, None)
    assert f.priorities == [("act now", 0), ("this shift", 0), ("watch", 0)]


@pytest.mark.parametrize(("flags", "again"), [
    ([(TUESDAY, None, 1)], False),
    ([(TUESDAY, None, 2)], False),
    ([(TUESDAY, None, 3)], True),
    ([(TUESDAY - timedelta(days=14), TUESDAY - timedelta(days=13), 1), (TUESDAY, None, 1)], True),
    ([(WEEK_END - timedelta(weeks=4), WEEK_END - timedelta(weeks=4), 1), (TUESDAY, None, 1)], True),
    ([(WEEK_END - timedelta(weeks=4) - SECOND, WEEK_END - timedelta(weeks=4) - SECOND, 1), (TUESDAY, None, 1)], False),
    ([(TUESDAY - timedelta(days=14), TUESDAY - timedelta(days=13), 1),
      (TUESDAY - timedelta(days=9), TUESDAY - timedelta(days=8), 1)], False),
    ([(TUESDAY - timedelta(days=60), None, 3)], True),
], ids=["once", "seen twice", "seen three times", "raised again within four weeks", "just within", "just outside",
        "not in this week", "stands for two months"])
def test_what_keeps_coming_back_is_named(session: Session, plant: Plant, again: bool,
                                         flags: list[tuple[datetime, datetime | None, int]]) -> None:
    for raised, closed, seen in flags:
        make_flag(session, plant.motor, raised, rule="vibration", end="DE", closed_at=closed, times_seen=seen)
    assert bool(repeats(session, plant.unit.id, week_for(plant.unit, WEEK), AFTERWARDS)) is again


def test_another_end_another_rule_or_another_motor_is_no_repeat(session: Session, plant: Plant) -> None:
    other = factories.make_motor(session, plant.unit, "P-102")
    for motor, rule, end in ((plant.motor, "vibration", "DE"), (plant.motor, "vibration", "ODE"),
                             (plant.motor, "bearing_hot", "DE"), (other, "vibration", "DE")):
        make_flag(session, motor, TUESDAY, rule=rule, end=end)
    assert repeats(session, plant.unit.id, week_for(plant.unit, WEEK), AFTERWARDS) == []


def test_a_repeat_tells_how_often_and_whether_it_stands(session: Session, plant: Plant) -> None:
    for days, seen in ((16, 1), (9, 1), (0, 4)):
        at = TUESDAY - timedelta(days=days)
        make_flag(session, plant.motor, at, rule="vibration", end="DE", times_seen=seen,
                  closed_at=at + timedelta(days=1) if days else None)
    [r] = repeats(session, plant.unit.id, week_for(plant.unit, WEEK), AFTERWARDS)
    assert (r.tag, r.rule, r.end, r.raised_in_week, r.raised_in_4_weeks, r.times_seen, r.standing) == (
        "P-101A", "vibration", "DE", 1, 3, 4, True)
    assert (r.first_raised, r.last_seen) == (TUESDAY - timedelta(days=16), TUESDAY)

