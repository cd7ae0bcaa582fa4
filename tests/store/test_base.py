"""What goes into a column comes out the same on both databases, or is refused on both."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError, StatementError

from app.db import Database
from app.store.base import new_id
from app.store.motors import LubricationPoint, Motor, tag_key, walking_order
from app.store.rounds import Reading
from app.store.units import Unit
from tests.factories import LONG_AGO, NOW, make_motor, make_person, make_plant, make_reading, make_unit

CHICAGO = ZoneInfo("America/Chicago")


@pytest.mark.parametrize("written", [
    pytest.param(datetime(2026, 11, 24, 22, 0, tzinfo=CHICAGO), id="in the unit's zone"),
    pytest.param(datetime(2026, 11, 25, 4, 0, tzinfo=UTC), id="in UTC"),
    pytest.param(datetime(2026, 11, 25, 9, 45, tzinfo=timezone(timedelta(hours=5, minutes=45))), id="by an offset"),
])
def test_the_same_instant_comes_back_whatever_zone_it_was_written_in(database: Database, written: datetime) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        key = make_reading(session, plant.motor, plant.operator, written).id
        session.commit()
    with database.reading() as session:
        taken = session.get_one(Reading, key).taken_at
    assert taken == datetime(2026, 11, 25, 4, 0, tzinfo=UTC)  # 22:00 in Chicago, UTC-6 in November
    assert taken.utcoffset() == timedelta(0)


def test_both_half_past_ones_of_the_autumn_night_are_kept_apart_and_in_order(database: Database) -> None:
    first = datetime(2026, 11, 1, 1, 30, tzinfo=CHICAGO)
    second = first.replace(fold=1)
    with database.writing() as session:
        plant = make_plant(session)
        for taken_at in (second, first):
            make_reading(session, plant.motor, plant.operator, taken_at)
        session.commit()
        found = list(session.scalars(sa.select(Reading.taken_at).order_by(Reading.taken_at)))
    assert [t.isoformat() for t in found] == ["2026-11-01T06:30:00+00:00", "2026-11-01T07:30:00+00:00"]


def test_a_time_without_a_zone_is_refused(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        plant.motor.condition_at = datetime(2026, 11, 24, 22, 0)  # noqa: DTZ001  that is the point
        with pytest.raises(StatementError, match="without a zone"):
            session.flush()


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_figure_that_is_no_number_reaches_neither_database(database: Database, value: float) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        with pytest.raises(StatementError, match="finite"):
            make_reading(session, plant.motor, plant.operator, current_a_1=value)


@pytest.mark.parametrize("value", [0.0, 0.0047, 2.25, 24.8, 123456789.99, 1e-9, -40.0])
def test_a_figure_comes_back_to_the_last_digit(database: Database, value: float) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        key = make_reading(session, plant.motor, plant.operator, vibration_mm_s_de=value).id
        session.commit()
    with database.reading() as session:
        assert session.get_one(Reading, key).vibration_mm_s_de == value


def test_zero_and_not_measured_are_two_answers(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        make_reading(session, plant.motor, plant.operator, current_a_1=0.0)
        make_reading(session, plant.motor, plant.operator, NOW + timedelta(minutes=1))
        session.commit()
        found = list(session.scalars(sa.select(Reading.current_a_1).order_by(Reading.taken_at)))
    assert found == [0.0, None]


def test_a_key_is_found_again_by_the_same_uuid(database: Database) -> None:
    key = new_id()
    with database.writing() as session:
        plant = make_plant(session)
        make_reading(session, plant.motor, plant.operator, id=key)
        session.commit()
    with database.reading() as session:
        assert session.scalars(sa.select(Reading.id).where(Reading.id == key)).one() == key


def test_new_keys_are_uuid_version_7_and_in_the_order_of_time() -> None:
    keys = [new_id() for _ in range(200)]
    assert {k.version for k in keys} == {7}
    assert {k.variant for k in keys} == {"specified in RFC 4122"}
    assert len(set(keys)) == 200
    times = [k.int >> 80 for k in keys]  # RFC 9562 section 5.7: the first 48 bits are milliseconds
    assert times == sorted(times)


TAGS = ["1E05", "007", "3-4", "P-101A", "1/2-A", "+15", "Äußere Pumpe", "NaN", "None"]


@pytest.mark.parametrize("tag", TAGS)
def test_a_tag_is_text_and_stays_as_typed(database: Database, tag: str) -> None:
    with database.writing() as session:
        key = make_motor(session, make_unit(session), tag).id
        session.commit()
    with database.reading() as session:
        assert session.get_one(Motor, key).tag == tag


@pytest.mark.parametrize("other", [
    pytest.param("p-101a", id="case"),
    pytest.param("P‑101A", id="another dash"),
    pytest.param("P-101A​", id="something invisible"),
    pytest.param(" P-101A ", id="blanks around"),
])
def test_one_unit_has_a_tag_once_however_it_is_spelled(database: Database, other: str) -> None:
    with database.writing() as session:
        unit, next_unit = make_unit(session), make_unit(session, "Unit 3")
        make_motor(session, unit, "P-101A")
        make_motor(session, next_unit, other)  # another unit may have its own
        assert tag_key(other) == tag_key("P-101A")
        with pytest.raises(IntegrityError):
            make_motor(session, unit, other)


@pytest.mark.parametrize(("column", "word"), [
    ("condition", "on fire"), ("checked_every", "month"), ("interlock", "none fitted"), ("ammeter", "two")])
def test_a_word_the_trade_does_not_know_is_refused(database: Database, column: str, word: str) -> None:
    with database.writing() as session:
        unit = make_unit(session)
        with pytest.raises(IntegrityError):
            make_motor(session, unit, **{column: word})


def test_a_reading_of_a_motor_that_does_not_exist_is_refused(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        found = make_reading(session, plant.motor, plant.operator)
        with pytest.raises(IntegrityError):
            session.execute(sa.update(Reading).where(Reading.id == found.id).values(motor_id=987654))


def test_a_motor_with_readings_cannot_be_deleted_from_under_them(database: Database) -> None:
    with database.writing() as session:
        plant = make_plant(session)
        make_reading(session, plant.motor, plant.operator)
        session.commit()
    with database.writing() as session, pytest.raises(IntegrityError):
        session.execute(sa.delete(LubricationPoint))
        session.execute(sa.delete(Motor))


def test_a_bearing_has_one_current_chart_line_and_any_number_of_old_ones(database: Database) -> None:
    from tests.factories import make_point

    with database.writing() as session:
        motor = make_motor(session, make_unit(session), greased=False)
        for _ in range(2):
            make_point(session, motor, "DE", replaced_at=NOW)
        make_point(session, motor, "DE")
        with pytest.raises(IntegrityError):
            make_point(session, motor, "DE")


def test_motors_without_a_place_on_the_route_come_last_on_both_databases(database: Database) -> None:
    with database.writing() as session:
        unit = make_unit(session)
        for tag, place in (("B", None), ("C", 2.0), ("A", None), ("D", 1.0), ("a2", 1.0)):
            make_motor(session, unit, tag, route_order=place)
        found = list(session.scalars(sa.select(Motor.tag).order_by(*walking_order())))
    assert found == ["a2", "D", "C", "A", "B"]


def test_a_sign_in_name_belongs_to_one_person_whatever_its_case(database: Database) -> None:
    with database.writing() as session:
        unit = make_unit(session)
        make_person(session, unit, sign_in="R.Vega")
        with pytest.raises(IntegrityError):
            make_person(session, unit, sign_in="r.vega")


def test_a_long_remark_fits_on_both_databases(database: Database) -> None:
    remark = "ünïcode ☃ " * 20_000
    with database.writing() as session:
        plant = make_plant(session)
        key = make_reading(session, plant.motor, plant.operator, remarks=remark).id
        session.commit()
    with database.reading() as session:
        assert session.get_one(Reading, key).remarks == remark


def test_leaving_without_a_commit_undoes_everything(database: Database) -> None:
    with database.writing() as session:
        make_unit(session)
    with database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(Unit)) == 0


def test_the_first_plate_stands_for_what_was_read_before_it_and_a_swap_for_what_came_after(database: Database) -> None:
    from tests.factories import make_nameplate

    swapped = LONG_AGO + timedelta(days=700)
    with database.writing() as session:
        motor = make_motor(session, make_unit(session), rated_amps=87.0)
        make_nameplate(session, motor, rated_amps=92.0, fitted_from=swapped)
        at = [motor.nameplate_at(t) for t in (LONG_AGO - timedelta(days=1), swapped - timedelta(seconds=1), swapped)]
    assert [plate and plate.amps for plate in at] == [87.0, 87.0, 92.0]
