"""Greasing at the motor: what to give and the warning first, a reason to go on; due date, flag and banner follow."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.store import guns, temporary
from app.store.lubrication import Greasing
from app.store.motors import LubricationPoint, Motor, Nameplate
from app.store.people import Person
from tests.conftest import Clock, on_both
from tests.entering import at_once
from tests.factories import NOW, Plant, make_motor, post_form, sign_in
from tests.web.at_motor import enter, fields_of, flags_of, greased_lately, tags_of, words_of

BANNER = "Greasing overdue at"
#: 7 a.m. in Chicago, and the hours of the story "day shift greases, night shift comes".
DAY, NIGHT = "2026-11-24T09:00:00-06:00", "2026-11-24T20:00:00-06:00"


@pytest.fixture
def operator(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


def chart(database: Database, motor: Motor, end: str | None = None, **columns: Any) -> None:
    """Sets columns of both ends' lines of the chart, or of one's."""
    with database.writing() as session:
        for point in session.scalars(sa.select(LubricationPoint).where(LubricationPoint.motor_id == motor.id)):
            for name, value in columns.items() if end in (None, point.end) else ():
                setattr(point, name, value)
        session.commit()


def plate(database: Database, motor: Motor, **columns: Any) -> None:
    with database.writing() as session:
        session.execute(sa.update(Nameplate).where(Nameplate.motor_id == motor.id).values(**columns))
        session.commit()


def gun(database: Database, plant: Plant, name: str = "Gun 1", stroke_g: float = 1.35, **more: Any) -> str:
    """A gun of the unit: its key as the form sends it."""
    with database.writing() as session:
        made = guns.save_gun(session, plant.unit.id, None, session.get_one(Person, plant.head_operator.id), NOW,
                             name=name, stroke_g=stroke_g, **more)
        session.commit()
        return str(made.id)


def grease(client: FlaskClient, motor: Motor, key: str | None = None, **changes: str | None) -> TestResponse:
    fields = {"end": "DE", "lubricant": "motor grease NLGI 2", "grams": "30", **changes}
    return post_form(client, f"/motors/{motor.id}/grease", {
        "id": key or str(uuid.uuid4()), **{n: v for n, v in fields.items() if v is not None}})


def greased(client: FlaskClient, motor: Motor, **changes: str | None) -> str:
    answer = grease(client, motor, **changes)
    assert answer.status_code == 303, words_of(answer)
    return words_of(client.get(answer.location))


def asked(client: FlaskClient, motor: Motor, **changes: str | None) -> str:
    """The page that asks again, as words: nothing is stored by it."""
    answer = grease(client, motor, **changes)
    assert answer.status_code == 422, answer.location
    return words_of(answer)


def page_of(client: FlaskClient, motor: Motor, end: str | None = "DE") -> str:
    return words_of(client.get(f"/motors/{motor.id}/grease" + (f"?end={end}" if end else "")))


def greasings_of(database: Database, motor: Motor) -> list[Greasing]:
    with database.reading() as session:
        return list(session.scalars(sa.select(Greasing).where(Greasing.motor_id == motor.id).order_by(Greasing.at)))


def standing(database: Database, motor: Motor) -> list[tuple[str, str]]:
    return [(f.rule, f.end) for f in flags_of(database, motor)]


def marked(answer: TestResponse) -> set[str]:
    """The fields that an error stands beside."""
    return {(a["id"] or "").split("-error")[0] for _, a in tags_of(answer) if a.get("class") == "field-error"}


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
    assert "24 Nov 2026 Operator 22 Feb 2027" in page
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
    page = words_of(operator.get("/lubrication"))
    assert "87 running hours left (estimated)" in page
    assert "about 13 h since (sure)" in page


# before anything is entered --------------------------------------------------------------------------------


def test_the_page_says_first_what_the_chart_wants_and_when_it_was_last_done(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    greased(operator, plant.motor, grams="25,5")
    clock.advance(hours=11)
    both = page_of(operator, plant.motor, None)
    assert both.count("Chart: motor grease NLGI 2, 30 g , every 90 days.") == 2
    assert "Last greased 11 h ago : 24 Nov 2026, 07:12, 25.5 g, motor grease NLGI 2, by Operator, Day shift." in both
    page = page_of(operator, plant.motor)
    assert "Only where your procedure allows greasing as it stands now" in page
    assert page.index("Last greased") < page.index("Give 30 g") < page.index("Lubricant given")


def test_nothing_is_filled_in_when_the_page_opens(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    gun(app_database, plant, lubricant="motor grease NLGI 2")
    chart(app_database, plant.motor, drain_plug=True, last_greased_at=NOW - timedelta(days=80))
    greased(operator, plant.motor, plug="back")
    page = operator.get(f"/motors/{plant.motor.id}/grease?end=DE")
    assert {n for n, v in fields_of(page).items() if v} == {"csrf_token", "id", "end"}
    assert [a["name"] for t, a in tags_of(page) if t in ("input", "select") and a.get("type") != "hidden"
            and a.get("autocomplete") != "off"] == []


def test_amount_from_the_bearing_and_strokes_of_the_gun(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    # 6313: 0.005 × 140 × 33 = 23.1 g; 23.1 / 1.35 = 17.1
    chart(app_database, plant.motor, grease_g=None, last_greased_at=NOW - timedelta(days=80))
    key = gun(app_database, plant)
    page = page_of(operator, plant.motor)
    assert "Give 23.1 g computed from bearing 6313, not on the chart" in page
    assert "Gun 1, 1.35 g a stroke 17 strokes" in page
    assert "22.95 g, 17 strokes of Gun 1 at 1.35 g" in greased(operator, plant.motor, grams=None, gun=key, strokes="17")
    assert standing(app_database, plant.motor) == []


def test_twice_the_strokes_warn_of_about_twice_the_amount(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, grease_g=23.1, last_greased_at=NOW - timedelta(days=80))
    key = gun(app_database, plant)
    page = asked(operator, plant.motor, grams=None, gun=key, strokes="34")  # 34 × 1.35 = 45.9; 45.9 / 23.1 = 1.987
    assert "About twice the amount: 45.9 g instead of 23.1 g." in page
    assert "198.7 % of the chart's 23.1 g, above 150 %" in page
    assert greasings_of(app_database, plant.motor) == []
    greased(operator, plant.motor, grams=None, gun=key, strokes="34", why="purged old grease")
    row = greasings_of(app_database, plant.motor)[0]
    assert (row.grams, row.gun, row.stroke_g, row.strokes) == (pytest.approx(45.9), "Gun 1", 1.35, 34.0)
    assert standing(app_database, plant.motor) == [("greased_too_soon", "DE")]


# the second greasing ---------------------------------------------------------------------------------------


@on_both
def test_day_shift_greased_and_the_night_shift_is_told_before_anything_is_entered(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock, app: Flask) -> None:
    with app_database.writing() as session:
        twin = make_motor(session, session.merge(plant.unit), "P-101B", route_order=2.0)
        session.commit()
    greased_lately(app_database, twin, days=80)
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    clock.set(DAY)
    greased(operator, plant.motor)
    clock.set(NIGHT)
    other = sign_in(app.test_client(), plant.head_operator)  # another tablet, another crew
    page = page_of(other, plant.motor)
    told = page.index("Greased 11 h ago: do not grease again")
    assert told < page.index("Lubricant given")
    assert "Going on needs a reason below. The head operator sees it." in page
    assert "by Operator, Day shift" in page
    for motor, end in ((plant.motor, "ODE"), (twin, "DE"), (twin, "ODE")):
        assert "do not grease again" not in page_of(other, motor, end)
    assert "Say why it was greased all the same." in asked(other, plant.motor)
    greased(other, plant.motor, end="ODE")
    greased(other, twin)
    assert "This shift · greased too soon · coupling end (DE)" in greased(other, plant.motor, why="squealed")
    assert standing(app_database, plant.motor) == [("greased_too_soon", "DE")]
    assert "DE greased again after 11 h" in words_of(other.get("/review"))


@on_both
def test_two_tablets_at_one_bearing_in_the_same_moment_one_is_asked(
        operator: FlaskClient, plant: Plant, app_database: Database, app: Flask) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    other = sign_in(app.test_client(), plant.head_operator)
    answers = at_once([lambda c=c: grease(c, plant.motor) for c in (operator, other)])
    assert sorted(a.status_code for a in answers) == [303, 422]
    assert len(greasings_of(app_database, plant.motor)) == 1


def test_thirty_hours_after_a_greasing_an_interval_of_4750_running_hours_still_asks(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, interval_days=None, interval_run_h=4750.0, last_greased_at=None)
    enter(operator, plant.motor)
    greased(operator, plant.motor)
    clock.advance(hours=30)
    sign_in(operator, plant.operator)
    page = page_of(operator, plant.motor)
    assert "Greased 30 h ago: do not grease again" in page
    assert "in about 4720 running h (estimated" in page
    assert "Say why it was greased all the same." in asked(operator, plant.motor)


def test_half_the_interval_later_nobody_is_asked(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    # half of 90 days is 45; a minute before that it asks
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=45) + timedelta(minutes=1))
    assert "do not grease again" in page_of(operator, plant.motor)
    clock.advance(minutes=1)
    assert "do not grease again" not in page_of(operator, plant.motor)
    greased(operator, plant.motor)
    assert standing(app_database, plant.motor) == []


def test_no_interval_known_and_greased_days_ago_is_asked_about_all_the_same(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, interval_days=None, last_greased_at=NOW - timedelta(days=6))
    plate(app_database, plant.motor, de_bearing=None)
    assert "No interval is known for this bearing" in page_of(operator, plant.motor)
    asked(operator, plant.motor)
    greased(operator, plant.motor, why="new bearing")


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
    assert ("greased too soon" in greased(operator, plant.motor, grams=grams, why="asked for")) is too_much


# sealed, oil, wrong grease ---------------------------------------------------------------------------------


def test_a_sealed_bearing_is_told_before_anything_is_entered_and_there_is_nothing_to_record(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, kind="sealed", interval_days=None)
    both = page_of(operator, plant.motor, None)
    assert both.count("Sealed bearing: nothing to grease, nothing to record By the lubrication chart") == 2
    page = operator.get(f"/motors/{plant.motor.id}/grease?end=DE")
    assert not [a for t, a in tags_of(page) if t == "input" and a.get("name") in ("grams", "lubricant")]
    assert "Not sealed? Correct the chart" in words_of(page)
    anyway = words_of(operator.get(f"/motors/{plant.motor.id}/grease?end=DE&anyway=1"))
    assert anyway.index("Sealed bearing") < anyway.index("Lubricant given")


def test_a_sealed_bearing_greased_anyway_needs_a_reason_and_is_flagged(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, kind="sealed", interval_days=None)
    assert "DE bearing is sealed; no grease belongs in it" in asked(operator, plant.motor)
    page = greased(operator, plant.motor, why="took it for the old motor")
    assert "DE bearing is sealed; no grease belongs in it (lubrication chart)." in page
    assert standing(app_database, plant.motor) == [("greased_too_soon", "DE")]


def test_a_plate_that_says_sealed_is_believed_where_the_chart_says_nothing_and_is_off_the_schedule(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, kind=None, last_greased_at=None)
    plate(app_database, plant.motor, de_bearing="6313-2Z/C3")
    assert "By the nameplate (6313-2Z/C3)" in page_of(operator, plant.motor)
    page = words_of(operator.get("/lubrication"))
    assert "1 never recorded" in page


def test_a_plate_that_says_sealed_against_the_chart_is_asked_about(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    plate(app_database, plant.motor, de_bearing="6313 2RS1")
    assert "The plate's bearing 6313 2RS1 is sealed, the chart has it greased." in page_of(operator, plant.motor)


def test_the_supervisor_goes_from_a_sealed_bearing_to_its_line_of_the_chart(
        operator: FlaskClient, plant: Plant, app_database: Database, app: Flask) -> None:
    chart(app_database, plant.motor, kind="sealed", interval_days=None)
    supervisor = sign_in(app.test_client(), plant.supervisor)
    page = supervisor.get(f"/motors/{plant.motor.id}/grease?end=DE").get_data(as_text=True)
    assert f'href="/motors/{plant.motor.id}/chart/DE"' in page


def test_a_bearing_in_oil_leads_to_the_oil_page(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, kind="oil", lubricant="VG 32", grease_g=None, thickener=None)
    page = page_of(operator, plant.motor)
    assert "Runs in oil : VG 32. Nothing to grease." in page


def test_a_thickener_that_does_not_mix_is_act_now_and_another_lubricant_this_shift(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    # lithium complex on polyurea: incompatible in the Bureau of Reclamation's grid (FIST 2-4, Table 2)
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    assert "not motor grease NLGI 2 (lubrication chart)" in asked(operator, plant.motor, lubricant="another grease")
    assert "This shift · wrong lubricant" in greased(operator, plant.motor, lubricant="another grease", why="none left")
    page = asked(operator, plant.motor, end="ODE", lubricant="another grease", thickener="lithium complex")
    assert "ODE given lithium complex on polyurea: incompatible" in page
    page = greased(operator, plant.motor, end="ODE", lubricant="another grease", thickener="lithium complex",
                   why="wrong gun taken")
    assert "Act now · wrong lubricant · fan end (ODE)" in page
    assert "Never add another thickener without the lubrication owner's word" in page


def test_the_grid_of_thickeners_stands_beside_the_choice_of_another_lubricant(
        operator: FlaskClient, plant: Plant) -> None:
    page = page_of(operator, plant.motor)
    assert "What mixes with polyurea" in page
    assert "✗ lithium complex : incompatible" in page
    grid = words_of(operator.get("/lubrication/thickeners"))
    assert "US Bureau of Reclamation FIST 2-4 (November 1990), Table 2" in grid


# guns ------------------------------------------------------------------------------------------------------


def test_a_gun_kept_to_a_lubricant_says_what_was_given(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    key = gun(app_database, plant, lubricant="motor grease NLGI 2", thickener="polyurea")
    greased(operator, plant.motor, lubricant=None, grams=None, gun=key, strokes="22")
    row = greasings_of(app_database, plant.motor)[0]
    assert (row.lubricant, row.thickener) == ("motor grease NLGI 2", "polyurea")


def test_the_wrong_gun_is_the_wrong_grease(operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    key = gun(app_database, plant, "Gun 2", lubricant="Red EP", thickener="lithium complex")
    assert "DE given lithium complex on polyurea" in asked(
        operator, plant.motor, lubricant=None, grams=None, gun=key, strokes="22")
    answer = grease(operator, plant.motor, lubricant=None, lubricant_is="chart", grams=None, gun=key, strokes="22")
    assert answer.status_code == 422 and marked(answer) == {"gun"}
    assert "Gun 2 holds Red EP." in words_of(answer)


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"strokes": "17", "grams": None}, "gun"), ({"strokes": "17", "grams": None, "gun": "99"}, "gun"),
    ({"strokes": "12,5,1", "grams": None}, "strokes"), ({"strokes": "", "grams": None}, "strokes"),
    ({"lubricant": None}, "lubricant"), ({"lubricant_is": "other", "lubricant": None}, "lubricant"),
    ({"lubricant_is": "chart", "lubricant": "Red EP"}, "lubricant"),
    ({"plug": "left"}, "plug_hours"), ({"plug": "left", "plug_at": "half past"}, "plug_at")], ids=str)
def test_what_a_gun_needs_is_asked_at_its_field(
        operator: FlaskClient, plant: Plant, app_database: Database, changes: dict[str, str | None],
        wrong: str) -> None:
    gun(app_database, plant)
    answer = grease(operator, plant.motor, **{"why": "asked for", **changes})
    assert answer.status_code == 422 and marked(answer) == {wrong}
    assert greasings_of(app_database, plant.motor) == []


def test_a_guns_stroke_is_shown_in_the_units_own_scale(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    gun(app_database, plant)
    assert "Gun 1, 1.35 g a stroke" in page_of(operator, plant.motor)
    with app_database.writing() as session:
        session.merge(plant.unit).grease = "oz"
        session.commit()
    assert "Gun 1, 0.048 oz a stroke" in page_of(operator, plant.motor)  # 1.35 / 28.3495


def test_strokes_and_weight_must_agree_to_half_a_stroke(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    key = gun(app_database, plant)  # 22 × 1.35 = 29.7 g
    assert "22 strokes of Gun 1 are 29.7 g." in asked(operator, plant.motor, gun=key, strokes="22", grams="31")
    greased(operator, plant.motor, gun=key, strokes="22", grams="30")


# the drain plug --------------------------------------------------------------------------------------------


def test_a_drain_plug_left_out_stands_on_the_sheet_until_it_is_back_in(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, drain_plug=True, last_greased_at=NOW - timedelta(days=80))
    assert "Say where the drain plug is now." in asked(operator, plant.motor)
    greased(operator, plant.motor, plug="left", plug_hours="2")
    with app_database.reading() as session:
        state = temporary.standing(session, plant.unit.id)[0]
    assert (state.kind, state.end, state.expected_end) == ("drain plug out", "DE", NOW + timedelta(hours=2))
    assert "P-101A DE: drain plug out · since 24 Nov 2026, 07:12, Operator" in words_of(operator.get("/sheet"))
    assert "Half-way: drain plug out at DE" in words_of(operator.get(f"/motors/{plant.motor.id}/entry"))
    post_form(operator, f"/temporary/{state.id}/end", {"words": "plug back in"})
    assert "drain plug out is ended. That is a record, not a release." in words_of(operator.get("/sheet"))
    assert "drain plug out" not in words_of(operator.get("/sheet"))


def test_a_plug_that_is_not_there_is_not_asked_for(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, drain_plug=False, last_greased_at=NOW - timedelta(days=80))
    assert "Drain plug now" not in page_of(operator, plant.motor)
    greased(operator, plant.motor)


@pytest.mark.parametrize(("how", "condition", "says"), [
    ("stopped", "running", "This motor is greased stopped; on record it runs. Locked out first"),
    ("stopped", "standby", "This motor is greased stopped. Locked out first"),
    ("running", "running", "This motor is greased running. Sleeves and cords"),
    ("running", "standby", "This motor is greased running; on record it is standby."),
    (None, "running", "The chart does not say whether running or stopped."),
])
def test_running_or_stopped_is_this_motors_own_instruction(
        operator: FlaskClient, plant: Plant, app_database: Database, how: str | None, condition: str,
        says: str) -> None:
    chart(app_database, plant.motor, greased_while=how)
    with app_database.writing() as session:
        session.get_one(Motor, plant.motor.id).condition = condition
        session.commit()
    assert says in page_of(operator, plant.motor).replace(" .", ".")


# at the field ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("changes", "wrong"), [
    ({"lubricant": ""}, "lubricant"), ({"lubricant": "   "}, "lubricant"),
    ({"lubricant": "\x00"}, "lubricant"), ({"lubricant": "x" * 201}, "lubricant"), ({"grams": ""}, "grams"),
    ({"grams": "3 shots"}, "grams"), ({"grams": "-1"}, "grams"), ({"grams": "5001"}, "grams"),
    ({"grams": "nan"}, "grams"), ({"grams": "1.234"}, "grams"), ({"why": "x" * 201}, "why")], ids=str)
def test_what_cannot_be_taken_is_named_at_its_field_and_the_rest_kept(
        operator: FlaskClient, plant: Plant, app_database: Database, changes: dict[str, str | None],
        wrong: str) -> None:
    answer = grease(operator, plant.motor, **{"why": "asked for", **changes})
    assert answer.status_code == 422
    assert marked(answer) == {wrong}
    held = fields_of(answer)
    for name, value in {"grams": "30", "why": "asked for", **changes}.items():
        if name in ("grams", "why"):
            assert held[name] == value
    assert greasings_of(app_database, plant.motor) == []


def test_a_form_without_its_bearing_stores_nothing(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    answer = grease(operator, plant.motor, end=None)
    assert answer.status_code == 422
    assert "Choose the bearing that was greased." in words_of(answer)
    assert greasings_of(app_database, plant.motor) == []


def test_nought_grams_is_an_answer_and_greases_nothing(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=100))
    page = greased(operator, plant.motor, grams="0")
    assert "Amount 0 g: nothing went in, the due date stays" in page
    assert greasings_of(app_database, plant.motor)[0].grams == 0.0
    assert f"{BANNER} 2 bearings" in page
    assert "do not grease again" not in page_of(operator, plant.motor)
    greased(operator, plant.motor)


def test_ounces_are_stored_as_grams_and_shown_as_ounces(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    with app_database.writing() as session:
        session.merge(plant.unit).grease = "oz"
        session.commit()
    assert "1.06 oz , every 90 days" in page_of(operator, plant.motor, None)  # 30 g / 28.3495
    assert "Amount 0.9 oz" in greased(operator, plant.motor, grams="0,9")
    assert greasings_of(app_database, plant.motor)[0].grams == pytest.approx(25.51457)  # 0.9 × 28.349523


@on_both
def test_a_greasing_sent_twice_is_one_and_with_another_amount_it_is_told(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    key = str(uuid.uuid4())
    first = grease(operator, plant.motor, key, plug="left", plug_hours="2")
    clock.advance(seconds=3)
    again = grease(operator, plant.motor, key, plug="left", plug_hours="2")
    assert first.location == again.location == f"/greasings/{key}"
    assert "stored before" in words_of(operator.get(again.location))
    other = grease(operator, plant.motor, key, grams="31")
    assert other.status_code == 409
    assert "The stored greasing is unchanged" in words_of(other)
    assert [g.grams for g in greasings_of(app_database, plant.motor)] == [30.0]
    with app_database.reading() as session:
        assert len(temporary.standing(session, plant.unit.id)) == 1


def test_a_motor_that_may_start_by_itself_says_so_before_the_gun_goes_on(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        made = make_motor(session, session.merge(plant.unit), "P-300", interlock="low-voltage release",
                          condition="standby")
        session.commit()
    says = "May start by itself when voltage returns: stay clear."
    assert page_of(operator, made, None).index(says) < page_of(operator, made, None).index("Grease the")
    page = page_of(operator, made)
    assert page.index(says) < page.index("Lubricant given")


def test_fresh_grease_says_until_when_warmth_is_expected(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    chart(app_database, plant.motor, last_greased_at=NOW - timedelta(days=80))
    assert "Warmth is expected until 25 Nov 2026, 07:12 ; then it must settle back" in greased(operator, plant.motor)
