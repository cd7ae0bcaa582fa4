"""The signed sheet on the page: as signed, with its code in groups; what came afterwards beneath it."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.store.rounds import Round
from app.store.signatures import Signature
from tests.conftest import Clock, on_both
from tests.factories import Plant, post_form, sign_in
from tests.web.at_motor import enter, entered, greased_lately, words_of


@pytest.fixture
def signed(app: Flask, plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    """The head operator, who signed the day's sheet with one reading on it."""
    greased_lately(app_database, plant.motor)
    enter(sign_in(client, plant.operator), plant.motor)
    head = sign_in(app.test_client(), plant.head_operator)
    assert post_form(head, f"/rounds/{round_id(app_database)}/sign").status_code == 303
    return head


def round_id(database: Database) -> int:
    with database.reading() as session:
        return session.scalars(sa.select(Round.id).order_by(Round.id)).first() or 0


def code_of(database: Database) -> str:
    with database.reading() as session:
        return session.scalars(sa.select(Signature.code)).one()


@on_both
def test_the_printed_sheet_carries_the_code_in_groups_of_four(plant: Plant, signed: FlaskClient,
                                                               app_database: Database) -> None:
    words = words_of(signed.get(f"/sheet/{round_id(app_database)}/signed"))
    code = code_of(app_database)
    assert " ".join(code[i:i + 4] for i in range(0, 64, 4)) in words
    assert "the code fits" in words
    assert plant.motor.tag in words


@on_both
def test_a_correction_is_an_addendum_and_the_signature_stands(plant: Plant, signed: FlaskClient, clock: Clock,
                                                               app_database: Database) -> None:
    clock.advance(hours=1)
    before = code_of(app_database)
    entered(signed, plant.motor, amps_1="80")
    words = words_of(signed.get(f"/sheet/{round_id(app_database)}/signed"))
    assert "Received after the signature" in words
    assert "the code fits" in words
    assert "seen 24 Nov 2026, 08:12 by Head Operator , received 24 Nov 2026, 08:12" in words
    assert code_of(app_database) == before


@on_both
def test_a_sheet_altered_in_the_database_says_so_on_the_page(plant: Plant, signed: FlaskClient,
                                                              app_database: Database) -> None:
    with app_database.writing() as session:
        session.execute(sa.text("UPDATE reading SET current_a_1 = 12"))
        session.commit()
    words = words_of(signed.get(f"/sheet/{round_id(app_database)}/signed"))
    assert "this code does not fit" in words
    assert plant.motor.tag in words


def test_a_sheet_that_nobody_signed_has_no_signed_page(plant: Plant, client: FlaskClient,
                                                        app_database: Database) -> None:
    sign_in(client, plant.operator).get("/sheet")
    assert client.get(f"/sheet/{round_id(app_database)}/signed").status_code == 404
