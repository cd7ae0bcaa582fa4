"""Limits as the supervisor changes them: at the field what is wrong, in the history what was done, by whom, undone."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from app.db import Database
from app.store.limits import LimitChange, change_limit, limit_changes, limits_at
from app.store.units import Unit
from tests.conftest import Clock, on_both
from tests.factories import NOW, Plant, make_reading, make_unit, post_form, sign_in

ALARM, SHUTDOWN = "bearing_hot_grease_alarm_c", "bearing_hot_grease_shutdown_c"
PAGE = f"/settings/limits/{ALARM}"


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


def words(client: FlaskClient, path: str) -> str:
    return html.unescape(client.get(path).get_data(as_text=True))


def stored(database: Database, plant: Plant) -> list[LimitChange]:
    with database.reading() as session:
        return limit_changes(session, plant.unit.id)


def typed(value: str = "85", **other: str) -> dict[str, str]:
    return {"tag": "", "value": value, "begins": "now", "at": "", "why": "procedure 12", **other}


@on_both
def test_a_limit_is_changed_with_its_reason_and_stands_in_the_history(
        supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    assert post_form(supervisor, PAGE, typed("84,5")).status_code == 303
    (made,) = stored(app_database, plant)
    assert (made.value, made.at, made.why, made.person_id) == (84.5, NOW, "procedure 12", plant.supervisor.id)
    page = words(supervisor, PAGE)
    for said in ("84.5 °C", "90 °C as shipped", "procedure 12", "Supervisor", "general practice", "read in one page"):
        assert said in page, said


@pytest.mark.parametrize(("fields", "field", "says"), [
    (typed(""), "value", "Enter a number"), (typed("eighty"), "value", "not a number"),
    (typed("1,234"), "value", "two ways"), (typed("100"), "value", "below 100 °C"),
    (typed("151"), "value", "from 40 °C to 150 °C"), (typed(why=" "), "why", "Say why"),
    (typed(tag="P-999"), "tag", "No motor"), (typed(begins="later", at="soon"), "at", "date and time"),
    (typed(begins="later", at="2026-11-23 06:00"), "at", "from now on"),
    (typed(begins="2026-11-23T12:00:00+00:00"), "begins", "Choose once more"), (typed(begins="x"), "begins", "Choose"),
], ids=str)
def test_what_is_wrong_stands_at_its_field_with_what_was_typed(
        supervisor: FlaskClient, app_database: Database, plant: Plant, fields: dict[str, str], field: str,
        says: str) -> None:
    answer = post_form(supervisor, PAGE, fields)
    text = html.unescape(answer.get_data(as_text=True))
    assert answer.status_code == 400 and "<title>Error:" in text
    assert re.findall(r'class="field-error" id="(\w+)-error">([^<]*)', text)[0][0] == field
    assert says in re.findall(r'class="field-error" id="\w+-error">([^<]*)', text)[0]
    assert f'value="{fields["value"]}"' in text
    assert stored(app_database, plant) == []


def test_a_limit_counts_from_a_shift_to_come_or_from_a_day(supervisor: FlaskClient, app_database: Database,
                                                          plant: Plant) -> None:
    night = "2026-11-25T00:00:00+00:00"  # 18:00 in Chicago
    assert f'value="{night}"' in supervisor.get(PAGE).get_data(as_text=True)
    post_form(supervisor, PAGE, typed("85", begins=night))
    post_form(supervisor, PAGE, typed("80", begins="later", at="2026-12-01 06:00"))
    with app_database.reading() as session:
        for at, value in ((NOW, 90.0), (NOW + timedelta(hours=11), 85.0), (NOW + timedelta(days=8), 80.0)):
            assert limits_at(session, plant.unit.id, None, at).value(ALARM) == value
    assert "only from 1 Dec 2026, 06:00" in words(supervisor, "/settings/limits")


def test_a_motors_own_limit_leaves_the_units(supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    post_form(supervisor, PAGE, typed("77", tag="P-101A"))
    with app_database.reading() as session:
        assert limits_at(session, plant.unit.id, plant.motor.id, NOW).value(ALARM) == 77.0
        assert limits_at(session, plant.unit.id, None, NOW).value(ALARM) == 90.0
    page = words(supervisor, "/settings/limits?motor=P-101A")
    assert "77 °C" in page and "bearing_hot_sleeve_alarm_c" not in page  # its bearings are greased
    assert supervisor.get("/settings/limits?motor=P-999").status_code == 404


def test_back_to_as_shipped_needs_a_reason_and_no_value(supervisor: FlaskClient, app_database: Database,
                                                        plant: Plant) -> None:
    post_form(supervisor, PAGE, typed("80"))
    assert post_form(supervisor, PAGE, typed("", back="1", why="")).status_code == 400
    assert post_form(supervisor, PAGE, typed("", back="1")).status_code == 303
    assert [c.value for c in stored(app_database, plant)] == [80.0, None]
    assert "back to as shipped" in words(supervisor, PAGE)


def test_fahrenheit_is_typed_and_shown_and_kept_as_celsius(supervisor: FlaskClient, app_database: Database,
                                                           plant: Plant) -> None:
    with app_database.writing() as session:
        session.get_one(Unit, plant.unit.id).temperature = "F"
        session.commit()
    post_form(supervisor, PAGE, typed("185"))
    post_form(supervisor, "/settings/limits/bearings_uneven_this_shift_k", typed("14.4"))
    assert [c.value for c in stored(app_database, plant)] == [85.0, 8.0]  # a difference has no 32
    page = words(supervisor, "/settings/limits")
    assert "185 °F" in page and "85 °C" in page and "14.4 °F" in page


def test_a_change_is_undone_by_a_new_one_that_says_why(supervisor: FlaskClient, app_database: Database,
                                                       plant: Plant, clock: Clock) -> None:
    post_form(supervisor, PAGE, typed("85"))
    clock.advance(hours=1)
    post_form(supervisor, PAGE, typed("80"))
    first, second = stored(app_database, plant)
    clock.advance(hours=1)
    undo = f"{PAGE}/undo"
    missing = post_form(supervisor, undo, {"change": second.id, "undo_why": ""})
    assert missing.status_code == 400 and "Say why it is undone" in missing.get_data(as_text=True)
    assert post_form(supervisor, undo, {"change": first.id, "undo_why": "x"}).status_code == 409
    assert post_form(supervisor, undo, {"change": second.id, "undo_why": "mistyped"}).status_code == 303
    assert [c.value for c in stored(app_database, plant)] == [85.0, 80.0, 85.0]
    assert post_form(supervisor, undo, {"change": 987654, "undo_why": "x"}).status_code == 404


def test_the_second_of_two_supervisors_is_shown_the_first_ones_change(
        supervisor: FlaskClient, app_database: Database, plant: Plant) -> None:
    seen = re.search(r'name="newest" value="(\d+)"', supervisor.get(PAGE).get_data(as_text=True))
    assert seen
    post_form(supervisor, PAGE, typed("85", newest=seen[1]))
    late = post_form(supervisor, PAGE, typed("80", newest=seen[1]))
    page = late.get_data(as_text=True)
    assert late.status_code == 409 and "while you looked at it" in page and "85 °C" in page and 'value="80"' in page
    assert [c.value for c in stored(app_database, plant)] == [85.0]


def test_another_units_change_is_not_undone_from_here(supervisor: FlaskClient, app_database: Database,
                                                     plant: Plant) -> None:
    with app_database.writing() as session:
        theirs = change_limit(session, make_unit(session, "Boilers"), ALARM, 80.0, None, "x", None, NOW)
        session.commit()
    assert post_form(supervisor, f"{PAGE}/undo", {"change": theirs.id, "undo_why": "x"}).status_code == 404


def test_limits_that_everything_or_nothing_passes_are_named(supervisor: FlaskClient, app_database: Database,
                                                            plant: Plant) -> None:
    with app_database.writing() as session:
        motor, operator = session.merge(plant.motor), session.merge(plant.operator)
        for i in range(30):  # all above the alarm of 90 °C, none above the shutdown of 100 °C
            make_reading(session, motor, operator, NOW - timedelta(hours=i + 1), bearing_temp_c_de=91.0 + i / 10)
        make_reading(session, motor, operator, NOW - timedelta(weeks=4, hours=1), bearing_temp_c_de=101.0)
        session.commit()
    page = words(supervisor, "/settings/limits")
    always, _, rest = page.partition("Passed at almost every reading:")[2].partition("Never passed:")
    assert "alarm (motor repair shop figure)" in always and "(30 of 30)" in always
    assert "shutdown (motor repair shop figure): act now" in rest.partition("Every limit")[0]
    assert "30 of 30 passed it, highest 93.9 °C" in words(supervisor, PAGE)


def test_a_limit_that_is_not_there_is_no_page(supervisor: FlaskClient) -> None:
    assert supervisor.get("/settings/limits/bearing_hot").status_code == 404
    assert post_form(supervisor, "/settings/limits/bearing_hot", typed()).status_code == 404
