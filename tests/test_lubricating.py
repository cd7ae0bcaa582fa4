"""The plan of greasing, and one bearing before it is greased: due by days or hours, with how sure."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa

from app import lubricating
from app.db import Database
from app.lubricating import Bearing, Planned
from app.rules import greasing_plan
from app.store import lubrication, motors
from app.store.lubrication import Greasing
from app.store.motors import MotorRun
from tests.entering import TAG, Crew, day


@pytest.fixture
def crew(database: Database) -> Crew:
    return Crew(database)


def bearing(crew: Crew, at: datetime, end: str = "DE") -> Bearing:
    with crew.database.reading() as session:
        motor = motors.motor_by_tag(session, crew.unit.id, TAG)
        assert motor is not None
        return lubricating.bearings(session, crew.unit, motor, at)[end]


def plan(crew: Crew, at: datetime) -> dict[tuple[str, str], Planned]:
    with crew.database.reading() as session:
        return {(p.motor.tag, p.end): p for p in lubricating.plan(session, crew.unit, at)}


def run_of(crew: Crew) -> MotorRun:
    with crew.database.reading() as session:
        return session.scalars(sa.select(MotorRun)).one()


# running hours ---------------------------------------------------------------------------------------------


def test_hours_found_by_looks_are_unsure_where_the_state_changed_in_between(crew: Crew) -> None:
    crew.point(interval_days=None, interval_run_h=1000.0)
    crew.read(day(0))
    crew.grease(day(0, minutes=5))
    crew.read(day(0, hours=12))
    crew.read(day(0, hours=24), state="standby", vibration_feel=None, bearing_feel=None, winding_feel=None,
              current_a=None)
    here = bearing(crew, day(0, hours=24)).point
    assert here.run_h_since == pytest.approx(24 - 5 / 60)
    assert here.run_h_unsure == pytest.approx(12.0)  # it stopped somewhere in the last twelve hours


def test_a_stop_on_record_makes_them_sure(crew: Crew) -> None:
    crew.point(interval_days=None, interval_run_h=1000.0)
    crew.read(day(0))
    crew.grease(day(0, minutes=5))
    crew.set_condition(day(0, hours=4), "standby")  # a named act, which says when
    crew.read(day(0, hours=12), state="standby", vibration_feel=None, bearing_feel=None, winding_feel=None,
              current_a=None)
    here = bearing(crew, day(0, hours=12)).point
    assert here.run_h_since == pytest.approx(4 - 5 / 60)
    assert here.run_h_unsure == pytest.approx(0.0)


def test_a_late_entry_makes_hours_and_their_unsureness_anew_for_the_greasings_too(crew: Crew) -> None:
    crew.point(interval_days=None, interval_run_h=1000.0)
    crew.read(day(0))
    crew.read(day(0, hours=20))
    crew.grease(day(0, hours=20))
    crew.read(day(0, hours=10), received=day(0, hours=21), state="standby", vibration_feel=None, bearing_feel=None,
              winding_feel=None, current_a=None)
    run = run_of(crew)
    assert (run.run_s, run.unsure_s) == (pytest.approx(10 * 3600), pytest.approx(20 * 3600))
    with crew.database.reading() as session:
        (done,) = session.scalars(sa.select(Greasing)).all()
    assert (done.run_s, done.unsure_s) == (pytest.approx(10 * 3600), pytest.approx(20 * 3600))


def test_before_its_first_look_a_motor_is_taken_to_have_run_and_nobody_is_sure(crew: Crew) -> None:
    crew.point(interval_days=None, interval_run_h=1000.0, last_greased_at=day(-10))
    here = bearing(crew, day(0))
    assert (here.point.run_h_since, here.point.run_h_unsure, here.sure) == (240.0, 240.0, "rough")
    crew.read(day(0))
    here = bearing(crew, day(0, hours=12))
    assert here.point.run_h_since == pytest.approx(252.0)
    assert here.sure == "rough"  # 240 of 252


# due -------------------------------------------------------------------------------------------------------


def test_due_by_days_or_hours_whichever_is_first(crew: Crew) -> None:
    crew.point("DE", interval_days=90.0, interval_run_h=1000.0, last_greased_at=day(-40))
    crew.point("ODE", interval_days=30.0, interval_run_h=1000.0, last_greased_at=day(-20))
    found = plan(crew, day(0))
    # never seen, so taken to run: 1,000 h − 960 h = 40 h
    assert found[TAG, "DE"].falls_due == day(0, hours=40)
    assert found[TAG, "ODE"].falls_due == day(10)


def test_a_motor_that_stands_is_not_due_by_hours(crew: Crew) -> None:
    crew.point("DE", interval_days=None, interval_run_h=1000.0)
    crew.set_condition(day(-60), "standby")
    crew.grease(day(-50))
    found = plan(crew, day(0))[TAG, "DE"]
    assert (found.point.run_h_since, found.falls_due, found.where) == (0.0, None, greasing_plan.LATER)


@pytest.mark.parametrize(("greased", "where"), [
    (day(-91), "overdue"), (day(-90, hours=8), "now"), (day(-86), "this week"), (day(-80), "later"), (None, None)])
def test_each_bearing_stands_in_its_list(crew: Crew, greased: datetime | None, where: str | None) -> None:
    # Tuesday 07:12: the shift ends at 18:00, the week on Sunday night
    crew.point("DE", interval_days=90.0, last_greased_at=greased)
    assert plan(crew, day(0))[TAG, "DE"].where == (where or "never recorded")


def test_the_banner_counts_what_is_past_its_interval_and_not_what_was_never_recorded(crew: Crew) -> None:
    crew.point("DE", last_greased_at=day(-91))
    crew.point("ODE", last_greased_at=None)
    assert lubricating.overdue_count(plan(crew, day(0)).values()) == 1


def test_the_eight_weeks_are_the_units_own(crew: Crew) -> None:
    weeks = lubricating.weeks_ahead(crew.unit, day(0))
    assert [w[0] for w in weeks][:6] == ["2026-W48", "2026-W49", "2026-W50", "2026-W51", "2026-W52", "2026-W53"]
    assert len(weeks) == 8
    assert all(one[2] == other[1] for one, other in itertools.pairwise(weeks))


def test_a_short_interval_falls_due_in_several_of_the_weeks(crew: Crew) -> None:
    crew.point("DE", interval_days=14.0, last_greased_at=day(0))
    found = plan(crew, day(0, hours=1))[TAG, "DE"]
    weeks = lubricating.weeks_ahead(crew.unit, day(0, hours=1))
    # Tuesday of every second week from the third on
    assert [found.due_between(start, end) for _, start, end in weeks] == [False, False, True, False, True, False, True,
                                                                          False]


# one bearing -----------------------------------------------------------------------------------------------


def test_the_newest_greasing_of_each_end_is_known_however_often_the_other_was_greased(crew: Crew) -> None:
    crew.point("DE")
    crew.point("ODE")
    crew.grease(day(-80), end="ODE")
    for number in range(15):
        crew.grease(day(-60 + number), grams=1.0)
    assert bearing(crew, day(0), "ODE").last.at == day(-80)  # type: ignore[union-attr]
    assert plan(crew, day(0))[TAG, "ODE"].point.last_greased_at == day(-80)
    known = crew.motor()
    with crew.database.reading() as session:
        assert len(lubrication.last_greasings(session, known.id, day(0))) == 11


def test_nothing_went_in_leaves_the_due_date_and_the_warning_as_they_were(crew: Crew) -> None:
    crew.point("DE", last_greased_at=day(-100))
    crew.grease(day(0), grams=0.0)
    here = bearing(crew, day(0, hours=1))
    assert (here.due.overdue, here.needs_reason, here.warm_until) == (True, False, None)
    assert here.last is not None and here.last.grams == 0.0


def test_a_bearing_that_is_not_on_the_chart_is_offered_its_amount_and_guarded_by_the_computed_interval(
        crew: Crew) -> None:
    here = bearing(crew, day(0))
    assert (here.amount_g, here.computed, here.line) == (pytest.approx(23.1), True, None)  # 6313
    crew.grease(day(0))
    assert bearing(crew, day(0, hours=11)).needs_reason
    assert not bearing(crew, day(0, hours=11), "ODE").needs_reason


def test_a_second_greasing_by_a_token_or_another_crew_counts_the_same(crew: Crew) -> None:
    crew.point("DE", last_greased_at=day(-80))
    crew.enter({"id": "6f2b1a52-9d53-4c62-8a3f-3d8a6c0b7d11", "tag": TAG, "end": "DE", "at": day(0).isoformat(),
                "by": "operator", "grams": 30.0}, token=crew.token_row)
    assert bearing(crew, day(0, hours=1)).needs_reason


def test_warmth_is_expected_for_a_day_after_greasing(crew: Crew) -> None:
    crew.grease(day(0))
    assert bearing(crew, day(0, hours=1)).warm_until == day(0) + timedelta(hours=24)
    assert bearing(crew, day(0, hours=24)).warm_until is None
