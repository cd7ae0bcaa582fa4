"""The shift's sheet: walking order, what is done, skipped and left, who else looked, what starts by itself."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.entries import read_reading
from app.recording import Sender, record_reading
from app.store.base import new_id
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR, OPERATOR, Token
from app.store.rounds import Reading, Round
from tests.conftest import Clock
from tests.factories import NOW, Plant, make_motor, make_person, make_unit, post_form, sign_in
from tests.web.at_motor import STANDING, enter, fields_of, greased_lately, readings_of, words_of


@pytest.fixture
def operator(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


@pytest.fixture
def walk(plant: Plant, app_database: Database) -> dict[str, Motor]:
    """Four motors in two areas besides the plant's own, entered into the register out of order."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        made = [make_motor(session, unit, "P-104", route_order=4, area="Tank yard"),
                make_motor(session, unit, "P-102", route_order=2, ammeter="control room"),
                make_motor(session, unit, "P-105", area="Tank yard"),  # without an order: at the end
                make_motor(session, unit, "P-103", route_order=3, area="Tank yard", condition="standby")]
        session.commit()
    greased_lately(app_database, *made)
    return {"P-101A": plant.motor, **{m.tag: m for m in sorted(made, key=lambda m: m.tag)}}


def change(database: Database, motor: Motor, **columns: Any) -> None:
    with database.writing() as session:
        for name, value in columns.items():
            setattr(session.get_one(Motor, motor.id), name, value)
        session.commit()


def row_of(page: str, tag: str) -> str:
    """One motor's line of the sheet, as it reads."""
    rows = re.findall(r"<tr.*?</tr>", page, flags=re.S)
    return next(words_of(row) for row in rows if re.search(rf">{tag}</a>", row))


def sheet(client: FlaskClient) -> str:
    answer = client.get("/sheet")
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def skip(client: FlaskClient, motor: Motor, reason: str = "no time this round", **fields: str) -> Any:
    return post_form(client, f"/motors/{motor.id}/skip", {"id": str(uuid.uuid4()), "reason": reason, **fields})


# the walk --------------------------------------------------------------------------------------------------


def test_the_sheet_lists_the_motors_as_they_are_walked_under_their_areas(
        operator: FlaskClient, walk: dict[str, Motor]) -> None:
    page = words_of(sheet(operator))
    places = [page.index(word) for word in (" Feed ", "P-101A", "P-102", " Tank yard ", "P-103", "P-104", "P-105")]
    assert places == sorted(places)


def test_done_skipped_and_left_are_counted_and_the_next_motor_is_one_tap_away(
        operator: FlaskClient, walk: dict[str, Motor]) -> None:
    assert "0 done 0 skipped 5 not seen" in words_of(sheet(operator))
    enter(operator, walk["P-101A"])
    skip(operator, walk["P-103"])
    page = sheet(operator)
    assert "1 done 1 skipped 3 not seen" in words_of(page)
    assert f'<a class="button main" href="/motors/{walk["P-102"].id}/entry">Go to P-102</a>' in page
    assert "skipped: no time this round" in row_of(page, "P-103")
    assert "running" in row_of(page, "P-101A")
    assert "07:12" in row_of(page, "P-101A")
    assert "next" in row_of(page, "P-102")


def test_after_saving_the_walk_goes_on_from_that_motor_and_round_the_corner(
        operator: FlaskClient, walk: dict[str, Motor]) -> None:
    following = {}
    for tag in ("P-103", "P-105", "P-101A", "P-102", "P-104"):
        saved = enter(operator, walk[tag], amps_1=None)
        bar = operator.get(saved.location).get_data(as_text=True).split('<div class="bar">')[1]
        following[tag] = words_of(bar.split("</div>")[0]).split("Sheet ")[1]
    assert following == {"P-103": "Next: P-104", "P-105": "Next: P-101A", "P-101A": "Next: P-102",
                         "P-102": "Next: P-104", "P-104": "Every motor seen or skipped"}
    assert "Every motor is seen or skipped with a reason" in words_of(sheet(operator))


