"""Greasing at the motor: the due date moves, the flag and the banner go; too soon, too much and sealed are told."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor
from tests.conftest import Clock, on_both
from tests.factories import NOW, Plant, make_motor, post_form, sign_in
from tests.web.at_motor import enter, fields_of, flags_of, greased_lately, tags_of, words_of

BANNER = "Greasing overdue at"


@pytest.fixture
def operator(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


def chart(database: Database, motor: Motor, **columns: Any) -> None:
    """Sets columns of both ends' lines of the chart."""
    with database.writing() as session:
        for point in session.scalars(sa.select(LubricationPoint).where(LubricationPoint.motor_id == motor.id)):
            for name, value in columns.items():
                setattr(point, name, value)
        session.commit()


def grease(client: FlaskClient, motor: Motor, key: str | None = None, **changes: str | None) -> TestResponse:
    fields = {"end": "DE", "lubricant": "motor grease NLGI 2", "grams": "30", **changes}
    return post_form(client, f"/motors/{motor.id}/grease", {
        "id": key or str(uuid.uuid4()), **{n: v for n, v in fields.items() if v is not None}})


def greased(client: FlaskClient, motor: Motor, **changes: str | None) -> str:
    answer = grease(client, motor, **changes)
    assert answer.status_code == 303, words_of(answer)
    return words_of(client.get(answer.location))


def greasings_of(database: Database, motor: Motor) -> list[Greasing]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Greasing).where(Greasing.motor_id == motor.id).order_by(Greasing.at)))


def standing(database: Database, motor: Motor) -> list[tuple[str, str]]:
    return [(f.rule, f.end) for f in flags_of(database, motor)]


# overdue ---------------------------------------------------------------------------------------------------

PAGES = ("/sheet", "/motors", "/lubrication", "/help", "/motors/{id}", "/motors/{id}/entry", "/motors/{id}/grease")


def test_overdue_greasing_shows_on_every_page_from_the_moment_it_is_due(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    # 90 days on the chart, last greased 90 days before 08:00: at 08:00 it is due, a second later overdue
    chart(app_database, plant.motor, last_greased_at=NOW + timedelta(minutes=48) - timedelta(days=90))
    for at, shown in (("07:59:59", False), ("08:00:00", False), ("08:00:01", True)):
        clock.set(f"2026-11-24T{at}-06:00")
        for path in PAGES:
            page = words_of(operator.get(path.format(id=plant.motor.id)))
            assert (f"{BANNER} 2 bearings" in page) is shown, (at, path)


@on_both
def test_greasing_moves_the_due_date_and_clears_the_flag_and_the_banner(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=100))
    operator.get("/sheet")  # opening the sheet flags what the clock made due
    assert standing(app_database, plant.motor) == [("greasing_overdue", "DE"), ("greasing_overdue", "ODE")]
    page = words_of(operator.get("/lubrication"))
    assert "2 overdue" in page
    assert "10 days over" in page
    # 24 November + 90 days = 22 February
    assert "Due again 22 Feb 2027" in greased(operator, plant.motor)
    assert f"{BANNER} 1 bearing " in words_of(operator.get("/motors"))
    greased(operator, plant.motor, end="ODE")
    assert BANNER not in words_of(operator.get("/motors"))
    page = words_of(operator.get("/lubrication"))
    assert "0 overdue" in page
    assert "24 Nov 2026 22 Feb 2027" in page
    with app_database.reading() as session:
        from app.store.flags import Flag

        assert all(f.returned_at == NOW for f in session.scalars(sa.select(Flag)))


def test_what_was_never_recorded_is_listed_apart_and_not_called_overdue(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=None)
    page = words_of(operator.get("/lubrication"))
    assert "0 overdue" in page
    assert "2 never recorded" in page
    assert BANNER not in page


def test_a_chart_without_intervals_says_what_is_missing(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, interval_days=None)
    assert "No bearing has a greasing interval on its chart yet." in words_of(operator.get("/lubrication"))


def test_running_hours_are_counted_as_estimated(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, interval_days=None, interval_run_h=100.0, last_greased_at=NOW)
    enter(operator, plant.motor)  # seen running, and taken to run on
    clock.advance(hours=13)
    assert "87 running hours left (estimated)" in words_of(operator.get("/lubrication"))


# at the motor ----------------------------------------------------------------------------------------------


def test_the_page_says_first_what_the_chart_wants_and_when_it_was_last_done(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    greased(operator, plant.motor, grams="25,5")
    clock.advance(hours=11)
    page = words_of(operator.get(f"/motors/{plant.motor.id}/grease"))
    assert "Coupling end (DE) Chart: motor grease NLGI 2, 30 g , every 90 days. Last greased 11 h ago" in page
    assert "25.5 g, by Operator." in page
    assert "Only where your procedure allows greasing as it stands now" in page
    assert page.index("Last greased") < page.index("Lubricant given")


def test_nothing_is_filled_in_when_the_page_opens(operator: FlaskClient, plant: Plant) -> None:
    greased(operator, plant.motor)
    page = operator.get(f"/motors/{plant.motor.id}/grease")
    assert {n for n, v in fields_of(page).items() if v} == {"csrf_token", "id"}
    assert [a["name"] for t, a in tags_of(page) if t in ("input", "select") and a.get("type") != "hidden"
            and a.get("autocomplete") != "off"] == []


def test_the_second_greasing_by_the_next_shift_is_flagged(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=89))
    assert "greased too soon" not in greased(operator, plant.motor)
    clock.advance(hours=11)
    page = greased(operator, plant.motor, why="ran hot")
    assert "This shift · greased too soon · coupling end (DE)" in page
    assert "Add no more; watch its temperature." in page
    assert "Why ran hot" in page
    assert standing(app_database, plant.motor) == [("greased_too_soon", "DE")]


