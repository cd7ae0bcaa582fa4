"""The first set-up: only with the code, until the first supervisor is there, each step taken up where it was left."""

from __future__ import annotations

import hashlib
import html
import io
import re
from typing import Any

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient

from app import set_up
from app.db import Database
from app.rules.shifts import ShiftStart
from app.store import units
from app.store.changes import Change
from app.store.people import Person
from app.store.set_up import SetUpCode
from tests.conftest import on_both
from tests.factories import LONG_AGO, NOW, Plant, form_token, make_unit, post_form, try_sign_in

UNIT = {"name": "Brine unit", "time_zone": "America/Chicago", "temperature": "F", "power": "hp", "vibration": "in/s",
        "grease": "oz", "name_1": "Morning", "at_1": "6:00", "name_2": "Afternoon", "at_2": "14:00",
        "name_3": "Night", "at_3": "22:00"}
FIRST = {"sign_in": "ana", "name": "Ana Ruiz", "secret": "copper kettle 88", "again": "copper kettle 88"}


@pytest.fixture
def code(app_database: Database) -> str:
    """What `serve` prints on an empty database."""
    with app_database.writing() as session:
        made = set_up.open_door(session, NOW)
        session.commit()
    assert made is not None
    return made


def give(client: FlaskClient, code: str) -> int:
    return post(client, "/set-up", {"code": code}).status_code


def words(client: FlaskClient, path: str) -> str:
    return html.unescape(client.get(path).get_data(as_text=True))


def post(client: FlaskClient, path: str, fields: dict[str, Any]) -> Any:
    """By somebody who has not signed in: the forgery token is this browser's own."""
    return client.post(path, data={"csrf_token": form_token(client, "/sign-in"), **fields})


@on_both
def test_the_code_leads_from_nothing_to_the_first_sheet(client: FlaskClient, app_database: Database,
                                                        code: str) -> None:
    assert "/set-up" in client.get("/sign-in").get_data(as_text=True)
    assert give(client, code.lower().replace("-", " ")) == 303  # as people type it
    made = post(client, "/set-up/unit", UNIT)
    assert (made.status_code, made.headers["Location"]) == (303, "/set-up/supervisor")
    assert post(client, "/set-up/supervisor", FIRST).headers["Location"] == "/first-steps"
    with app_database.reading() as session:
        (unit,) = units.all_units(session)
        assert (unit.temperature, unit.vibration, unit.grease, unit.power) == ("F", "in/s", "oz", "hp")
        assert [(s.name, s.at) for s in unit.calendar.patterns[0].in_order()] == [
            ("Morning", "06:00"), ("Afternoon", "14:00"), ("Night", "22:00")]
        assert session.scalars(sa.select(Change.why).where(Change.subject == "person")).all() == ["first set-up"]
    page = words(client, "/first-steps")
    assert "Nobody but you may sign in" in page and "Ana Ruiz" in page
    post_form(client, "/settings/people/add", {"sign_in": "sam", "name": "Sam Rivera", "role": "operator",
                                               "secret": "402817", "again": "402817"})
    assert client.get("/").headers["Location"] == "/first-steps"  # while there is no motor
    tried = post_form(client, "/register/import", {"file": (io.BytesIO(b"tag,area\nP-101A,Feed\n"), "motors.csv")})
    packed = re.search(r'name="file" value="([^"]+)"', tried.get_data(as_text=True))
    shown = re.search(r'name="shown" value="([^"]+)"', tried.get_data(as_text=True))
    assert packed and shown
    post_form(client, "/register/import/confirm", {"file": packed[1], "shown": shown[1]})
    assert "✓ 1 motor" in words(client, "/first-steps")
    assert "P-101A" in words(client, "/sheet")
    assert "✓ opened" in words(client, "/first-steps")


def test_without_the_code_there_is_only_the_question_for_it(client: FlaskClient, app_database: Database,
                                                            code: str) -> None:
    for path in ("/set-up/unit", "/set-up/supervisor"):
        assert client.get(path).headers["Location"] == "/set-up"
        assert post(client, path, UNIT | FIRST).headers["Location"] == "/set-up"
    assert give(client, "AAAAA-AAAAA-AAAAA-AAAAA") == 403
    assert client.get("/set-up/unit").headers["Location"] == "/set-up"
    with app_database.reading() as session:
        assert units.all_units(session) == [] and session.scalars(sa.select(Person)).all() == []


def test_wrong_codes_are_slowed_and_the_right_one_waits_too(client: FlaskClient, code: str) -> None:
    tries = [give(client, f"WRONG-{i}") for i in range(8)]
    assert tries[:5] == [403] * 5 and tries[-1] == 429
    answer = post(client, "/set-up", {"code": code})
    assert answer.status_code == 429 and int(answer.headers["Retry-After"]) > 0


def test_only_the_hash_of_the_code_is_kept_and_a_new_start_ends_the_one_before(
        client: FlaskClient, app_database: Database, code: str) -> None:
    give(client, code)
    with app_database.writing() as session:
        (row,) = session.scalars(sa.select(SetUpCode))
        assert row.hash == hashlib.sha256(code.replace("-", "").encode()).hexdigest()
        again = set_up.open_door(session, NOW)
        session.commit()
    assert again is not None and again != code and len(again.replace("-", "")) == 20
    assert client.get("/set-up/unit").headers["Location"] == "/set-up"  # what was opened by the old one is shut
    assert give(client, code) == 403 and give(client, again) == 303


