"""The shift's review: flags by priority and age, opened in place, seen, noted, closed once; the sheet signed once."""

from __future__ import annotations

import re
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.db import Database
from app.entries import read_reading
from app.recording import Sender, record_reading
from app.store.base import new_id
from app.store.flags import Flag, Note
from app.store.motors import Motor
from app.store.people import HEAD_OPERATOR
from app.store.rounds import Round
from tests.conftest import Clock, on_both
from tests.factories import Plant, make_motor, make_person, post_form, sign_in
from tests.web.at_motor import enter, fields_of, flags_of, greased_lately, words_of


@pytest.fixture
def operator(plant: Plant, client: FlaskClient, app_database: Database) -> FlaskClient:
    greased_lately(app_database, plant.motor)
    return sign_in(client, plant.operator)


@pytest.fixture
def head(app: Flask, plant: Plant, operator: FlaskClient) -> FlaskClient:
    return sign_in(app.test_client(), plant.head_operator)


@pytest.fixture
def second_head(app: Flask, plant: Plant, app_database: Database) -> FlaskClient:
    with app_database.writing() as session:
        made = make_person(session, session.merge(plant.unit), HEAD_OPERATOR, "sam", "Sam Okafor")
        session.commit()
    return sign_in(app.test_client(), made)


@pytest.fixture
def flag(plant: Plant, operator: FlaskClient, app_database: Database) -> Flag:
    """One flag: 92 A of 87 A rated."""
    enter(operator, plant.motor, amps_1="92")
    return flags_of(app_database, plant.motor)[0]


def act(client: FlaskClient, flag: Flag, what: str, text: str | None = None, version: int | None = None,
        **fields: Any) -> TestResponse:
    given = {"version": str(flag.version if version is None else version), **fields}
    return post_form(client, f"/flags/{flag.id}/{what}", given if text is None else {**given, "text": text})


def now_of(database: Database, flag: Flag) -> Flag:
    with database.reading() as session:
        return session.get_one(Flag, flag.id)


def notes_of(database: Database, flag: Flag) -> list[tuple[str, str]]:
    with database.reading() as session:
        return [(n.kind, n.text) for n in session.scalars(sa.select(Note).where(Note.flag_id == flag.id)
                                                          .order_by(Note.id))]


def shown(operator: FlaskClient, plant: Plant, clock: Clock) -> None:
    """Ten minutes on, a reading that shows it: 81 A of 87 A."""
    clock.advance(minutes=10)
    enter(operator, plant.motor, amps_1="81")


def lines_of(page: str) -> list[str]:
    return [words_of(line) for line in re.findall(r'<a class="line".*?</a>', page, flags=re.S)]


# what stands -----------------------------------------------------------------------------------------------


def test_flags_stand_by_priority_and_then_by_age(
        plant: Plant, operator: FlaskClient, head: FlaskClient, app_database: Database, clock: Clock) -> None:
    with app_database.writing() as session:
        made = [make_motor(session, session.merge(plant.unit), tag, route_order=i)
                for i, tag in enumerate(("P-201", "P-202", "P-203", "P-204"), start=2)]
        session.commit()
    greased_lately(app_database, *made)
    for motor, changes in zip(made, ({"cleanliness": "dusty"}, {"amps_1": "92"}, {"look": "smoke"}, {"amps_1": "92"}),
                              strict=True):
        enter(operator, motor, **changes)
        clock.advance(minutes=5)
    lines = lines_of(head.get("/review").get_data(as_text=True))
    assert [re.match(r"(Act now|This shift|Watch) (P-\d+)", line)[0] for line in lines] == [  # type: ignore[index]
        "Act now P-203", "This shift P-202", "This shift P-204", "Watch P-201"]
    assert "07:22 · new not seen yet" in lines[0]


def test_a_flag_opens_in_place_with_the_readings_behind_it(
        plant: Plant, operator: FlaskClient, head: FlaskClient, flag: Flag, clock: Clock) -> None:
    clock.advance(minutes=30)
    enter(operator, plant.motor, amps_1="93", remarks="louder at the coupling")
    closed = head.get("/review").get_data(as_text=True)
    assert "Readings behind it" not in closed
    assert 'aria-expanded="false"' in closed
    page = words_of(head.get(f"/review?open={flag.id}"))
    assert "Readings behind it" in page
    assert "2 readings, 1 shift, 1 person" in page
    assert "92 A 87 A" in page
    assert "93 A 87 A" in page
    assert "louder at the coupling" in page
    assert "Limit from nameplate" in page


def test_without_a_flag_the_page_does_not_say_that_all_is_well(head: FlaskClient) -> None:
    page = words_of(head.get("/review"))
    assert "No flag stands. That says what the rounds found, not that a motor may be worked on." in page


