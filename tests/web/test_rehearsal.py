"""The rehearsal as a page: what is wrong at its field, how far it is, what came of it, and nothing left behind."""

from __future__ import annotations

import html
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.rehearsing import Rehearsals, Running
from app.store.limits import limit_changes
from tests.factories import NOW, Plant, make_reading, make_unit, post_form, sign_in

ALARM = "bearing_hot_grease_alarm_c"


@pytest.fixture
def supervisor(client: FlaskClient, plant: Plant) -> FlaskClient:
    return sign_in(client, plant.supervisor)


def asked(**other: str) -> dict[str, str]:
    return {"weeks": "4", "tag": "", "limit_1": ALARM, "value_1": "80", **other}


def held(app: Flask) -> Rehearsals:
    return app.extensions.setdefault("rehearsals", Rehearsals())


def test_a_rehearsal_shows_what_would_have_been_raised_and_stores_nothing(
        supervisor: FlaskClient, app: Flask, app_database: Database, plant: Plant) -> None:
    with app_database.writing() as session:
        make_reading(session, session.merge(plant.motor), session.merge(plant.operator), NOW - timedelta(days=1),
                     bearing_temp_c_de=85.0)
        session.commit()
    begun = post_form(supervisor, "/rehearsal", asked())
    key = begun.headers["Location"].split("/rehearsal/")[1].split("?")[0]
    running = held(app).get(plant.unit.id, key)
    assert begun.status_code == 303 and running is not None and running.over.wait(60)
    page = html.unescape(supervisor.get(begun.headers["Location"]).get_data(as_text=True))
    for said in ("Rehearsal: 0 raised, 1 would be", "bearing hot", "P-101A", "+1", "80 °C"):
        assert said in page, said
    with app_database.reading() as session:
        assert limit_changes(session, plant.unit.id) == []


def test_a_rehearsal_under_way_says_how_far_it_is_and_asks_again_by_itself(
        supervisor: FlaskClient, app: Flask, plant: Plant) -> None:
    held(app)._held["k"] = running = Running("k", plant.unit.id, "Pat", NOW, done=3, of=40)
    answer = supervisor.get("/rehearsal/k")
    assert answer.headers["Refresh"] == "2" and "3 of 40 motors" in answer.get_data(as_text=True)
    other = post_form(supervisor, "/rehearsal", asked())  # one at a time
    assert other.headers["Location"].endswith("/rehearsal/k")
    running.failed = "It was stopped before it was through."
    running.over.set()
    answer = supervisor.get("/rehearsal/k?limit_1=step_this_shift_k")
    assert "Refresh" not in answer.headers and "stopped before" in answer.get_data(as_text=True)
    assert "limit_1=step_this_shift_k" in answer.get_data(as_text=True)
    post_form(supervisor, "/rehearsal/k/stop")
    assert running.stop


def test_a_rehearsal_that_is_gone_can_be_filled_in_again_and_another_units_is_not_there(
        supervisor: FlaskClient, app: Flask, app_database: Database, plant: Plant) -> None:
    answer = supervisor.get("/rehearsal/lost?limit_1=step_this_shift_k&value_1=12")
    assert answer.status_code == 404 and "limit_1=step_this_shift_k" in answer.get_data(as_text=True)
    page = supervisor.get("/rehearsal?limit_1=step_this_shift_k&value_1=12&weeks=8").get_data(as_text=True)
    assert 'value="step_this_shift_k" selected' in page and 'value="12"' in page and 'value="8" selected' in page
    with app_database.writing() as session:
        theirs = make_unit(session, "Boilers")
        session.commit()
    held(app)._held["theirs"] = Running("theirs", theirs.id, "Riley", NOW)
    assert supervisor.get("/rehearsal/theirs").status_code == 404
    assert post_form(supervisor, "/rehearsal/theirs/stop").status_code == 404


@pytest.mark.parametrize(("fields", "field", "says"), [
    (asked(limit_1="", value_1=""), "limit_1", "Choose a limit"), (asked(value_1=""), "value_1", "Enter a number"),
    (asked(value_1="100"), "value_1", "below 100 °C"), (asked(limit_2=ALARM, value_2="70"), "limit_2", "twice"),
    (asked(tag="P-999"), "tag", "No motor"), (asked(weeks="3"), "weeks", "Choose how many"),
    (asked(limit_1="", value_1="5"), "limit_1", "Choose the limit"),
], ids=str)
def test_what_cannot_be_rehearsed_stands_at_its_field(supervisor: FlaskClient, fields: dict[str, str], field: str,
                                                      says: str) -> None:
    answer = post_form(supervisor, "/rehearsal", fields)
    page = html.unescape(answer.get_data(as_text=True))
    assert answer.status_code == 400 and f'id="{field}-error">' in page
    assert says in page.split(f'id="{field}-error">')[1].split("<")[0]
