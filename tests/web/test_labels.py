"""Labels to print, what a scanned code opens, and the last four of a tag, which always does as well."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.config import Settings
from app.db import Database
from app.store.motors import LABEL_LETTERS, Motor
from tests.conftest import on_both
from tests.factories import Plant, make_motor, make_person, make_unit, sign_in
from tests.web.at_motor import words_of

ADDRESS = "https://rounds.example"


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    instance = tmp_path / "instance"
    instance.mkdir()
    return Settings(instance=instance, public_url=ADDRESS, trusted_hosts=("localhost",))


def key_of(database: Database, tag: str) -> str:
    with database.reading() as session:
        return session.scalars(sa.select(Motor.label_key).where(Motor.tag == tag)).one()


@pytest.fixture
def yard(plant: Plant, app_database: Database) -> Plant:
    """Three more motors, in two areas."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        make_motor(session, unit, "P-101B", route_order=2, interlock="low-voltage release")
        make_motor(session, unit, "K-7", route_order=3, area="Tank yard", service="a <b>bold</b> blower & fan")
        make_motor(session, unit, "P\u2011201A", route_order=4, area="Tank yard")
        session.commit()
    return plant


def labels_of(page: str) -> list[str]:
    return re.findall(r'<g transform="[^"]+" role="img" aria-label="([^",]+)', page)


# printing --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("chosen", "tags"), [
    ({"which": "all"}, ["P-101A", "P-101B", "K-7", "P\u2011201A"]),
    ({"which": "area", "area": "Tank yard"}, ["K-7", "P\u2011201A"])])
def test_all_motors_or_an_areas_are_printed_in_walking_order(
        yard: Plant, client: FlaskClient, chosen: dict[str, str], tags: list[str]) -> None:
    page = sign_in(client, yard.supervisor).get("/register/labels/sheet", query_string={"grid": "a4-21", **chosen})
    assert page.status_code == 200
    assert labels_of(page.get_data(as_text=True)) == tags