def test_what_stood_over_shifts_says_how_long(
        plant: Plant, operator: FlaskClient, head: FlaskClient, flag: Flag, clock: Clock) -> None:
    clock.set("2026-11-24T18:30:00-06:00")
    enter(operator, plant.motor, amps_1="92")
    assert "2 shifts · 2×" in lines_of(head.get("/review").get_data(as_text=True))[0]


# seen, done, closed ----------------------------------------------------------------------------------------


def test_seen_names_who_and_when_and_the_flag_stands_on(
        head: FlaskClient, flag: Flag, plant: Plant, app_database: Database) -> None:
    answer = act(head, flag, "seen")
    assert answer.location == f"/review?open={flag.id}#flag-{flag.id}"
    stands = now_of(app_database, flag)
    assert (stands.open, stands.seen_by_id) == (True, plant.head_operator.id)
    page = words_of(head.get(f"/review?open={flag.id}"))
    assert "Seen by Head Operator, 24 Nov 2026, 07:12" in page
    assert "Mark seen" not in page


def test_what_was_done_is_noted_and_the_flag_stands_on(head: FlaskClient, flag: Flag, app_database: Database) -> None:
    act(head, flag, "done", "valve throttled at 07:20, shift electrician told by radio")
    stands = now_of(app_database, flag)
    assert (stands.open, stands.action) == (True, "valve throttled at 07:20, shift electrician told by radio")
    assert stands.seen_at is not None  # whoever writes that has seen it
    assert "valve throttled at 07:20" in words_of(head.get(f"/review?open={flag.id}"))


def test_closed_with_what_was_done_it_stands_no_more_and_stays_readable(
        plant: Plant, head: FlaskClient, operator: FlaskClient, flag: Flag, app_database: Database,
        clock: Clock) -> None:
    shown(operator, plant, clock)
    act(head, flag, "close", "strainer cleaned, 81 A after")
    assert lines_of(head.get("/review").get_data(as_text=True)) == []
    assert not now_of(app_database, flag).open
    page = words_of(operator.get(f"/flags/{flag.id}"))
    assert "closed: strainer cleaned, 81 A after (Head Operator)" in page


def test_the_same_again_after_closing_is_a_new_flag_that_names_the_old(
        plant: Plant, head: FlaskClient, operator: FlaskClient, flag: Flag, app_database: Database,
        clock: Clock) -> None:
    shown(operator, plant, clock)
    act(head, flag, "close", "strainer cleaned")
    clock.advance(hours=1)
    enter(operator, plant.motor, amps_1="94")
    new = flags_of(app_database, plant.motor)[0]
    assert new.before_id == flag.id
    assert "Follows the flag closed 24 Nov 2026: strainer cleaned" in words_of(head.get(f"/review?open={new.id}"))


@pytest.mark.parametrize("what", ["done", "close"])
@pytest.mark.parametrize("text", ["", "   ", "\n\t", "\x00\x07", None], ids=ascii)
def test_an_act_without_words_is_refused(
        head: FlaskClient, flag: Flag, app_database: Database, what: str, text: str | None) -> None:
    answer = act(head, flag, what, text)
    assert answer.status_code == 422
    assert "Write what was done, or who was told, when and how." in words_of(answer)
    assert now_of(app_database, flag).open
    assert notes_of(app_database, flag) == []


@pytest.mark.parametrize(("length", "status"), [(1000, 303), (1001, 422)])
def test_words_too_long_are_refused_and_kept(
        head: FlaskClient, flag: Flag, length: int, status: int) -> None:
    text = ("shaft grounded, brush lifted; " * 40)[:length - 1] + "x"
    answer = act(head, flag, "done", text)
    assert answer.status_code == status
    if status == 422:
        assert text in answer.get_data(as_text=True)
        assert "Keep it to 1,000 characters." in words_of(answer)


@on_both
def test_of_two_head_operators_at_once_one_wins_and_the_other_is_told(
        plant: Plant, operator: FlaskClient, head: FlaskClient, second_head: FlaskClient, flag: Flag,
        app_database: Database, clock: Clock) -> None:
    shown(operator, plant, clock)
    looked_at = flag.version  # both have the page open
    assert act(head, flag, "done", "belt tightened", version=looked_at).status_code == 303
    late = act(second_head, flag, "close", "nothing to it", version=looked_at)
    assert late.status_code == 409
    page = words_of(late)
    assert "This flag changed while you looked at it: Head Operator, done, “belt tightened”." in page
    held = fields_of(late)
    assert held["text"] == "nothing to it"
    assert now_of(app_database, flag).open
    assert notes_of(app_database, flag) == [("seen", "seen"), ("done", "belt tightened")]
    decided = act(second_head, flag, "close", "agreed: tightened", version=int(held["version"]))
    assert decided.status_code == 303
    assert not now_of(app_database, flag).open