@pytest.mark.parametrize(("grams", "too_much"), [("45", False), ("45.1", True)], ids=["150 %", "150.3 %"])
def test_over_one_and_a_half_times_the_amount_is_flagged(
        operator: FlaskClient, plant: Plant, app_database: Database, grams: str, too_much: bool) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    assert ("greased too soon" in greased(operator, plant.motor, grams=grams)) is too_much


def test_a_sealed_bearing_is_told_before_anything_is_entered_and_flagged_when_greased_anyway(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, kind="sealed")
    page = words_of(operator.get(f"/motors/{plant.motor.id}/grease"))
    assert page.count("Sealed bearing: it is not greased.") == 2
    assert page.index("Sealed bearing") < page.index("Lubricant given")
    assert "DE bearing is sealed; no grease belongs in it" in greased(operator, plant.motor)


def test_a_thickener_that_does_not_mix_is_act_now_and_another_lubricant_this_shift(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    # lithium complex on polyurea: incompatible in the Bureau of Reclamation's grid (FIST 2-4, Table 2)
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    assert "This shift · wrong lubricant" in greased(operator, plant.motor, lubricant="another grease")
    page = greased(operator, plant.motor, end="ODE", lubricant="another grease", thickener="lithium complex")
    assert "Act now · wrong lubricant · fan end (ODE)" in page
    assert "Never add another thickener without the lubrication owner's word" in page


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"end": None}, "end"), ({"lubricant": ""}, "lubricant"), ({"lubricant": "   "}, "lubricant"),
    ({"lubricant": "\x00"}, "lubricant"), ({"lubricant": "x" * 201}, "lubricant"), ({"grams": ""}, "grams"),
    ({"grams": "3 shots"}, "grams"), ({"grams": "-1"}, "grams"), ({"grams": "5001"}, "grams"),
    ({"grams": "nan"}, "grams"), ({"grams": "1.234"}, "grams"), ({"why": "x" * 201}, "why")], ids=str)
def test_what_cannot_be_taken_is_named_at_its_field_and_the_rest_kept(
        operator: FlaskClient, plant: Plant, app_database: Database, changes: dict[str, str | None],
        wrong: str) -> None:
    answer = grease(operator, plant.motor, **{"why": "asked for", **changes})
    assert answer.status_code == 422
    marked = {(a["id"] or "").split("-error")[0] for _, a in tags_of(answer) if a.get("class") == "field-error"}
    assert marked == {wrong}
    held = fields_of(answer)
    for name, value in {"grams": "30", "why": "asked for", **changes}.items():
        if name in ("grams", "why"):
            assert held[name] == value
    assert greasings_of(app_database, plant.motor) == []


def test_nought_grams_is_an_answer(operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    assert "Amount 0 g" in greased(operator, plant.motor, grams="0")
    assert greasings_of(app_database, plant.motor)[0].grams == 0.0


def test_ounces_are_stored_as_grams_and_shown_as_ounces(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        session.merge(plant.unit).grease = "oz"
        session.commit()
    assert "1.06 oz , every 90 days" in words_of(operator.get(f"/motors/{plant.motor.id}/grease"))  # 30 g / 28.3495
    assert "Amount 0.9 oz" in greased(operator, plant.motor, grams="0,9")
    assert greasings_of(app_database, plant.motor)[0].grams == pytest.approx(25.51457)  # 0.9 × 28.349523


@on_both
def test_a_greasing_sent_twice_is_one_and_with_another_amount_it_is_told(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    key = str(uuid.uuid4())
    first = grease(operator, plant.motor, key)
    clock.advance(seconds=3)
    again = grease(operator, plant.motor, key)
    assert first.location == again.location == f"/greasings/{key}"
    assert "stored before" in words_of(operator.get(again.location))
    other = grease(operator, plant.motor, key, grams="31")
    assert other.status_code == 409
    assert "The stored greasing is unchanged" in words_of(other)
    assert [g.grams for g in greasings_of(app_database, plant.motor)] == [30.0]


def test_a_motor_that_may_start_by_itself_says_so_before_the_gun_goes_on(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        made = make_motor(session, session.merge(plant.unit), "P-300", interlock="low-voltage release",
                          condition="standby")
        session.commit()
    page = words_of(operator.get(f"/motors/{made.id}/grease"))
    assert page.index("May start by itself when voltage returns: stay clear.") < page.index("Lubricant given")
