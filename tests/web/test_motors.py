"""A motor as everybody sees it, and its condition by a named act: a lock has tag and owner, and one role ends it."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store.changes import Change
from app.store.motors import Motor
from tests.conftest import Clock, on_both
from tests.factories import Plant, make_motor, post_form, sign_in
from tests.web.at_motor import STANDING, enter, entered, fields_of, greased_lately, tags_of, words_of

LOCK = {"condition": "locked out", "lock_tag": "4471", "lock_owner": "R. Adeyemi, electrical"}


@pytest.fixture
def operator(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


@pytest.fixture
def head(app: Flask, plant: Plant) -> FlaskClient:
    return sign_in(app.test_client(), plant.head_operator)


def put(client: FlaskClient, motor: Motor, **fields: str) -> TestResponse:
    return post_form(client, f"/motors/{motor.id}/condition", fields)


def on_record(database: Database, motor: Motor) -> tuple[str | None, str | None, str | None]:
    with database.reading() as session:
        row = session.get_one(Motor, motor.id)
        return row.condition, row.lock_tag, row.lock_owner


def changes_of(database: Database, motor: Motor) -> list[tuple[str | None, str | None, str | None, int | None]]:
    with database.reading() as session:
        rows = session.scalars(sa.select(Change).where(Change.subject == "motor", Change.subject_id == motor.id,
                                                       Change.field == "condition").order_by(Change.id))
        return [(c.before, c.after, c.why, c.person_id) for c in rows]


# locks -----------------------------------------------------------------------------------------------------


@on_both
def test_a_lock_is_entered_with_its_tag_and_owner_and_shown_wherever_the_motor_is(
        operator: FlaskClient, head: FlaskClient, plant: Plant, app_database: Database) -> None:
    assert put(operator, plant.motor, **LOCK).status_code == 303
    assert on_record(app_database, plant.motor) == ("locked out", "4471", "R. Adeyemi, electrical")
    assert changes_of(app_database, plant.motor) == [
        ("running", "locked out, tag 4471, R. Adeyemi, electrical", None, plant.operator.id)]
    assert "lock on record" in words_of(operator.get("/sheet"))
    assert "locked out" in words_of(operator.get("/motors"))
    assert "Lock on record: tag 4471, R. Adeyemi, electrical." in words_of(operator.get(f"/motors/{plant.motor.id}"))
    assert "P-101A (locked out, tag 4471)" in words_of(head.get("/review"))


@pytest.mark.parametrize(("fields", "wrong"), [
    ({"condition": "locked out"}, {"lock_tag", "lock_owner"}),
    ({"condition": "locked out", "lock_tag": "4471"}, {"lock_owner"}),
    ({"condition": "locked out", "lock_owner": "R. Adeyemi"}, {"lock_tag"}),
    ({"condition": "locked out", "lock_tag": "   ", "lock_owner": "\x00"}, {"lock_tag", "lock_owner"}),
    ({"lock_tag": "4471", "lock_owner": "R. Adeyemi"}, {"condition"}),
    ({"condition": "running away"}, {"condition"}),
    ({**LOCK, "lock_tag": "4" * 61}, {"lock_tag"}),
    ({**LOCK, "lock_owner": "x" * 201}, {"lock_owner"}),
    ({"condition": "standby", "why": "x" * 201}, {"why"}),
], ids=["nothing named", "no owner", "no tag", "blanks", "no condition", "unknown", "long tag", "long owner", "why"])
def test_what_is_missing_or_too_long_is_named_at_its_field_and_what_was_typed_stays(
        operator: FlaskClient, plant: Plant, app_database: Database, fields: dict[str, str], wrong: set[str]) -> None:
    answer = put(operator, plant.motor, **fields)
    assert answer.status_code == 422
    assert "<title>Error:" in answer.get_data(as_text=True)
    marked = {a["id"].removesuffix("-error") for tag, a in tags_of(answer)  # type: ignore[union-attr]
              if a.get("class") == "field-error"}
    assert marked == wrong
    held = fields_of(answer)
    for name in ("lock_tag", "lock_owner", "why"):
        assert held[name] == fields.get(name, "").replace("\x00", "").strip()
    assert on_record(app_database, plant.motor) == ("running", None, None)


def test_an_operator_cannot_end_a_lock_on_record(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    put(operator, plant.motor, **LOCK)
    for wanted in ("running", "standby", "out of service"):
        answer = put(operator, plant.motor, condition=wanted, why="the fitter said so")
        assert answer.status_code == 422
        assert "A lock on record is ended by the head operator, on the word of the lock's owner." in words_of(answer)
        assert fields_of(answer)["condition"] == [wanted]
    assert on_record(app_database, plant.motor)[0] == "locked out"


def test_an_operator_cannot_put_another_lock_in_its_place(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    put(operator, plant.motor, **LOCK)
    assert put(operator, plant.motor, **{**LOCK, "lock_tag": "9"}).status_code == 422
    assert put(operator, plant.motor, **LOCK).status_code == 303  # the same lock, entered again, ends nothing
    assert on_record(app_database, plant.motor)[1] == "4471"


def test_a_head_operator_ends_a_lock_and_says_who_took_it_off(
        operator: FlaskClient, head: FlaskClient, plant: Plant, app_database: Database) -> None:
    put(operator, plant.motor, **LOCK)
    asked = put(head, plant.motor, condition="standby")
    assert asked.status_code == 422
    assert "Write who took the lock off, and when." in words_of(asked)
    ended = put(head, plant.motor, condition="standby", why="R. Adeyemi took it off at 07:05")
    assert ended.status_code == 303
    assert "is on record as standby. That is a record, not a release." in words_of(head.get(ended.location))
    assert on_record(app_database, plant.motor) == ("standby", None, None)
    assert changes_of(app_database, plant.motor)[-1] == (
        "locked out, tag 4471, R. Adeyemi, electrical", "standby", "R. Adeyemi took it off at 07:05",
        plant.head_operator.id)


@pytest.mark.parametrize("state", ["running", "standby", "out of service"])
def test_a_reading_never_ends_a_lock(
        operator: FlaskClient, plant: Plant, app_database: Database, state: str) -> None:
    put(operator, plant.motor, **LOCK)
    answer = enter(operator, plant.motor, {"state": state, "look": "nothing wrong"})
    assert answer.status_code == 303
    assert on_record(app_database, plant.motor) == ("locked out", "4471", "R. Adeyemi, electrical")


def test_no_page_calls_a_motor_safe(operator: FlaskClient, head: FlaskClient, plant: Plant) -> None:
    enter(operator, plant.motor)
    put(operator, plant.motor, **LOCK)
    put(head, plant.motor, condition="standby", why="taken off")
    for path in ("/sheet", "/review", "/motors", f"/motors/{plant.motor.id}", f"/motors/{plant.motor.id}/entry",
                 f"/motors/{plant.motor.id}/grease", "/lubrication"):
        page = words_of(head.get(path)).lower()
        assert "safe" not in page, path
        assert "released" not in page, path


# the other conditions --------------------------------------------------------------------------------------


def test_the_condition_is_the_newest_that_was_observed(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    entered(operator, plant.motor, STANDING)
    assert on_record(app_database, plant.motor)[0] == "standby"
    entered(operator, plant.motor, seen_at="06:30")  # seen earlier, entered later
    assert on_record(app_database, plant.motor)[0] == "standby"
    clock.advance(minutes=5)
    put(operator, plant.motor, condition="out of service", why="coupling off")
    assert "out of service as of 24 Nov 2026, 07:17" in words_of(operator.get(f"/motors/{plant.motor.id}"))


# the page --------------------------------------------------------------------------------------------------


def test_the_page_holds_plate_chart_flags_and_readings(operator: FlaskClient, plant: Plant) -> None:
    enter(operator, plant.motor, amps_1="92", remarks="belt squeals")
    page = words_of(operator.get(f"/motors/{plant.motor.id}"))
    for words in ("87 A rated amps", "1.15 service factor", "75 hp", "Start needed low-voltage protection",
                  "This shift · amps over nameplate", "Insulation class F", "Rated ambient 40 °C", "Bearing DE 6313",
                  "grease, motor grease NLGI 2 (polyurea), 30 g, every 90 days", "belt squeals", "Operator"):
        assert words in page, words


def test_a_plate_whose_connected_voltage_is_not_chosen_says_why_there_is_no_percent(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        made = make_motor(session, session.merge(plant.unit), "P-300", rated_amps=None, volts=None,
                          greased=True)
        plate = made.nameplates[0]
        plate.amps_stamped, plate.volts_stamped = "24.8/12.4", "230/460"
        session.commit()
    greased_lately(app_database, made)
    assert "stamped 24.8/12.4: connected voltage not chosen" in words_of(operator.get(f"/motors/{made.id}"))
    assert "stamped 24.8/12.4 A: connected voltage not chosen" in words_of(operator.get(f"/motors/{made.id}/entry"))
    assert "amps over nameplate" not in entered(operator, made, amps_1="14")  # nothing is invented


def test_power_is_shown_in_the_units_own_measure(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        session.merge(plant.unit).power = "kW"
        session.commit()
    # 75 hp × 0.746 = 55.95 kW
    for path in (f"/motors/{plant.motor.id}", f"/motors/{plant.motor.id}/entry", "/motors"):
        assert "56 kW" in words_of(operator.get(path)) or "55.9 kW" in words_of(operator.get(path)), path


def test_a_corrected_reading_is_struck_and_stays_readable(operator: FlaskClient, plant: Plant) -> None:
    key = enter(operator, plant.motor).location.rsplit("/", 1)[1]
    held = {n: v for n, v in fields_of(operator.get(f"/entries/{key}/correct")).items() if v}
    post_form(operator, f"/entries/{key}/correct", {**held, "amps_1": "84", "replaces_why": "misread"})
    page = operator.get(f"/motors/{plant.motor.id}").get_data(as_text=True)
    struck = page.split('<tr class="struck">')[1].split("</tr>")[0]
    assert "corrected" in words_of(struck)
    assert "81" in words_of(struck)


@pytest.mark.parametrize(("wanted", "found"), [
    ("p-101a", True), ("P101A", True), ("P\u2013101A", True), ("feed", True), ("101", True), ("P-102", False),
    ("%", False), ("_", False), ("'", False), ("\x00", False), ("<script>", False)], ids=ascii)
def test_a_motor_is_found_by_tag_or_service_however_it_is_typed(
        operator: FlaskClient, plant: Plant, wanted: str, found: bool) -> None:
    answer = operator.get("/motors", query_string={"q": wanted})
    assert answer.status_code == 200
    page = words_of(answer)
    assert ("P-101A" in page) is found
    assert ("No motor has" in page) is not found
    assert "<script>" not in answer.get_data(as_text=True)


@pytest.mark.parametrize("tag", ["P/101", "P-101 #2?", "6312-2Z/C3", "a/b?c#d", "Pumpe №2", "%2e%2e", "1E05", "007"])
def test_a_motors_page_opens_whatever_its_tag_is(
        operator: FlaskClient, plant: Plant, app_database: Database, tag: str) -> None:
    with app_database.writing() as session:
        made = make_motor(session, session.merge(plant.unit), tag)
        session.commit()
    for path in (f"/motors/{made.id}", f"/motors/{made.id}/entry", f"/motors/{made.id}/skip",
                 f"/motors/{made.id}/grease"):
        assert tag in words_of(operator.get(path)), path
    assert enter(operator, made).status_code == 303