def test_closed_by_one_the_other_sees_their_own_words_beside_what_was_done(
        plant: Plant, operator: FlaskClient, head: FlaskClient, second_head: FlaskClient, flag: Flag,
        app_database: Database, clock: Clock) -> None:
    shown(operator, plant, clock)
    looked_at = flag.version
    act(head, flag, "close", "strainer cleaned", version=looked_at)
    late = act(second_head, flag, "done", "asked the day crew to look", version=looked_at)
    assert late.status_code == 409
    assert "“strainer cleaned”" in words_of(late)
    assert "Your words: “asked the day crew to look”" in words_of(late)
    assert act(second_head, flag, "seen").status_code == 303
    assert now_of(app_database, flag).closed_why == "strainer cleaned"


def returned(plant: Plant, operator: FlaskClient, clock: Clock) -> None:
    """Two rounds running well under the limit: 80 A of 87 A, the band is 3 % of 87 A."""
    for hour in ("2026-11-24T18:30:00-06:00", "2026-11-25T06:30:00-06:00"):
        clock.set(hour)
        post_form(operator, "/sign-out")
        sign_in(operator, plant.operator)
        enter(operator, plant.motor, amps_1="80")


def test_returned_to_normal_and_unseen_waits_to_be_seen_and_closes_then(
        app: Flask, plant: Plant, operator: FlaskClient, flag: Flag, app_database: Database, clock: Clock) -> None:
    returned(plant, operator, clock)
    head = sign_in(app.test_client(), plant.head_operator)
    assert "returned to normal, unseen" in lines_of(head.get("/review").get_data(as_text=True))[0]
    answer = act(head, flag, "seen")
    assert "It had returned to normal and is closed." in words_of(head.get(answer.location))
    assert (now_of(app_database, flag).open, now_of(app_database, flag).closed_why) == (False, "returned to normal")


def test_seen_first_and_returned_then_it_closes_by_itself(
        plant: Plant, operator: FlaskClient, head: FlaskClient, flag: Flag, app_database: Database,
        clock: Clock) -> None:
    act(head, flag, "seen")
    returned(plant, operator, clock)
    closed = now_of(app_database, flag)
    assert (closed.open, closed.closed_why, closed.closed_by_id) == (False, "returned to normal", None)


# the signature ---------------------------------------------------------------------------------------------


def the_round(database: Database) -> Round:
    with database.reading() as session:
        return session.scalars(sa.select(Round).order_by(Round.starts_at)).first()  # type: ignore[return-value]


def two_more(database: Database, plant: Plant) -> list[Motor]:
    with database.writing() as session:
        made = [make_motor(session, session.merge(plant.unit), tag, route_order=i)
                for i, tag in enumerate(("P-201", "P-202"), start=2)]
        session.commit()
    greased_lately(database, *made)
    return made


def test_a_complete_sheet_is_signed_and_says_by_whom_and_when(
        plant: Plant, operator: FlaskClient, head: FlaskClient, app_database: Database) -> None:
    enter(operator, plant.motor)
    page = words_of(head.get("/review"))
    assert "1 of 1 read" in page
    assert "Sign the sheet" in page
    assert "not seen are flagged" not in page
    answer = post_form(head, f"/rounds/{the_round(app_database).id}/sign")
    signed = words_of(head.get(answer.location))
    assert "Day 2026-11-24 signed." in signed
    assert "signed 24 Nov 2026, 07:12 by Head Operator" in signed
    assert "Sign the sheet" not in signed
    assert flags_of(app_database, plant.motor) == []


def test_motors_not_seen_are_signed_as_not_seen_and_flagged(
        plant: Plant, operator: FlaskClient, head: FlaskClient, app_database: Database) -> None:
    left = two_more(app_database, plant)
    enter(operator, plant.motor)
    page = words_of(head.get("/review"))
    assert "Not seen: P-201 , P-202" in page
    assert "Sign the sheet with 2 not seen" in page
    answer = post_form(head, f"/rounds/{the_round(app_database).id}/sign")
    assert "2 motors were not seen and are flagged." in words_of(head.get(answer.location))
    assert [[(f.rule, f.priority) for f in flags_of(app_database, m)] for m in left] == [
        [("not_checked", "this shift")]] * 2
    assert the_round(app_database).signed_state is not None


def test_a_second_signature_is_refused_in_the_units_own_time_and_the_first_stands(
        plant: Plant, operator: FlaskClient, head: FlaskClient, second_head: FlaskClient, app_database: Database,
        clock: Clock) -> None:
    enter(operator, plant.motor)
    number = the_round(app_database).id
    post_form(head, f"/rounds/{number}/sign")
    clock.advance(minutes=5)
    answer = post_form(second_head, f"/rounds/{number}/sign")
    told = words_of(second_head.get(answer.location))
    assert "was signed before, 24 Nov 2026, 07:12 by Head Operator. That signature stands." in told
    assert the_round(app_database).signed_by_id == plant.head_operator.id


