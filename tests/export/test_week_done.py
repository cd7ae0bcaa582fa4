"""What was done in the week: starts against what is allowed, trips, greasings, changes."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.export.week import week_for
from app.export.week_asked import route_of
from app.export.week_done import Done, done_in
from app.store.base import new_id
from app.store.changes import note_change
from app.store.flags import Finding
from app.store.limits import change_limit
from app.store.lubrication import Greasing
from app.store.motors import Motor
from app.store.starts import Start, Trip, TripAct
from tests import factories
from tests.export.hand_made import SECOND, TUESDAY, WEEK, WEEK_END, WEEK_START
from tests.factories import Plant


def done(session: Session, plant: Plant) -> Done:
    week = week_for(plant.unit, WEEK)
    return done_in(session, plant.unit, week, route_of(session, plant.unit.id, week))


def make_start(session: Session, plant: Plant, at: datetime, outcome: str = "ran", motor: Motor | None = None,
               *broke: str) -> Start:
    made = Start(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=(motor or plant.motor).id, at=at,
                 at_device=at, received_at=at, outcome=outcome, person_id=plant.operator.id)
    session.add(made)
    session.flush()
    for rule in broke:
        session.add(Finding(cause="start", cause_id=made.id, motor_id=made.motor_id, at=at, rule=rule, end="",
                            priority="this shift", source="general practice", says="x"))
    session.flush()
    return made


def test_starts_stand_beside_what_the_motor_is_allowed(session: Session, plant: Plant) -> None:
    """75 hp by general practice: one in any 60 minutes (no published source)."""
    for minutes in (0, 59):
        make_start(session, plant, TUESDAY + timedelta(minutes=minutes))
    make_start(session, plant, TUESDAY + timedelta(minutes=119), "did not start")  # 60 min after the one before: alone
    make_start(session, plant, WEEK_END - SECOND, "automatic", None, "started_outside_limits", "no_prestart_check")
    [told] = done(session, plant).starts
    assert (told.tag, told.starts, told.automatic, told.failed, told.most_in_60_min) == ("P-101A", 4, 1, 1, 2)
    assert (told.allowed, told.outside) == (1, 1)
    assert told.source.startswith("general practice")
    assert told.broke == ["no_prestart_check", "started_outside_limits"]


def test_a_start_before_the_week_fills_the_hour_but_is_not_counted(session: Session, plant: Plant) -> None:
    for at in (WEEK_START - timedelta(minutes=60), WEEK_START - timedelta(minutes=59), WEEK_START):
        make_start(session, plant, at)
    [told] = done(session, plant).starts
    assert (told.starts, told.most_in_60_min) == (1, 2)


# NEMA MG 10 table 2-3, 75 hp, 4 poles, as in the start rules' own tests: A 5.3 rounded down; a written procedure wins.
@pytest.mark.parametrize(("columns", "allowed"), [
    ({"start_basis": "table"}, 5), ({"start_basis": "table", "written_starts_per_hour": 2.0}, 2),
    ({"start_basis": "written procedure", "written_starts_per_hour": 4.0}, 4)])
def test_what_is_allowed_is_what_the_start_page_goes_by(session: Session, plant: Plant, columns: dict[str, object],
                                                        allowed: int) -> None:
    motor = factories.make_motor(session, plant.unit, "P-102", **columns)
    make_start(session, plant, TUESDAY, "ran", motor)
    assert done(session, plant).starts[0].allowed == allowed


def test_above_1500_hp_without_a_procedure_none_is_allowed_and_the_reason_is_told(session: Session,
                                                                                  plant: Plant) -> None:
    motor = factories.make_motor(session, plant.unit, "C-301", hp=2500.0)
    make_start(session, plant, TUESDAY, "ran", motor)
    [told] = done(session, plant).starts
    assert told.allowed is None
    assert "1,500 hp" in told.source


def test_a_limit_set_later_than_the_week_does_not_count_and_the_motors_own_wins(session: Session, plant: Plant) -> None:
    change_limit(session, plant.unit, "start_over_50_hp_per_hour", 2.0, None, "trial", plant.supervisor, WEEK_START)
    change_limit(session, plant.unit, "start_over_50_hp_per_hour", 3.0, None, "trial", plant.supervisor, WEEK_END)
    other = factories.make_motor(session, plant.unit, "P-102")
    change_limit(session, plant.unit, "start_over_50_hp_per_hour", 3.0, "P-102", "trial", plant.supervisor, TUESDAY)
    make_start(session, plant, TUESDAY)
    make_start(session, plant, TUESDAY, "ran", other)
    assert {m.tag: m.allowed for m in done(session, plant).starts} == {"P-101A": 2, "P-102": 3}


def test_the_plate_counts_that_was_fitted_when_the_week_ended(session: Session, plant: Plant) -> None:
    factories.make_nameplate(session, plant.motor, hp=25.0, fitted_from=TUESDAY)
    factories.make_nameplate(session, plant.motor, hp=2500.0, fitted_from=WEEK_END)
    make_start(session, plant, TUESDAY)
    assert done(session, plant).starts[0].allowed == 3  # general practice to 50 hp


def test_trips_are_told_by_what_opened_with_what_was_found_then_and_since(session: Session, plant: Plant) -> None:
    for word, cause, at in (("fuse", None, TUESDAY), ("overload relay", "belt jammed", TUESDAY + SECOND),
                            ("fuse", None, WEEK_END - SECOND), ("unknown", None, WEEK_END)):
        trip = Trip(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=plant.motor.id, at=at, at_device=at,
                    received_at=at, protection=word, cause=cause, person_id=plant.operator.id)
        session.add(trip)
        session.flush()
        if word == "overload relay":
            session.add(TripAct(trip_id=trip.id, kind="relay reset", at=at, person_id=plant.operator.id,
                                found="bearing seized"))
    session.flush()
    told = done(session, plant)
    assert told.trips_by_protection == [("fuse", 2), ("overload relay", 1)]
    assert [(t.what, t.words, t.more, t.by) for t in told.trips] == [
        ("fuse", None, None, "Operator"), ("overload relay", "belt jammed", "bearing seized", "Operator"),
        ("fuse", None, None, "Operator")]


def test_greasings_done_doubled_and_wrong_are_told_apart(session: Session, plant: Plant) -> None:
    for end, grams, rule in (("DE", 23.0, None), ("ODE", 46.0, "greased_too_soon"), ("DE", None, "wrong_lubricant"),
                             ("DE", 0.0, None)):
        made = Greasing(id=new_id(), content="x", unit_id=plant.unit.id, motor_id=plant.motor.id, end=end, at=TUESDAY,
                        received_at=TUESDAY, grams=grams, person_id=plant.operator.id)
        session.add(made)
        session.flush()
        if rule:
            session.add(Finding(cause="greasing", cause_id=made.id, motor_id=plant.motor.id, at=TUESDAY, rule=rule,
                                end=end, priority="this shift", source="lubrication chart", says="x"))
    session.flush()
    told = done(session, plant)
    assert (len(told.greasings), told.grams) == (3, 69.0)  # nothing went in: 0 g is no greasing
    assert ([(g.what, g.number) for g in told.too_soon], [g.what for g in told.wrong]) == ([("ODE", 46.0)], ["DE"])


def test_limits_and_corrections_are_listed_and_other_changes_counted(session: Session, plant: Plant) -> None:
    change_limit(session, plant.unit, "bearing_hot_grease_alarm_c", 85.0, None, "summer", plant.supervisor, TUESDAY)
    for subject in ("motor", "motor", "person"):
        note_change(session, unit_id=plant.unit.id, at=TUESDAY, person=None, subject=subject, subject_id=1, label="x",
                    field="y", before=None, after="z")
    first = factories.make_reading(session, plant.motor, plant.operator, TUESDAY)
    factories.make_reading(session, plant.motor, plant.head_operator, TUESDAY, replaces_id=first.id,
                           replaces_why="misread")
    told = done(session, plant)
    assert [(c.words, c.by, c.more) for c in told.limits] == [
        ("bearing_hot_grease_alarm_c: 90 → 85", "Supervisor", "summer")]
    assert told.other_changes == {"motor": 2, "person": 1}
    assert [(c.tag, c.by, c.more) for c in told.corrections] == [("P-101A", "Head Operator", "misread")]


def test_what_was_done_costs_one_query_however_much_it_was(session: Session, plant: Plant) -> None:
    for i in range(12):
        motor = factories.make_motor(session, plant.unit, f"P-3{i:02}")
        make_start(session, plant, TUESDAY + timedelta(minutes=i), "ran", motor, "started_outside_limits")
    week = week_for(plant.unit, WEEK)
    route = route_of(session, plant.unit.id, week)
    asked: list[str] = []
    sa.event.listen(session.get_bind(), "before_cursor_execute", lambda *told: asked.append(told[2]))
    assert len(done_in(session, plant.unit, week, route).starts) == 12
    assert len(asked) == 1


def test_another_units_work_is_not_shown(session: Session, plant: Plant) -> None:
    other = factories.make_unit(session, "Unit 3")
    motor = factories.make_motor(session, other, "P-901")
    factories.make_reading(session, motor, plant.operator, TUESDAY)
    change_limit(session, other, "start_over_50_hp_per_hour", 2.0, None, "x", None, TUESDAY)
    make_start(session, plant, TUESDAY)
    told = done(session, plant)
    assert (told.starts[0].allowed, told.limits, told.corrections) == (1, [], [])