def test_every_entry_of_the_sheet_shows_the_words_of_the_paper(operator: FlaskClient, walk: dict[str, Motor]) -> None:
    enter(operator, walk["P-101A"], vibration_both="not", vibration_feel_DE="rougher than usual",
          vibration_feel_ODE="as usual", bearing_feel_DE="hot", bearing_temp_ODE="61.5", amps_1="92",
          lubricant_both="not", lubricant_DE="ok", lubricant_ODE="low", cleanliness="vents blocked")
    row = row_of(sheet(operator), "P-101A")
    assert "DE rougher (this shift)" in row  # only the end that is not right is named
    assert "61.5" in row
    assert "92 (this shift)" in row
    assert "ODE low (this shift)" in row
    assert "vents (this shift)" in row


def test_what_is_flagged_is_boxed_with_its_shape_and_its_word(operator: FlaskClient, walk: dict[str, Motor]) -> None:
    enter(operator, walk["P-101A"], look="smoke")
    cell = re.search(r'<td><span class="box act"><svg.*?</td>', sheet(operator), flags=re.S)
    assert cell
    assert "running , smoke (act now)" in words_of(cell[0])


def test_a_motor_checked_once_a_day_is_not_due_again_the_same_day(
        operator: FlaskClient, walk: dict[str, Motor], app_database: Database, clock: Clock) -> None:
    change(app_database, walk["P-104"], checked_every="day")
    enter(operator, walk["P-104"])
    clock.set("2026-11-24T18:30:00-06:00")  # the night shift of the same date
    page = sheet(operator)
    assert "checked every day: seen 24 Nov 2026, 07:12" in row_of(page, "P-104")
    assert "0 done 0 skipped 4 not seen" in words_of(page)


def test_a_new_shift_is_a_new_sheet(operator: FlaskClient, plant: Plant, clock: Clock) -> None:
    enter(operator, plant.motor)
    assert "Day shift, Tue 24 Nov 2026" in words_of(sheet(operator))
    clock.set("2026-11-24T18:00:00-06:00")
    page = words_of(sheet(operator))
    assert "Night shift, Tue 24 Nov 2026" in page
    assert "0 done" in page


@pytest.mark.parametrize("role", [OPERATOR, HEAD_OPERATOR])
def test_the_first_to_look_opens_the_sheet_and_nobody_opens_a_second(
        app: Flask, plant: Plant, app_database: Database, role: str) -> None:
    people = [plant.operator, plant.head_operator]
    for person in people if role == OPERATOR else reversed(people):
        client = sign_in(app.test_client(), person)
        client.get("/sheet" if person is plant.operator else "/review")
    with app_database.reading() as session:
        opened = list(session.scalars(sa.select(Round)))
    assert [r.opened_by_id for r in opened] == [(plant.operator if role == OPERATOR else plant.head_operator).id]


def test_an_earlier_sheet_is_to_read_and_leads_to_no_entry(
        operator: FlaskClient, walk: dict[str, Motor], app_database: Database, clock: Clock) -> None:
    enter(operator, walk["P-101A"])
    clock.set("2026-11-24T18:30:00-06:00")
    sheet(operator)
    with app_database.reading() as session:
        first = session.scalars(sa.select(Round).order_by(Round.starts_at)).first()
        assert first is not None
    page = operator.get(f"/sheet/{first.id}").get_data(as_text=True)
    assert "1 done 0 skipped 4 not seen" in words_of(page)
    assert "/entry" not in page
    assert "Go to" not in page


def test_a_register_without_a_motor_says_whom_to_ask(
        app: Flask, plant: Plant, app_database: Database) -> None:
    with app_database.writing() as session:
        empty = make_unit(session, "New unit")
        made = {role: make_person(session, empty, role, sign_in=f"new-{role[0]}") for role in (OPERATOR, "supervisor")}
        session.commit()
    page = words_of(sign_in(app.test_client(), made[OPERATOR]).get("/sheet"))
    assert "No motors are on the register yet. Your supervisor adds them in the register." in page
    assert "Add them in the register." in words_of(sign_in(app.test_client(), made["supervisor"]).get("/sheet"))