def test_an_entry_that_arrives_after_the_signature_is_shown_and_the_signature_stands(
        plant: Plant, operator: FlaskClient, head: FlaskClient, app_database: Database, clock: Clock) -> None:
    left = two_more(app_database, plant)[0]
    enter(operator, plant.motor)
    number = the_round(app_database).id
    post_form(head, f"/rounds/{number}/sign")
    clock.set("2026-11-24T18:20:00-06:00")  # the tablet was out of reach
    with app_database.writing() as session:
        body = {"id": str(new_id()), "tag": left.tag, "taken_at": "2026-11-24T08:05:00-06:00", "by": "operator",
                "state": "standby", "smoke": "none"}
        record_reading(session, Sender(session.merge(plant.unit), clock.now, person=session.merge(plant.operator)),
                       read_reading(body))
        session.commit()
    page = words_of(head.get(f"/review?round={number}"))
    assert "Received after the signature: P-201 08:05 . The signature stands for what it covered." in page
    assert the_round(app_database).signed_state["done"] == 1  # type: ignore[index]


def test_earlier_sheets_are_reached_from_the_review(
        plant: Plant, operator: FlaskClient, head: FlaskClient, app_database: Database, clock: Clock) -> None:
    enter(operator, plant.motor)
    first = the_round(app_database).id
    post_form(head, f"/rounds/{first}/sign")
    clock.set("2026-11-24T18:30:00-06:00")
    page = head.get("/review").get_data(as_text=True)
    assert "Review, Night shift Tue 24 Nov 2026" in words_of(page)
    assert f'href="/review?round={first}"' in page
    assert "Day 2026-11-24 ✓" in words_of(page)
    assert "Review, Day shift Tue 24 Nov 2026" in words_of(head.get(f"/review?round={first}"))


def test_an_act_on_a_flag_of_an_earlier_sheet_leads_back_to_that_sheet(
        plant: Plant, head: FlaskClient, flag: Flag, app_database: Database, clock: Clock) -> None:
    first = the_round(app_database).id
    clock.set("2026-11-24T18:30:00-06:00")
    assert act(head, flag, "seen", round=str(first)).location == (
        f"/review?round={first}&open={flag.id}#flag-{flag.id}")


@pytest.mark.parametrize("query", ["round=999", "round=x", "round=-1", "round=99999999999999999999999", "round="])
def test_a_sheet_that_is_none_is_not_found(head: FlaskClient, query: str) -> None:
    assert head.get(f"/review?{query}").status_code == 404


@pytest.mark.parametrize("query", ["open=999", "open=x", "open=99999999999999999999999", "open="])
def test_a_flag_that_is_none_opens_nothing(head: FlaskClient, query: str) -> None:
    assert head.get(f"/review?{query}").status_code == 200


# whose job it is -------------------------------------------------------------------------------------------


def test_an_operator_may_read_a_flag_and_act_on_none(
        operator: FlaskClient, flag: Flag, app_database: Database) -> None:
    assert operator.get("/review").status_code == 403
    page = operator.get(f"/flags/{flag.id}")
    assert page.status_code == 200
    assert "Close the flag" not in words_of(page)
    for what in ("seen", "done", "close"):
        assert act(operator, flag, what, "I did").status_code == 403
    assert post_form(operator, f"/rounds/{the_round(app_database).id}/sign").status_code == 403
    assert notes_of(app_database, flag) == []
    assert the_round(app_database).signed_at is None


def test_a_review_in_a_shift_without_a_round_opens_it(
        plant: Plant, head: FlaskClient, app_database: Database) -> None:
    assert "0 of 1 read" in words_of(head.get("/review"))
    assert the_round(app_database).opened_by_id == plant.head_operator.id


def test_words_typed_before_the_sign_in_ended_are_kept(
        head: FlaskClient, flag: Flag, app_database: Database, clock: Clock) -> None:
    held = fields_of(head.get(f"/review?open={flag.id}"))
    clock.advance(hours=15)
    asked = head.post(f"/flags/{flag.id}/close", data={**held, "text": "belt “tightened”"})
    assert asked.status_code == 401
    assert fields_of(asked)["kept"]
    assert now_of(app_database, flag).open


def test_the_motors_that_do_not_run_are_listed_with_their_locks(
        plant: Plant, head: FlaskClient, app_database: Database) -> None:
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        make_motor(session, unit, "P-201", condition="locked out", lock_tag="4471", lock_owner="R. Adeyemi")
        make_motor(session, unit, "P-202", condition="standby", interlock="low-voltage release")
        session.commit()
    page = words_of(head.get("/review"))
    assert "P-201 (locked out, tag 4471)" in page
    assert "P-202 (standby, may start by itself )" in page


