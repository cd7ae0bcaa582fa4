"""Temporary states at the motor: begun with an expected end, on every sheet until ended, flagged when past it."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store import temporary
from app.store.temporary import TemporaryState
from tests.conftest import Clock, on_both
from tests.factories import NOW, Plant, make_motor, make_person, make_unit, post_form, sign_in
from tests.web.at_motor import fields_of, flags_of, greased_lately, tags_of, words_of

RULE = "temporary_state_past_end"


@pytest.fixture
def operator(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


def begin(client: FlaskClient, plant: Plant, key: str | None = None, **changes: str | None) -> TestResponse:
    fields = {"kind": "guard off", "hours": "2", "end": "DE", **changes}
    return post_form(client, f"/motors/{plant.motor.id}/temporary", {
        "id": key or str(uuid.uuid4()), **{n: v for n, v in fields.items() if v is not None}})


def standing(database: Database, plant: Plant) -> list[TemporaryState]:
    with database.reading() as session:
        return temporary.standing(session, plant.unit.id)


@on_both
def test_from_its_beginning_to_its_end_it_stands_on_sheet_review_motor_and_entry(
        operator: FlaskClient, plant: Plant, app_database: Database, app: Flask) -> None:
    answer = begin(operator, plant, words="coupling alignment")
    assert answer.status_code == 303
    head = sign_in(app.test_client(), plant.head_operator)
    line = ("P-101A DE: guard off , coupling alignment · since 24 Nov 2026, 07:12, Operator · expected to end "
            "24 Nov 2026, 09:12").replace(" ,", ",")
    for client, path in ((operator, "/sheet"), (head, "/review")):
        assert line in words_of(client.get(path)).replace(" ,", ","), path
    for path in (f"/motors/{plant.motor.id}", f"/motors/{plant.motor.id}/entry", f"/motors/{plant.motor.id}/grease"):
        assert "Half-way: guard off at DE (coupling alignment) since" in words_of(operator.get(path)), path
    assert "P-101A guard off at DE coupling alignment" in words_of(operator.get("/temporary"))
    (state,) = standing(app_database, plant)
    post_form(head, f"/temporary/{state.id}/end", {"words": "guard on, bolts tight"})
    for client, path in ((operator, "/sheet"), (head, "/review"), (operator, f"/motors/{plant.motor.id}/entry")):
        client.get(path)  # the sentence after the act goes with the first page
        assert "guard off" not in words_of(client.get(path)), path
    assert "guard on, bolts tight Head Operator" in words_of(operator.get("/temporary"))


def test_past_its_end_every_page_says_so_and_the_first_look_flags_it(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock, app: Flask) -> None:
    operator.get("/sheet")  # the round is open before it is late
    begin(operator, plant)
    clock.advance(hours=2)
    assert "past the expected end" not in words_of(operator.get("/motors"))
    clock.advance(seconds=1)
    for path in ("/motors", "/lubrication", "/help", f"/motors/{plant.motor.id}"):
        assert "1 temporary state past the expected end" in words_of(operator.get(path)), path
    assert [f.rule for f in flags_of(app_database, plant.motor)] == []
    review = words_of(sign_in(app.test_client(), plant.head_operator).get("/review"))
    assert "Guard off at DE for 2 h; 2 h was expected" in review or "Guard off at DE for 2.0" in review
    assert [(f.rule, f.end, f.priority) for f in flags_of(app_database, plant.motor)] == [(RULE, "DE", "act now")]
    operator.get("/sheet")
    assert [f.times_seen for f in flags_of(app_database, plant.motor)] == [1]


def test_ending_it_gives_the_flag_back_and_the_second_is_told_who_was_first(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock, app: Flask) -> None:
    begin(operator, plant)
    clock.advance(hours=3)
    operator.get("/sheet")
    (state,) = standing(app_database, plant)
    head = sign_in(app.test_client(), plant.head_operator)
    post_form(head, f"/temporary/{state.id}/end")
    post_form(operator, f"/temporary/{state.id}/end", {"words": "me too"})
    page = words_of(operator.get(f"/temporary/{state.id}"))
    assert "guard off was ended before by Head Operator." in page
    assert [f.returned_at for f in flags_of(app_database, plant.motor)] == [clock.now]


def test_a_new_end_needs_a_reason_and_both_stay_readable(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    begin(operator, plant)
    (state,) = standing(app_database, plant)
    path = f"/temporary/{state.id}/move"
    refused = post_form(operator, path, {"hours": "8"})
    assert refused.status_code == 422
    assert "Write why it takes longer." in words_of(refused)
    assert "Say when it is expected to end now." in words_of(post_form(operator, path, {"why": "bolts missing"}))
    assert post_form(operator, path, {"hours": "8", "why": "bolts missing"}).status_code == 303
    (state,) = standing(app_database, plant)
    assert state.expected_end == NOW + timedelta(hours=8)
    assert "Moved 24 Nov 2026, 07:12 by Operator: bolts missing" in words_of(operator.get(f"/temporary/{state.id}"))


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"kind": None}, "kind"), ({"kind": "roof off"}, "kind"), ({"kind": "other"}, "words"), ({"hours": None}, "hours"),
    ({"hours": "1000"}, "hours"), ({"at": "noon"}, "at"), ({"at": "25:00"}, "at"), ({"since": "7 o'clock"}, "since"),
    ({"words": "x" * 201}, "words")], ids=str)
def test_what_is_missing_is_asked_at_its_field_and_what_was_typed_stays(
        operator: FlaskClient, plant: Plant, app_database: Database, changes: dict[str, str | None],
        wrong: str) -> None:
    answer = begin(operator, plant, **{"words": "strap on the coupling" if wrong != "words" else None, **changes})
    assert answer.status_code == 422
    marked = {(a["id"] or "").split("-error")[0] for _, a in tags_of(answer) if a.get("class") == "field-error"}
    assert marked == {wrong}
    if wrong != "words":
        assert fields_of(answer)["words"] == "strap on the coupling"
    assert standing(app_database, plant) == []


def test_nothing_is_chosen_beforehand(operator: FlaskClient, plant: Plant) -> None:
    page = operator.get(f"/motors/{plant.motor.id}/temporary")
    assert {n for n, v in fields_of(page).items() if v} == {"csrf_token", "id"}


@pytest.mark.parametrize(("changes", "until"), [
    ({"hours": "2"}, "2026-11-24T15:12:00+00:00"), ({"hours": "shift"}, "2026-11-25T00:00:00+00:00"),
    # 16:30 in Chicago is 22:30 UTC; 06:30 has passed today, so it is tomorrow's
    ({"hours": None, "at": "16:30"}, "2026-11-24T22:30:00+00:00"),
    ({"hours": None, "at": "6.30"}, "2026-11-25T12:30:00+00:00"),
    ({"hours": "2", "at": "16:30"}, "2026-11-24T22:30:00+00:00")], ids=str)
def test_the_expected_end_is_hours_on_the_shifts_end_or_a_time_of_day(
        operator: FlaskClient, plant: Plant, app_database: Database, changes: dict[str, str | None],
        until: str) -> None:
    assert begin(operator, plant, **changes).status_code == 303
    assert standing(app_database, plant)[0].expected_end.isoformat() == until


def test_entered_later_it_began_when_it_was_seen(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    begin(operator, plant, since="06:30")
    (state,) = standing(app_database, plant)
    assert (state.since, state.recorded_at) == (NOW - timedelta(minutes=42), NOW)


def test_sent_twice_it_is_one(operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    key = str(uuid.uuid4())
    assert begin(operator, plant, key).location == begin(operator, plant, key).location
    assert len(standing(app_database, plant)) == 1


def test_a_key_that_is_none_stores_nothing(operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    assert begin(operator, plant, "not a key").status_code == 422
    assert standing(app_database, plant) == []


def test_words_are_shown_as_text(operator: FlaskClient, plant: Plant) -> None:
    begin(operator, plant, words='<script>alert("1")</script> "fan" 🌀')
    assert "<script>alert(" not in operator.get("/sheet").get_data(as_text=True)
    assert '<script>alert("1")</script> "fan" 🌀' in words_of(operator.get("/temporary"))


def test_another_units_state_is_not_there(
        operator: FlaskClient, plant: Plant, app_database: Database, app: Flask) -> None:
    begin(operator, plant)
    (state,) = standing(app_database, plant)
    with app_database.writing() as session:
        other = make_unit(session, "Boiler house")
        stranger = make_person(session, other, sign_in="stranger")
        make_motor(session, other, "B-1")
        session.commit()
    theirs = sign_in(app.test_client(), stranger)
    assert theirs.get(f"/temporary/{state.id}").status_code == 404
    assert post_form(theirs, f"/temporary/{state.id}/end").status_code == 404
    assert theirs.get(f"/motors/{plant.motor.id}/temporary").status_code == 404
    assert "Nothing stands half-way on record." in words_of(theirs.get("/temporary"))