def test_what_was_left_is_taken_up_again(client: FlaskClient, code: str) -> None:
    give(client, code)
    post(client, "/set-up/unit", UNIT)
    other = client.application.test_client()  # another browser, the same code: it is not used up yet
    answer = post(other, "/set-up", {"code": code})
    assert answer.headers["Location"] == "/set-up/supervisor"
    assert "Brine unit" in words(other, "/set-up/supervisor")


@pytest.mark.parametrize(("fields", "field"), [
    ({"name": ""}, "name"), ({"time_zone": "Chicago"}, "time_zone"), ({"time_zone": "../etc/passwd"}, "time_zone"),
    ({"at_2": "25:00"}, "at_2"), ({"name_2": "morning"}, "name_2"), ({"temperature": ""}, "temperature"),
], ids=str)
def test_a_unit_that_cannot_be_is_told_at_its_field_with_what_was_typed(
        client: FlaskClient, app_database: Database, code: str, fields: dict[str, str], field: str) -> None:
    give(client, code)
    answer = post(client, "/set-up/unit", UNIT | fields)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 400 and f'id="{field}-error"' in page and 'value="Night"' in page
    with app_database.reading() as session:
        assert units.all_units(session) == []


def test_a_weak_pass_phrase_is_refused_and_never_shown_again(client: FlaskClient, code: str) -> None:
    give(client, code)
    post(client, "/set-up/unit", UNIT)
    answer = post(client, "/set-up/supervisor", FIRST | {"secret": "short 1", "again": "short 1"})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 400 and 'id="secret-error"' in page and "short 1" not in page and "Ana Ruiz" in page


@pytest.mark.parametrize(("secret", "says"), [
    ("princessprincess", "many people"), ("baseball2024!", "many people"), ("Brine unit 2026", "known here"),
    ("ana.ruiz-1990!", "known here")])
def test_a_pass_phrase_that_others_try_first_makes_nobody_supervisor(
        client: FlaskClient, app_database: Database, code: str, secret: str, says: str) -> None:
    """Two of many people's (why these: tests/web/test_accounts.py), one of the unit's name, one of the person's."""
    give(client, code)
    post(client, "/set-up/unit", UNIT)
    answer = post(client, "/set-up/supervisor", FIRST | {"secret": secret, "again": secret})
    page = answer.get_data(as_text=True)
    assert answer.status_code == 400 and 'id="secret-error"' in page and says in page and secret not in page
    with app_database.reading() as session:
        assert set_up.is_open(session)
    assert post(client, "/set-up/supervisor", FIRST).headers["Location"] == "/first-steps"  # the door is still open


def test_with_the_first_supervisor_it_is_closed_for_good(client: FlaskClient, app_database: Database,
                                                         code: str) -> None:
    other = client.application.test_client()
    for browser in (client, other):
        give(browser, code)
    post(client, "/set-up/unit", UNIT)
    token = form_token(other, "/sign-in")
    post(client, "/set-up/supervisor", FIRST)
    late = other.post("/set-up/supervisor", data={"csrf_token": token, **FIRST, "sign_in": "eve"})
    assert late.status_code == 404
    for path in ("/set-up", "/set-up/unit", "/set-up/supervisor"):
        assert other.get(path).status_code == 404
    with app_database.writing() as session:
        assert set_up.open_door(session, NOW) is None  # no later start opens it again
        session.get_one(Person, 1).active = False  # nor does nobody being able to sign in
        assert set_up.open_door(session, NOW) is None
        assert session.scalar(sa.select(sa.func.count()).select_from(SetUpCode)) == 0
    assert "/set-up" not in other.get("/sign-in").get_data(as_text=True)
    assert try_sign_in(other, "ana", FIRST["secret"]).status_code == 303


def test_a_server_that_has_a_supervisor_never_had_a_door(client: FlaskClient, plant: Plant,
                                                         app_database: Database) -> None:
    assert client.get("/set-up").status_code == 404
    assert post(client, "/set-up", {"code": "AAAAA"}).status_code == 404


def test_the_first_supervisor_has_every_unit_that_was_made_by_command(client: FlaskClient, app_database: Database,
                                                                      code: str) -> None:
    with app_database.writing() as session:
        make_unit(session, "Boilers")
        units.add_unit(session, "Mill", "UTC", [ShiftStart("Watch", "07:00")], LONG_AGO)
        session.commit()
    give(client, code)
    post(client, "/set-up/supervisor", FIRST)
    with app_database.reading() as session:
        assert [u.name for u in session.get_one(Person, 1).units] == ["Boilers", "Mill"]


def test_under_a_server_that_printed_no_code_nobody_is_let_in(client: FlaskClient, app_database: Database) -> None:
    assert client.get("/set-up").status_code == 200
    assert give(client, "") == 403
    client.set_cookie("set-up", "")
    for path in ("/set-up/unit", "/set-up/supervisor"):
        assert client.get(path).headers["Location"] == "/set-up"
        assert post(client, path, UNIT | FIRST).headers["Location"] == "/set-up"
    with app_database.reading() as session:
        assert units.all_units(session) == []