def test_ticked_motors_alone_are_printed(yard: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.reading() as session:
        ids = list(session.scalars(sa.select(Motor.id).where(Motor.tag.in_(("P-101B", "K-7")))))
    query = {"grid": "letter-30", "which": "chosen", "motor": [*map(str, ids), "x", "999"]}
    page = sign_in(client, yard.supervisor).get("/register/labels/sheet", query_string=query).get_data(as_text=True)
    assert labels_of(page) == ["P-101B", "K-7"]
    assert "restarts by itself" in page
    assert "<b>bold" not in page


@pytest.mark.parametrize(("query", "field", "says"), [
    ({"which": "chosen", "grid": "a4-21"}, "which", "Choose at least one motor."),
    ({"which": "area", "area": "nowhere", "grid": "a4-21"}, "which", "Choose at least one motor."),
    ({"grid": "a4-22"}, "grid", "Choose a sheet."), ({"grid": "a4-21", "first": "22"}, "first", "from 1 to 21"),
    ({"grid": "a4-21", "first": "0"}, "first", "from 1 to 21"), ({"grid": "a4-21", "first": "1,5"}, "first", "whole"),
    ({"grid": "a4-21", "first": "two"}, "first", "not a number"),
    ({"grid": "free", "columns": "3"}, "rows", "Enter a number."),
    ({"grid": "free", "columns": "3", "rows": "7", "width": "80", "height": "38,1", "left": "7", "top": "15"},
     "columns", "247.0 mm"),
    ({"grid": "free", "paper": "A5", "columns": "3"}, "grid", "Choose a sheet.")], ids=str)
def test_what_cannot_be_printed_is_named_at_its_field_and_what_was_typed_stays(
        yard: Plant, client: FlaskClient, query: dict[str, str], field: str, says: str) -> None:
    answer = sign_in(client, yard.supervisor).get("/register/labels/sheet", query_string=query)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 400
    at_field = re.search(rf'id="{field}-error">([^<]+)', page)
    assert at_field
    assert says in at_field[1]
    assert all(f'value="{value}"' in page for name, value in query.items() if name in ("first", "width", "height"))


def test_a_grid_typed_by_hand_with_a_comma_is_printed(yard: Plant, client: FlaskClient) -> None:
    query = {"grid": "free", "paper": "Letter", "columns": "2", "rows": "3", "width": "80,5", "height": "40",
             "left": "10", "top": "12.5", "first": "6"}
    page = sign_in(client, yard.supervisor).get("/register/labels/sheet", query_string=query).get_data(as_text=True)
    assert page.count('class="label-sheet letter"') == 2  # one on the last place, three on the next sheet
    assert 'translate(90.5 92.5)' in page  # 10 + 80.5 and 12.5 + 2 × 40


def test_the_address_in_the_code_is_the_settings_whatever_name_the_request_came_under(
        yard: Plant, client: FlaskClient) -> None:
    from app.label_drawing import code_path
    from tests.factories import SECRET, form_token

    token = form_token(client, "/sign-in")
    client.post("/sign-in", data={"csrf_token": token, "sign_in": "supervisor", "secret": SECRET})
    page = client.get("/register/labels/sheet?grid=a4-21&which=all", headers={"X-Forwarded-Host": "evil.example"})
    text = page.get_data(as_text=True)
    assert "evil" not in text
    _, path = code_path(f"{ADDRESS}/m/{key_of(client.application.extensions['database'], 'P-101A')}")
    assert path in text


class TestWithoutAPublicAddress:
    @pytest.fixture
    def settings(self, tmp_path: Path) -> Settings:
        return replace(Settings(instance=tmp_path), public_url="")

    def test_the_page_says_so_and_the_labels_come_without_a_code(self, yard: Plant, client: FlaskClient) -> None:
        sign_in(client, yard.supervisor)
        assert "No public address is set" in words_of(client.get("/register/labels"))
        page = client.get("/register/labels/sheet?grid=a4-21&which=all").get_data(as_text=True)
        assert labels_of(page) == ["P-101A", "P-101B", "K-7", "P\u2011201A"]
        assert 'shape-rendering="crispEdges"' not in page
        assert "Without codes" in page


# at the motor ----------------------------------------------------------------------------------------------


@on_both
def test_a_scanned_code_opens_the_motors_page_and_asks_whether_one_stands_there(
        yard: Plant, client: FlaskClient, app_database: Database) -> None:
    path = f"/m/{key_of(app_database, 'P-101B')}"
    first = client.get(path)
    assert first.location == f"/sign-in?next={path}"  # and after signing in one is there
    sign_in(client, yard.operator)
    for typed in (path, path.lower()):
        page = client.get(typed, follow_redirects=True)
        assert page.request.path == f"/motors/{yard.motor.id + 1}"
        assert "Do you stand at this motor?" in words_of(page)
        assert '<p class="tag">P-101B</p>' in page.get_data(as_text=True)
    assert "Do you stand at this motor?" not in words_of(client.get(f"/motors/{yard.motor.id}"))


@on_both
def test_a_code_of_no_motor_or_of_another_unit_leads_nowhere(
        app: Flask, yard: Plant, client: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        other = make_unit(session, "Unit 9")
        make_motor(session, other, "X-1")
        both = make_person(session, [session.merge(yard.unit), other], sign_in="both")
        session.commit()
    key = key_of(app_database, "X-1")
    sign_in(client, yard.operator)
    for path in (f"/m/{key}", "/m/ABCDEFGH", "/m/%00", "/m/" + "x" * 300):
        answer = client.get(path)
        assert answer.status_code == 404
        assert "X-1" not in words_of(answer)
        assert "Unit 9" not in words_of(answer)
    mine = sign_in(app.test_client(), both)
    assert "This motor is in Unit 9" in words_of(mine.get(f"/m/{key}"))


@pytest.mark.parametrize(("typed", "tag"), [
    ("101b", "P-101B"), ("01B", "P-101B"), ("K7", "K-7"), ("201a", "P\u2011201A"), ("k-7", "K-7"),
    ("p-2", "P\u2011201A")])
def test_the_end_of_a_tag_leads_to_its_motor_and_asks(yard: Plant, client: FlaskClient, typed: str, tag: str) -> None:
    page = sign_in(client, yard.operator).get("/m", query_string={"end": typed}, follow_redirects=True)
    assert "Do you stand at this motor?" in words_of(page)
    assert f'<p class="tag">{tag}</p>' in page.get_data(as_text=True)


@pytest.mark.parametrize(("typed", "tags"), [
    ("1a", ["P-101A", "P\u2011201A"]), ("p", ["P-101A", "P-101B", "P\u2011201A"]), ("99", []), ("", []), ("%", [])])
def test_an_end_that_several_tags_have_or_none_gives_the_choice_and_chooses_nothing(
        yard: Plant, client: FlaskClient, typed: str, tags: list[str]) -> None:
    answer = sign_in(client, yard.operator).get("/m", query_string={"end": typed})
    assert answer.status_code == 200
    assert re.findall(r"<span>(\S+) <small>", answer.get_data(as_text=True)) == tags
    assert typed != "99" or "Nothing in Unit 2 ends or reads so." in words_of(answer)


def test_the_sheet_has_the_box_for_the_last_four(yard: Plant, client: FlaskClient) -> None:
    assert 'action="/m"' in sign_in(client, yard.operator).get("/sheet").get_data(as_text=True)


def test_every_motor_has_a_key_of_its_own_that_nobody_misreads(yard: Plant, app_database: Database) -> None:
    with app_database.reading() as session:
        keys = list(session.scalars(sa.select(Motor.label_key)))
    assert len(set(keys)) == 4
    assert all(len(key) == 8 and set(key) <= set(LABEL_LETTERS) for key in keys)
    assert not set("01OIL") & set(LABEL_LETTERS)