# who else looked -------------------------------------------------------------------------------------------


def test_a_second_look_by_another_person_counts_once_and_is_shown_as_also_seen(
        app: Flask, operator: FlaskClient, walk: dict[str, Motor], plant: Plant, clock: Clock) -> None:
    enter(operator, plant.motor)
    clock.advance(minutes=30)
    head = sign_in(app.test_client(), plant.head_operator)
    warned = words_of(head.get(f"/motors/{plant.motor.id}/entry"))
    assert "Already entered this shift: 07:12 by Operator . A second look is kept beside it." in warned
    enter(head, plant.motor, amps_1="83")
    page = sheet(operator)
    assert "1 done" in words_of(page)
    assert "07:42; also seen 07:12, Operator" in row_of(page, "P-101A")
    assert "83" in row_of(page, "P-101A")


def test_a_motor_skipped_first_and_reached_later_is_done(
        operator: FlaskClient, walk: dict[str, Motor], plant: Plant, clock: Clock) -> None:
    skip(operator, plant.motor)
    clock.advance(minutes=30)
    enter(operator, plant.motor)
    page = sheet(operator)
    assert "1 done 0 skipped" in words_of(page)
    assert "also skipped 07:12, Operator" in row_of(page, "P-101A")


def send_from_control_room(database: Database, plant: Plant, motor: Motor, **values: Any) -> None:
    with database.writing() as session:
        token = session.scalar(sa.select(Token)) or Token(
            unit_id=plant.unit.id, name="control room", scope="record", hash="x", created_at=NOW)
        session.add(token)
        session.flush()
        body = {"id": str(new_id()), "tag": motor.tag, "taken_at": NOW.isoformat(), "by": "operator",
                "state": "running", **values}
        unit = session.merge(plant.unit)
        record_reading(session, Sender(unit, NOW + timedelta(seconds=1), token=token), read_reading(body))
        session.commit()


def test_amps_from_the_control_room_need_no_typing_and_stand_on_the_sheet(
        operator: FlaskClient, walk: dict[str, Motor], plant: Plant, app_database: Database, clock: Clock) -> None:
    send_from_control_room(app_database, plant, walk["P-102"], current_a=[79.5])
    clock.advance(minutes=5)
    assert "1 done" not in words_of(sheet(operator))  # values alone are no look
    enter(operator, walk["P-102"], amps_1=None)
    page = sheet(operator)
    assert "1 done" in words_of(page)
    assert "79.5 control room" in row_of(page, "P-102")
    assert "also seen" not in row_of(page, "P-102")


# what stands still and may not stay so ---------------------------------------------------------------------


@pytest.mark.parametrize(("interlock", "condition", "marked"), [
    ("low-voltage release", "standby", True), ("automatic start", "standby", True), ("low-voltage release", None, True),
    ("low-voltage release", "running", False), ("low-voltage protection", "standby", False),
    (None, "standby", False), ("low-voltage release", "locked out", False)])
def test_a_standing_motor_that_may_start_by_itself_is_marked_on_sheet_motor_and_at_the_motor(
        operator: FlaskClient, plant: Plant, app_database: Database, interlock: str | None, condition: str | None,
        marked: bool) -> None:
    change(app_database, plant.motor, interlock=interlock, condition=condition)
    pages = [sheet(operator), *(operator.get(path).get_data(as_text=True) for path in (
        "/motors", f"/motors/{plant.motor.id}", f"/motors/{plant.motor.id}/entry", f"/motors/{plant.motor.id}/grease"))]
    assert ["may start by itself" in words_of(page).lower() for page in pages] == [marked] * 5


