"""Undo: an entry taken back within ten seconds stays readable, counts as no look and leaves no flag behind."""

from __future__ import annotations

import uuid

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from tests.conftest import Clock
from tests.factories import Plant, post_form, sign_in
from tests.web.at_motor import STANDING, enter, fields_of, flags_of, greased_lately, readings_of, words_of


@pytest.fixture
def operator(client: FlaskClient, plant: Plant, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


def take_back(client: FlaskClient, key: str) -> int:
    return post_form(client, f"/entries/{key}/undo", {"id": str(uuid.uuid4())}).status_code


def test_an_entry_taken_back_is_no_look_raises_nothing_and_stays_readable(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    key = str(uuid.uuid4())
    enter(operator, plant.motor, key=key, amps_1="92")  # 105.7 % of 87 A: flagged
    assert [f.rule for f in flags_of(app_database, plant.motor)] == ["amps_over_nameplate"]
    assert "Undo" in words_of(operator.get(f"/entries/{key}"))
    clock.advance(seconds=9)
    assert take_back(operator, key) == 303
    assert flags_of(app_database, plant.motor) == []
    assert "0 of 1" in words_of(operator.get("/sheet"))
    old, back = readings_of(app_database, plant.motor)
    assert (str(old.id), old.current_a_1, back.replaces_id, back.taken_back) == (key, 92.0, old.id, True)
    words = words_of(operator.get(f"/entries/{key}"))
    assert "Taken back at" in words
    assert "92 A" in words
    assert "taken back" in words_of(operator.get(f"/motors/{plant.motor.id}"))
    assert take_back(operator, key) == 303  # pressed twice, done once
    assert len(readings_of(app_database, plant.motor)) == 2


def test_what_was_entered_is_offered_again_to_the_one_who_took_it_back_and_to_nobody_else(
        app: Flask, operator: FlaskClient, plant: Plant) -> None:
    key = str(uuid.uuid4())
    enter(operator, plant.motor, key=key, amps_1="81")
    page = f"/motors/{plant.motor.id}/entry?again={key}"
    assert fields_of(operator.get(page))["amps_1"] == ""  # it stands: nothing is filled in
    take_back(operator, key)
    assert fields_of(operator.get(page))["amps_1"] == "81"
    other = sign_in(app.test_client(), plant.head_operator)
    assert fields_of(other.get(page))["amps_1"] == ""


@pytest.mark.parametrize(("seconds", "answer"), [(30, 303), (31, 403)], ids=["on its way", "too late"])
def test_after_half_a_minute_it_is_corrected_instead(
        operator: FlaskClient, plant: Plant, clock: Clock, seconds: int, answer: int) -> None:
    key = str(uuid.uuid4())
    enter(operator, plant.motor, key=key, amps_1="81")
    clock.advance(seconds=11)
    assert "Undo" not in words_of(operator.get(f"/entries/{key}"))  # no longer offered
    clock.advance(seconds=seconds - 11)
    assert take_back(operator, key) == answer


def test_nobody_takes_back_what_another_entered_nor_what_was_corrected(
        app: Flask, operator: FlaskClient, plant: Plant) -> None:
    key = str(uuid.uuid4())
    enter(operator, plant.motor, key=key, amps_1="81")
    assert take_back(sign_in(app.test_client(), plant.head_operator), key) == 403
    post_form(operator, f"/entries/{key}/correct", {
        "id": str(uuid.uuid4()), "state": "running", "look": "nothing wrong", "amps_1": "80", "replaces_why": "slip"})
    assert take_back(operator, key) == 403


def test_a_motor_taken_back_is_again_what_it_was_seen_as_before(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    enter(operator, plant.motor, amps_1="81")
    clock.advance(minutes=5)
    key = str(uuid.uuid4())
    enter(operator, plant.motor, STANDING, key=key)
    assert "standby" in words_of(operator.get(f"/motors/{plant.motor.id}"))
    take_back(operator, key)
    with app_database.reading() as session:
        assert session.merge(plant.motor, load=True).condition == "running"
    assert "1 of 1" in words_of(operator.get("/sheet"))
