"""One motor over a span: figures with their method, limits as they were in force, own normal, what was done."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.motor_trends import MotorTrend, Panel, trend_of
from app.store.base import new_id
from app.store.limits import change_limit
from app.store.lubrication import Greasing
from app.store.rounds import Reading
from app.store.starts import Start, Trip
from tests import factories
from tests.factories import NOW, Plant

START, END = NOW - timedelta(days=28), NOW + timedelta(hours=1)
AMPS, ODE, DE, APART, WINDING = ("Amps, highest phase", "Fan end (ODE) bearing", "Coupling end (DE) bearing",
                                 "DE less ODE", "Winding")


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as opened:
        yield opened


@pytest.fixture
def plant(session: Session) -> Plant:
    return factories.make_plant(session)


def read(session: Session, plant: Plant, at: datetime = NOW, **columns: Any) -> Reading:
    return factories.make_reading(session, plant.motor, plant.operator, at, **{"method": "contact", **columns})


def trend(session: Session, plant: Plant, start: datetime = START, end: datetime = END) -> MotorTrend:
    session.flush()
    session.refresh(plant.motor, ["nameplates"])
    return trend_of(session, plant.unit, plant.motor, start, end)


def panels(session: Session, plant: Plant) -> dict[str, Panel]:
    return {panel.name: panel for panel in trend(session, plant).panels}


def test_amps_are_percent_of_the_plate_each_reading_was_judged_by(session: Session, plant: Plant) -> None:
    read(session, plant, NOW - timedelta(days=9), current_a_1=87.0)
    factories.make_nameplate(session, plant.motor, rated_amps=96.0, sf=1.0, fitted_from=NOW - timedelta(days=5),
                             confirmed_at=NOW)
    session.refresh(plant.motor, ["nameplates"])
    read(session, plant, current_a_1=48.0, current_a_2=72.0, current_a_3=24.0)
    panel = panels(session, plant)[AMPS]
    assert [p.value for p in panel.points] == [100.0, 75.0]  # 87 of 87; the highest phase, 72 of 96
    assert panel.from_zero
    act_now = panel.limits[1]
    # 1.15 computed from the first plate's service factor; with 1.0 general practice's 110 %
    assert [value for _, value in act_now.steps] == pytest.approx([115.0, 110.0])
    assert act_now.steps[1][0] == NOW - timedelta(days=5)


def test_a_plate_that_nobody_confirmed_gives_no_percent(session: Session, plant: Plant) -> None:
    read(session, plant, NOW - timedelta(days=9), current_a_1=87.0)
    factories.make_nameplate(session, plant.motor, rated_amps=96.0, fitted_from=NOW - timedelta(days=5))
    session.refresh(plant.motor, ["nameplates"])
    read(session, plant, current_a_1=48.0)
    assert [p.value for p in panels(session, plant)[AMPS].points] == [100.0, None]


def test_both_bearings_their_difference_winding_and_vibration_are_followed_each_by_its_method(
        session: Session, plant: Plant) -> None:
    read(session, plant, bearing_temp_c_de=66.0, bearing_temp_c_ode=50.0, winding_temp_c=98.0, winding_method="fitted",
         vibration_mm_s_de=2.9, vibration_mm_s_ode=1.0)
    told = panels(session, plant)
    assert {name: (panel.points[0].value, panel.points[0].kind) for name, panel in told.items()} == {
        ODE: (50.0, "contact"), DE: (66.0, "contact"), APART: (16.0, "contact"), WINDING: (98.0, "fitted"),
        "Fan end (ODE) vibration": (1.0, ""), "Coupling end (DE) vibration": (2.9, "")}
    assert (told[APART].about_zero, told[DE].from_zero, told["Fan end (ODE) vibration"].from_zero) == (
        True, False, True)
    # grease 90 / 100; 10 and 20 K either way; class F with service factor 1.15 160 / 165; 75 hp rigid 2.8 / 4.5
    assert [[v for _, v in line.steps] for line in told[DE].limits] == [[90.0], [100.0]]
    assert [[v for _, v in line.steps] for line in told[APART].limits] == [[10.0], [20.0], [-10.0], [-20.0]]
    assert [[v for _, v in line.steps] for line in told[WINDING].limits] == [[160.0], [165.0]]
    assert [[v for _, v in line.steps] for line in told["Fan end (ODE) vibration"].limits] == [[2.8], [4.5]]
    assert (told[APART].points[0].over, told["Coupling end (DE) vibration"].points[0].over) == (
        "this shift", "this shift")
    assert told[DE].points[0].over is None


@pytest.mark.parametrize(("de", "over"), [(90.0, None), (90.1, "this shift"), (100.0, "this shift"),
                                          (100.1, "act now")])
def test_a_reading_is_above_a_limit_only_when_it_is(session: Session, plant: Plant, de: float, over: str) -> None:
    read(session, plant, bearing_temp_c_de=de)
    assert panels(session, plant)[DE].points[0].over == over


def test_a_limit_is_drawn_as_it_was_in_force(session: Session, plant: Plant) -> None:
    name = "bearing_hot_grease_alarm_c"
    other = factories.make_motor(session, plant.unit, "P-102")
    change_limit(session, plant.unit, name, 80.0, None, "trial", None, START - timedelta(days=1))
    change_limit(session, plant.unit, name, 85.0, plant.motor.tag, "this one", None, NOW - timedelta(days=10))
    change_limit(session, plant.unit, name, 70.0, other.tag, "another motor's", None, NOW - timedelta(days=8))
    change_limit(session, plant.unit, name, 60.0, None, "to come", None, END + timedelta(days=1))
    read(session, plant, NOW - timedelta(days=11), bearing_temp_c_de=82.0)
    read(session, plant, NOW - timedelta(days=9), bearing_temp_c_de=82.0)
    panel = panels(session, plant)[DE]
    assert panel.limits[0].steps == ((START, 80.0), (NOW - timedelta(days=10), 85.0))
    assert [p.over for p in panel.points] == ["this shift", None]


def test_a_standing_motor_a_skip_and_what_was_not_measured_are_gaps_and_a_corrected_figure_does_not_count(
        session: Session, plant: Plant) -> None:
    hours = [NOW - timedelta(hours=12 * i) for i in range(5, -1, -1)]
    read(session, plant, hours[0], bearing_temp_c_de=60.0)
    read(session, plant, hours[1], state="standby")
    read(session, plant, hours[2], state=None, skip_reason="fog")  # a skip is no look at all
    read(session, plant, hours[3])
    wrong = read(session, plant, hours[4], bearing_temp_c_de=160.0)
    read(session, plant, hours[4], bearing_temp_c_de=61.0, replaces_id=wrong.id, replaces_why="typed wrongly")
    panel = panels(session, plant)[DE]
    assert sorted((p.value or 0.0, p.corrected) for p in panel.points) == [
        (0.0, False), (0.0, False), (60.0, False), (61.0, False), (160.0, True)]
    assert [p.value for p in panel.read] == [60.0, 61.0]
    assert [p.over for p in panel.points if p.corrected] == [None]


def test_the_own_normal_is_that_of_the_last_like_readings(session: Session, plant: Plant) -> None:
    for i in range(21, 0, -1):  # 21 earlier ones, the last 20 of which count: all 58
        read(session, plant, NOW - timedelta(hours=12 * i), bearing_temp_c_de=90.0 if i == 21 else 58.0)
    read(session, plant, NOW - timedelta(hours=6), bearing_temp_c_de=75.0, method="infrared")  # not like the others
    read(session, plant, bearing_temp_c_de=69.0)
    own = panels(session, plant)[DE].normal
    assert own is not None
    # median 58, no scatter, so the floor of 3 K; 3.5 of them either way: 47.5 to 68.5 (general practice, no source)
    assert (own.centre, own.low, own.high, own.count) == (58.0, 47.5, 68.5, 20)
    assert own.since == NOW - timedelta(hours=240)


def test_too_few_readings_have_no_own_normal_and_a_new_normal_begins_anew(session: Session, plant: Plant) -> None:
    for i in range(8, 0, -1):
        read(session, plant, NOW - timedelta(hours=12 * i), bearing_temp_c_de=58.0)
    read(session, plant, bearing_temp_c_de=58.0)
    assert panels(session, plant)[DE].normal is not None
    plant.motor.new_normal_at = NOW - timedelta(hours=90)
    assert panels(session, plant)[DE].normal is None


def test_greasings_starts_trips_and_swaps_are_marked(session: Session, plant: Plant) -> None:
    common = {"content": "x", "unit_id": plant.unit.id, "motor_id": plant.motor.id, "person_id": plant.operator.id}
    for at, grams in ((NOW, 23.0), (NOW, 0.0), (START - timedelta(hours=1), 23.0)):
        session.add(Greasing(id=new_id(), end="DE", at=at, received_at=at, grams=grams, **common))
    timed = {"at": NOW, "at_device": NOW, "received_at": NOW, **common}
    session.add_all([Start(id=new_id(), outcome="automatic", **timed), Trip(id=new_id(), protection="fuse", **timed)])
    factories.make_nameplate(session, plant.motor, fitted_from=NOW, serial="S-2")
    read(session, plant, bearing_temp_c_de=60.0)
    assert [(m.what, m.end, m.says) for m in trend(session, plant).marks] == [
        ("greased", "DE", "DE greased"), ("started", "", "start: automatic"), ("tripped", "", "trip: fuse"),
        ("plate changed", "", "another motor fitted, serial S-2")]


def test_the_span_is_half_open_and_another_motors_readings_are_not_in_it(session: Session, plant: Plant) -> None:
    other = factories.make_motor(session, plant.unit, "P-102")
    factories.make_reading(session, other, plant.operator, NOW, bearing_temp_c_de=99.0)
    second = timedelta(seconds=1)
    for at, figure in ((START, 1.0), (END - second, 2.0), (END, 3.0), (START - second, 4.0)):
        read(session, plant, at, bearing_temp_c_de=figure)
    assert [p.value for p in panels(session, plant)[DE].points] == [1.0, 2.0]


def test_many_readings_cost_as_many_queries_as_few(session: Session, plant: Plant) -> None:
    def asked() -> int:
        statements: list[str] = []
        sa.event.listen(session.get_bind(), "before_cursor_execute", lambda *told: statements.append(told[2]))
        trend(session, plant)
        return len(statements)

    read(session, plant, current_a_1=80.0)
    few = asked()
    for i in range(40):
        read(session, plant, NOW - timedelta(hours=i), current_a_1=80.0)
    assert asked() == few
