"""Oil at the motor: level at its mark, top-ups with their amount, renewals; the list of those that drink."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app import oil_records
from app.db import Database
from app.store import oil
from app.store.motors import Motor
from app.store.oil import OilEntry
from app.store.people import Person
from tests.factories import NOW, Plant, make_motor, make_point, post_form, sign_in
from tests.web.at_motor import fields_of, tags_of, words_of


@pytest.fixture
def compressor(app_database: Database, plant: Plant) -> Motor:
    with app_database.writing() as session:
        motor = make_motor(session, session.merge(plant.unit), "K-201", greased=False, route_order=9.0,
                           plate={"de_bearing": "sleeve", "ode_bearing": "sleeve"})
        for end in ("DE", "ODE"):
            make_point(session, motor, end, kind="oil", lubricant="VG 32", thickener=None, grease_g=None,
                       interval_days=365.0, last_greased_at=NOW - timedelta(days=300))
        session.commit()
        return motor


@pytest.fixture
def operator(plant: Plant, client: FlaskClient) -> FlaskClient:
    return sign_in(client, plant.operator)


def enter(client: FlaskClient, motor: Motor, key: str | None = None, **changes: str | None) -> TestResponse:
    fields = {"end": "DE", "kind": "top-up", "amount": "250", "lubricant": "VG 32", **changes}
    return post_form(client, f"/motors/{motor.id}/oil", {
        "id": key or str(uuid.uuid4()), **{n: v for n, v in fields.items() if v is not None}})


def entries(database: Database, motor: Motor) -> list[OilEntry]:
    with database.reading() as session:
        return oil.entries_of(session, motor.id)


def had(database: Database, plant: Plant, motor: Motor, *days_ml: tuple[float, float]) -> None:
    """Top-ups of the drive end, (days ago, mL)."""
    with database.writing() as session:
        for days, ml in days_ml:
            oil_records.record(session, session.merge(plant.unit), session.get_one(Motor, motor.id),
                               session.get_one(Person, plant.operator.id), NOW - timedelta(days=days), uuid.uuid4(),
                               oil_records.Given("DE", "top-up", amount_ml=ml, lubricant="VG 32"))
        session.commit()


@pytest.mark.parametrize(("fields", "kept"), [
    ({}, ("top-up", None, None, 250.0, "VG 32")),
    ({"level": "below the mark", "mark": "running mark"}, ("top-up", "below the mark", "running mark", 250.0, "VG 32")),
    ({"kind": "level", "level": "at the mark", "mark": "stopped mark", "amount": None, "lubricant": None},
     ("level", "at the mark", "stopped mark", None, None)),
    ({"kind": "level", "level": "could not see", "amount": None, "lubricant": None},
     ("level", "could not see", None, None, None)),
    ({"kind": "renewed", "amount": "4000"}, ("renewed", None, None, 4000.0, "VG 32"))], ids=str)
def test_what_was_done_is_kept(operator: FlaskClient, compressor: Motor, app_database: Database,
                               fields: dict[str, str | None], kept: tuple[Any, ...]) -> None:
    answer = enter(operator, compressor, **fields)
    assert answer.status_code == 303, words_of(answer)
    (row,) = entries(app_database, compressor)
    assert (row.kind, row.level, row.mark, row.amount_ml, row.lubricant) == kept
    assert "Kept: DE" in words_of(operator.get(answer.location))


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"end": None}, {"end"}), ({"kind": None}, {"kind"}), ({"amount": None}, {"amount"}), ({"amount": "0"}, {"amount"}),
    ({"amount": "a cup"}, {"amount"}), ({"lubricant": None}, {"lubricant"}), ({"kind": "level"}, {"level"}),
    ({"kind": "level", "level": "at the mark"}, {"mark"}), ({"level": "below the mark"}, {"mark"}),
    ({"remarks": "x" * 501}, {"remarks"})], ids=str)
def test_what_is_missing_is_asked_at_its_field(operator: FlaskClient, compressor: Motor, app_database: Database,
                                               changes: dict[str, str | None], wrong: set[str]) -> None:
    answer = enter(operator, compressor, **changes)
    assert answer.status_code == 422
    assert {(a["id"] or "").split("-error")[0] for _, a in tags_of(answer) if a.get("class") == "field-error"} == wrong
    assert entries(app_database, compressor) == []


def test_nothing_is_filled_in_when_the_page_opens(operator: FlaskClient, compressor: Motor) -> None:
    enter(operator, compressor)
    page = operator.get(f"/motors/{compressor.id}/oil")
    assert {n for n, v in fields_of(page).items() if v} == {"csrf_token", "id"}


def test_a_motor_that_drinks_is_told_at_once_and_heads_the_list(
        operator: FlaskClient, compressor: Motor, app_database: Database, plant: Plant) -> None:
    had(app_database, plant, compressor, (120, 200), (90, 200), (60, 200), (30, 200))
    page = words_of(operator.get("/lubrication/oil"))
    assert "0 drink" in page
    answer = enter(operator, compressor, amount="600")
    told = words_of(operator.get(answer.location))
    assert "DE took 600 mL of oil in 30 days, usually 200 mL; its normal ends at 270 mL" in told
    assert "Judge oil by the sight glass only" in told
    page = words_of(operator.get("/lubrication/oil"))
    assert "1 drinks" in page
    assert "600 mL (watch)" in page[page.index("Drinks: more in 30 days than its own normal"):page.index("In oil")]


def test_ounces_where_the_unit_counts_them(
        operator: FlaskClient, compressor: Motor, app_database: Database, plant: Plant) -> None:
    with app_database.writing() as session:
        session.merge(plant.unit).grease = "oz"
        session.commit()
    enter(operator, compressor, amount="10")  # 10 × 29.5735 = 295.7 mL
    assert entries(app_database, compressor)[0].amount_ml == pytest.approx(295.735, abs=0.001)
    assert "10 fl oz" in words_of(operator.get(f"/motors/{compressor.id}/oil"))


def test_sent_twice_it_is_one(operator: FlaskClient, compressor: Motor, app_database: Database) -> None:
    key = str(uuid.uuid4())
    enter(operator, compressor, key)
    again = enter(operator, compressor, key)
    assert "stored before" in words_of(operator.get(again.location))
    assert len(entries(app_database, compressor)) == 1


def test_a_renewal_moves_the_due_date(operator: FlaskClient, compressor: Motor) -> None:
    assert "23 Jan 2027" not in words_of(operator.get("/lubrication/weeks"))
    page = words_of(operator.get("/lubrication"))
    assert "renew oil" in page
    enter(operator, compressor, kind="renewed", amount="4000")
    # 24 November 2026 + 365 days
    assert "24 Nov 2027" in words_of(operator.get("/lubrication"))


def test_without_oil_on_the_chart_the_list_says_so(operator: FlaskClient, plant: Plant) -> None:
    assert "No bearing runs in oil by the chart." in words_of(operator.get("/lubrication/oil"))
    assert "By the chart: grease, no oil." in words_of(operator.get(f"/motors/{plant.motor.id}/oil"))