def test_a_motor_found_on_standby_keeps_its_mark_after_it_is_done(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    change(app_database, plant.motor, interlock="low-voltage release")
    enter(operator, plant.motor, STANDING)
    assert "standby may start by itself" in row_of(sheet(operator), "P-101A")


def test_a_lock_on_record_is_marked_on_the_sheet_and_at_the_motor(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    change(app_database, plant.motor, condition="locked out", lock_tag="4471", lock_owner="R. Adeyemi")
    assert "lock on record" in row_of(sheet(operator), "P-101A")
    page = words_of(operator.get(f"/motors/{plant.motor.id}/entry"))
    assert "Lock on record: tag 4471, R. Adeyemi. Leave the lock alone: only its owner takes it off." in page


def test_a_motor_seen_running_under_its_lock_is_flagged_and_the_lock_stands(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    change(app_database, plant.motor, condition="locked out", lock_tag="4471", lock_owner="R. Adeyemi")
    page = words_of(operator.get(enter(operator, plant.motor).location))
    assert "Act now · started locked out" in page
    row = row_of(sheet(operator), "P-101A")
    assert "running under a lock" in row
    assert "lock on record" in row
    with app_database.reading() as session:
        assert session.get_one(Motor, plant.motor.id).condition == "locked out"


# skipping --------------------------------------------------------------------------------------------------


def test_a_skip_needs_a_reason(operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    for reason, words in (("", ""), ("", "   "), ("", "\x00\x1f")):
        answer = skip(operator, plant.motor, reason, words=words)
        assert answer.status_code == 422
        assert "Choose a reason, or write one." in words_of(answer)
    assert readings_of(app_database, plant.motor) == []


def test_a_reason_of_ones_own_goes_before_the_button(operator: FlaskClient, plant: Plant,
                                                     app_database: Database) -> None:
    assert skip(operator, plant.motor, words="scaffold in the way").status_code == 303
    stored = readings_of(app_database, plant.motor)[0]
    assert (stored.skip_reason, stored.state, stored.current_a) == ("scaffold in the way", None, ())


def test_a_skip_sent_twice_is_one_skip_and_with_another_reason_it_is_told(
        operator: FlaskClient, plant: Plant, app_database: Database, clock: Clock) -> None:
    key = str(uuid.uuid4())
    assert skip(operator, plant.motor, id=key).status_code == 303
    clock.advance(seconds=2)
    assert skip(operator, plant.motor, id=key).status_code == 303
    assert skip(operator, plant.motor, "could not reach it", id=key).status_code == 409
    assert [r.skip_reason for r in readings_of(app_database, plant.motor)] == ["no time this round"]


def test_a_skipped_motor_leads_on_to_the_next(operator: FlaskClient, walk: dict[str, Motor]) -> None:
    assert skip(operator, walk["P-101A"]).location == f"/motors/{walk['P-102'].id}/entry"


def test_of_a_skipped_motor_nobody_is_told_that_it_was_seen(
        operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    skip(operator, plant.motor)
    (row,) = readings_of(app_database, plant.motor)
    said = words_of(operator.get(f"/entries/{row.id}"))
    assert "Skipped 24 Nov 2026, 07:12" in said
    assert "Seen" not in said


# the signed sheet ------------------------------------------------------------------------------------------


def test_an_operators_entry_on_a_signed_sheet_can_be_corrected_by_the_head_operator_only(
        app: Flask, operator: FlaskClient, plant: Plant, app_database: Database) -> None:
    key = enter(operator, plant.motor).location.rsplit("/", 1)[1]
    head = sign_in(app.test_client(), plant.head_operator)
    head.get("/review")
    with app_database.reading() as session:
        number = session.scalars(sa.select(Round.id)).one()
    post_form(head, f"/rounds/{number}/sign")
    assert "signed" in words_of(sheet(operator))
    assert "Correct this entry" not in words_of(operator.get(f"/entries/{key}"))
    held = fields_of(head.get(f"/entries/{key}/correct"))
    fields = {**{name: value for name, value in held.items() if value}, "replaces_why": "misread"}
    fields.pop("csrf_token")
    refused = post_form(operator, f"/entries/{key}/correct", fields)
    assert refused.status_code == 403
    assert "The sheet is signed." in words_of(refused)
    assert post_form(head, f"/entries/{key}/correct", fields).status_code == 303
    with app_database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(Reading)) == 2
