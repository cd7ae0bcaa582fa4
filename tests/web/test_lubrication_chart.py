"""The lubrication chart of one motor: what is offered, who confirms it, changes kept with who and why."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store import changes, chart, register
from app.store.motors import LubricationPoint, Nameplate, motor_by_id
from app.store.people import Person
from tests.conftest import Clock, on_both
from tests.factories import NOW, Plant, post_form, sign_in
from tests.web.at_motor import fields_of, tags_of, words_of


@pytest.fixture
def supervisor(plant: Plant, client: FlaskClient) -> FlaskClient:
    return sign_in(client, plant.supervisor)


def line_of(database: Database, plant: Plant, end: str = "DE") -> LubricationPoint:
    with database.reading() as session:
        return session.scalars(sa.select(LubricationPoint).where(
            LubricationPoint.motor_id == plant.motor.id, LubricationPoint.end == end,
            LubricationPoint.replaced_at.is_(None))).one()


def empty(database: Database, plant: Plant) -> None:
    """Nothing on the chart but the bearing on the plate."""
    with database.writing() as session:
        session.execute(sa.delete(LubricationPoint))
        session.commit()


def change(client: FlaskClient, database: Database, plant: Plant, **fields: str) -> TestResponse:
    page = client.get(f"/motors/{plant.motor.id}/chart/DE")
    held = {n: v for n, v in fields_of(page).items() if n not in ("csrf_token", "take", "source")}
    line = str(line_of(database, plant).id)
    given = {**held, "kind": "grease", "why": "plate read", "line": line, **fields}
    return post_form(client, f"/motors/{plant.motor.id}/chart/DE", given)


@on_both
def test_a_change_closes_the_old_line_and_keeps_who_and_why(
        supervisor: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    clock.advance(minutes=1)
    answer = change(supervisor, app_database, plant, amount="23,1", greased_while="stopped", drain_plug="yes")
    assert answer.status_code == 303, words_of(answer)
    line = line_of(app_database, plant)
    assert (line.grease_g, line.greased_while, line.drain_plug, line.interval_days) == (23.1, "stopped", True, 90.0)
    with app_database.reading() as session:
        old = [x for x in chart.lines_of(session, plant.motor.id) if x.replaced_at is not None]
        assert [(x.grease_g, x.replaced_at) for x in old] == [(30.0, clock.now)]
        kept = changes.changes_of(session, "lubrication point", line.id)
        assert {(c.field, c.before, c.after, c.why) for c in kept} == {
            ("de_grease_g", "30.0", "23.1", "plate read"), ("de_greased_while", None, "stopped", "plate read"),
            ("de_drain_plug", None, "True", "plate read")}
    page = words_of(supervisor.get(f"/motors/{plant.motor.id}/chart"))
    assert "Supervisor: plate read" in page
    assert "24 Nov 2026, 07:13 DE motor grease NLGI 2" in page


def test_nothing_changed_writes_nothing(supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    before = line_of(app_database, plant).id
    answer = change(supervisor, app_database, plant)
    assert answer.status_code == 303
    assert "nothing was changed" in words_of(supervisor.get(answer.location))
    assert line_of(app_database, plant).id == before


@pytest.mark.parametrize(("fields", "wrong"), [
    ({"why": ""}, "why"), ({"amount": "0"}, "amount"), ({"amount": "5001"}, "amount"), ({"amount": "a lot"}, "amount"),
    ({"interval_days": "-1"}, "interval_days"), ({"interval_run_h": "1e5"}, "interval_run_h"),
    ({"kind": "sealed"}, "kind"), ({"kind": "butter"}, "kind"), ({"greased_while": "sleeping"}, "greased_while"),
    ({"lubricant": "x" * 201}, "lubricant")], ids=str)
def test_what_cannot_be_is_refused_at_its_field(
        supervisor: FlaskClient, plant: Plant, app_database: Database, fields: dict[str, str], wrong: str) -> None:
    answer = change(supervisor, app_database, plant, **fields)
    assert answer.status_code == 422
    marked = {(a["id"] or "").split("-error")[0] for _, a in tags_of(answer) if a.get("class") == "field-error"}
    assert marked == {wrong}
    assert line_of(app_database, plant).grease_g == 30.0


def test_two_who_change_one_line_the_second_is_told(
        supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    old = str(line_of(app_database, plant).id)
    change(supervisor, app_database, plant, amount="23.1")
    answer = change(supervisor, app_database, plant, amount="40", line=old)
    assert answer.status_code == 409
    page = words_of(answer)
    assert "This line was changed while you had it open." in page and "23.1 g" in page
    assert fields_of(answer)["amount"] == "40"
    assert line_of(app_database, plant).grease_g == 23.1


def test_what_is_computed_is_offered_marked_and_confirmed_by_name(
        supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    empty(app_database, plant)
    page = words_of(supervisor.get(f"/motors/{plant.motor.id}/chart/DE"))
    # 6313 at 1,775 rpm: 0.005 × 140 × 33 = 23.1 g; 10 × (14e6 / (1775 × √65) − 260) = 7,183 h
    assert "Amount 23.1 g computed" in page and "Every 7183 running h computed" in page
    answer = post_form(supervisor, f"/motors/{plant.motor.id}/chart/DE/offer", {
        "line": "", "source": "handbook formula", "take": ["grease_g", "interval_run_h"]})
    assert answer.status_code == 303
    line = line_of(app_database, plant)
    assert (line.kind, line.grease_g, line.interval_run_h, line.person_id) == (
        "grease", 23.1, 7183.0, plant.supervisor.id)
    assert line.computed_columns == {"grease_g", "interval_run_h"}
    page = words_of(supervisor.get(f"/motors/{plant.motor.id}/chart"))
    assert "23.1 g (computed, confirmed)" in page
    assert "computed, handbook formula: housing below 65 °C" in page


def test_harder_service_is_computed_and_confirmed_as_chosen(
        supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    empty(app_database, plant)
    service = "housing=65+to+80+%C2%B0C&position=vertical&severity=severe"
    page = words_of(supervisor.get(f"/motors/{plant.motor.id}/chart/DE?{service}"))
    assert "Every 1077 running h computed" in page  # 7,183 × 0.5 × 0.3
    post_form(supervisor, f"/motors/{plant.motor.id}/chart/DE/offer", {
        "line": "", "source": "handbook formula", "take": "interval_run_h", "housing": "65 to 80 °C",
        "position": "vertical"})
    line = line_of(app_database, plant)
    assert (line.interval_run_h, line.grease_g) == (1077.0, None)
    assert "shaft vertical" in (line.why or "")


def test_a_figure_changed_by_hand_is_computed_no_more(
        supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    empty(app_database, plant)
    post_form(supervisor, f"/motors/{plant.motor.id}/chart/DE/offer", {
        "line": "", "source": "handbook formula", "take": ["grease_g", "interval_run_h"]})
    change(supervisor, app_database, plant, amount="20")
    assert line_of(app_database, plant).computed_columns == {"interval_run_h"}


def test_a_sealed_bearing_is_offered_nothing(supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        session.execute(sa.update(Nameplate).values(de_bearing="6313-2Z"))
        session.commit()
    page = words_of(supervisor.get(f"/motors/{plant.motor.id}/chart/DE"))
    assert "6313-2Z is sealed: no grease belongs in it." in page
    answer = post_form(supervisor, f"/motors/{plant.motor.id}/chart/DE/offer", {
        "line": str(line_of(app_database, plant).id), "source": "handbook formula", "take": "grease_g"})
    assert answer.status_code == 409


def test_an_edit_in_the_register_keeps_what_only_this_page_knows(
        supervisor: FlaskClient, plant: Plant, app_database: Database) -> None:
    change(supervisor, app_database, plant, greased_while="running", drain_plug="no")
    with app_database.writing() as session:
        motor = motor_by_id(session, plant.unit.id, plant.motor.id)
        assert motor is not None
        person = session.get_one(Person, plant.supervisor.id)
        cells = {**register.cells_of(motor), "de_grease_g": "25"}
        register.save_motor(session, session.merge(plant.unit), motor, cells, person, NOW, "weighed")
        session.commit()
    line = line_of(app_database, plant)
    assert (line.grease_g, line.greased_while, line.drain_plug) == (25.0, "running", False)


def test_an_operator_sees_the_chart_and_changes_nothing(
        plant: Plant, app: Flask, app_database: Database) -> None:
    operator = sign_in(app.test_client(), plant.operator)
    page = words_of(operator.get(f"/motors/{plant.motor.id}/chart"))
    assert "The supervisor changes the chart, with the reason." in page
    assert operator.get(f"/motors/{plant.motor.id}/chart/DE").status_code == 403
    assert post_form(operator, f"/motors/{plant.motor.id}/chart/DE/offer").status_code == 403


def test_an_end_that_is_none_is_not_there(supervisor: FlaskClient, plant: Plant) -> None:
    assert supervisor.get(f"/motors/{plant.motor.id}/chart/NDE").status_code == 404
