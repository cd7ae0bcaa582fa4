"""Changing a limit: dated, with a reason, refused where it cannot be, undone by a new change."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app import checkup
from app.db import Database
from app.rules.facts import Show
from app.store.changes import changes_between
from app.store.limits import (
    AHEAD,
    BadLimit,
    LimitChange,
    change_limit,
    limit_changes,
    limits_at,
    own_value,
    undo_change,
)
from tests.factories import NOW, Plant, make_motor, make_plant

ALARM, SHUTDOWN = "bearing_hot_grease_alarm_c", "bearing_hot_grease_shutdown_c"
DAY = timedelta(days=1)


def put(session: Session, plant: Plant, name: str, value: float | None, at=NOW, *, tag: str | None = None,
        now=NOW) -> LimitChange:
    return change_limit(session, plant.unit, name, value, tag, "procedure 12", plant.supervisor, at, now=now)


def in_force(session: Session, plant: Plant, name: str, at, motor: bool = False) -> float:
    return limits_at(session, plant.unit.id, plant.motor.id if motor else None, at).value(name)


def refused(session: Session, plant: Plant, name: str, value: float | None, at=NOW, **more) -> BadLimit:
    before = len(limit_changes(session, plant.unit.id))
    with pytest.raises(BadLimit) as fault:
        put(session, plant, name, value, at, **more)
    assert len(limit_changes(session, plant.unit.id)) == before
    return fault.value


def test_a_change_judges_nothing_before_it_and_the_motors_own_wins(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        put(session, plant, ALARM, 85.0, NOW + DAY)
        put(session, plant, ALARM, 80.0, tag="P-101A")
        assert in_force(session, plant, ALARM, NOW) == 90.0
        assert in_force(session, plant, ALARM, NOW + DAY) == 85.0
        assert in_force(session, plant, ALARM, NOW + DAY, motor=True) == 80.0
        put(session, plant, ALARM, None, tag="P-101A", now=NOW + 2 * DAY, at=NOW + 2 * DAY)
        assert in_force(session, plant, ALARM, NOW + 2 * DAY, motor=True) == 85.0


def test_a_change_for_later_is_on_record_when_it_is_entered_with_the_day_it_counts_from(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        made = put(session, plant, ALARM, 85.0, NOW + DAY)
        noted = changes_between(session, plant.unit.id, NOW, NOW + timedelta(seconds=1))
        # 13:12 UTC is 07:12 in Chicago
        assert [(c.before, c.after, c.why) for c in noted] == [
            ("90", "85 from 2026-11-25 07:12-06:00", "procedure 12")]
        assert made.entered_at == NOW


@pytest.mark.parametrize(("value", "at", "field", "says"), [
    (100.0, NOW, "value", "below 100 °C"), (39.0, NOW, "value", "from 40"), (float("nan"), NOW, "value", "from 40"),
    (85.0, NOW - timedelta(seconds=1), "at", "from now on"), (85.0, NOW + AHEAD + DAY, "at", "a year ahead"),
], ids=str)
def test_what_cannot_be_is_refused_at_its_field(database: Database, value: float, at, field: str, says: str) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        fault = refused(session, plant, ALARM, value, at)
        assert fault.field == field and says in str(fault)


def test_name_motor_and_reason_are_asked_for(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        assert refused(session, plant, "bearing_hot_alarm", 85.0).field == "name"
        assert refused(session, plant, ALARM, 85.0, tag="P-999").field == "tag"
        with pytest.raises(BadLimit) as fault:
            change_limit(session, plant.unit, ALARM, 85.0, None, "  ", None, NOW)
        assert fault.value.field == "why"


def test_the_order_holds_at_every_later_day_and_for_every_motor_with_a_limit_of_its_own(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        make_motor(session, plant.unit, "P-101B")
        put(session, plant, ALARM, 98.0, tag="P-101A")
        fault = refused(session, plant, SHUTDOWN, 97.0)  # above the unit's 90, below this motor's own 98
        assert "P-101A" in str(fault) and "above 98 °C" in str(fault)
        put(session, plant, ALARM, 85.0, tag="P-101A")
        put(session, plant, SHUTDOWN, 95.0, NOW + DAY)
        assert "below 95 °C" in str(refused(session, plant, ALARM, 96.0))  # agrees today, not from tomorrow
        put(session, plant, ALARM, 94.0)


def test_back_to_the_default_is_refused_where_that_breaks_the_order(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        put(session, plant, ALARM, 80.0)
        put(session, plant, SHUTDOWN, 85.0)
        assert "below 85 °C" in str(refused(session, plant, ALARM, None))  # 90 as shipped
        put(session, plant, SHUTDOWN, None)
        put(session, plant, ALARM, None)
        assert in_force(session, plant, ALARM, NOW) == 90.0


def test_a_refusal_speaks_the_units_scale(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        with pytest.raises(BadLimit, match="below 212 °F"):
            change_limit(session, plant.unit, ALARM, 100.0, None, "x", None, NOW, show=Show(temperature="F"))


def test_undone_is_a_new_change_to_what_stood_before_with_both_in_the_history(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        put(session, plant, ALARM, 85.0)
        second = put(session, plant, ALARM, 80.0, NOW + DAY, now=NOW + DAY)
        undo_change(session, plant.unit, second, "mistyped", plant.supervisor, NOW + 2 * DAY)
        assert [c.value for c in limit_changes(session, plant.unit.id)] == [85.0, 80.0, 85.0]
        assert in_force(session, plant, ALARM, NOW + DAY) == 80.0  # what was judged meanwhile stays
        assert in_force(session, plant, ALARM, NOW + 2 * DAY) == 85.0


def test_a_change_that_has_not_begun_is_undone_for_its_own_day(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        later = put(session, plant, ALARM, 85.0, NOW + 7 * DAY)
        undone = undo_change(session, plant.unit, later, "not agreed", plant.supervisor, NOW)
        assert (undone.at, undone.value) == (NOW + 7 * DAY, None)
        assert in_force(session, plant, ALARM, NOW + 8 * DAY) == 90.0


def test_a_motors_first_own_limit_undone_leaves_the_units(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        put(session, plant, ALARM, 85.0)
        own = put(session, plant, ALARM, 80.0, tag="P-101A")
        assert own_value(limit_changes(session, plant.unit.id), ALARM, plant.motor.id, NOW) == 80.0
        undo_change(session, plant.unit, own, "mistyped", plant.supervisor, NOW)
        assert in_force(session, plant, ALARM, NOW, motor=True) == 85.0
        assert own_value(limit_changes(session, plant.unit.id), ALARM, plant.motor.id, NOW) is None


def test_the_doctor_finds_an_alarm_above_its_shutdown_that_got_in_another_way(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        assert [r.count for r in checkup.run(session) if r.says == "limits out of order"] == [0]
        session.add(LimitChange(unit_id=plant.unit.id, motor_id=plant.motor.id, name=ALARM, value=101.0, at=NOW,
                                why="by hand"))
        session.flush()
        (found,) = [r for r in checkup.run(session) if r.says == "limits out of order"]
        assert not found.good and found.examples == [
            f"Unit 2, P-101A: {ALARM} is not below {SHUTDOWN}"]
