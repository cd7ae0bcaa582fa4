"""Handover by the pages: five things nobody typed, given, answered line by line, taken; and never a word too many."""

from __future__ import annotations

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.store.people import HEAD_OPERATOR
from app.store.rounds import newest_rounds
from tests.conftest import Clock, on_both
from tests.factories import Plant, make_motor, make_person, post_form, sign_in
from tests.web.at_motor import enter, greased_lately, words_of

EVENING = "2026-11-24T17:40:00-06:00"


@pytest.fixture
def head(app: Flask, plant: Plant, client: FlaskClient, clock: Clock, app_database: Database) -> FlaskClient:
    """120 A of 87 A rated on P-101A, P-101B locked out, it and P-102 not seen; then evening."""
    with app_database.writing() as session:
        unit = session.merge(plant.unit)
        others = [make_motor(session, unit, tag, route_order=order)
                  for tag, order in (("P-101B", 2.0), ("P-102", 3.0))]
        session.commit()
    greased_lately(app_database, plant.motor, *others)
    operator = sign_in(client, plant.operator)
    enter(operator, plant.motor, amps_1="120")
    post_form(operator, f"/motors/{others[0].id}/condition",
              {"condition": "locked out", "lock_tag": "4471", "lock_owner": "Ida Berg", "why": "seal changed"})
    clock.set(EVENING)
    return sign_in(app.test_client(), plant.head_operator)


@pytest.fixture
def incoming(app: Flask, plant: Plant, app_database: Database) -> FlaskClient:
    with app_database.writing() as session:
        made = make_person(session, session.merge(plant.unit), HEAD_OPERATOR, "sam", "Sam Okafor")
        session.commit()
    return sign_in(app.test_client(), made)


def lines_of(client: FlaskClient, path: str = "/handover/1") -> list[str]:
    return sorted(set(re.findall(r'name="(answer [^"]+)"', client.get(path).get_data(as_text=True))))


@on_both
def test_nobody_types_what_the_record_knows(head: FlaskClient) -> None:
    words = words_of(head.get("/handover"))
    assert "120 A" in words
    assert "tag 4471, owner Ida Berg" in words
    assert "Not seen on Day 2026-11-24" in words
    assert "P-102" in words
    assert "not complete" in words


@on_both
def test_not_complete_until_each_line_is_answered_and_then_face_to_face(head: FlaskClient,
                                                                         incoming: FlaskClient) -> None:
    assert post_form(head, "/handover/1/give", {"first": "call the fitter", "words": ""}).status_code == 303
    assert "Not face to face" in words_of(head.get("/handover/1"))
    names = lines_of(incoming)
    assert len(names) >= 3
    some = dict.fromkeys(names[1:], "understood") | {"face_to_face": "yes", "query " + names[1][7:]: "since when?"}
    refused = post_form(incoming, "/handover/1/take", some)
    assert refused.status_code == 422
    assert "1 line is not answered" in words_of(refused)
    assert "since when?" in refused.get_data(as_text=True)
    assert post_form(incoming, "/handover/1/take", {**some, names[0]: "query"}).status_code == 303
    words = words_of(incoming.get("/handover/1"))
    assert "Face to face" in words
    assert "Not face to face" not in words
    assert "taken by" not in words_of(incoming.get("/handover/1")) or "Sam Okafor" in words
    assert "since when?" in words
    assert "call the fitter" in words


@on_both
def test_taken_with_nobody_there_it_says_not_face_to_face(head: FlaskClient, incoming: FlaskClient) -> None:
    names = lines_of(incoming, "/handover/1?take=alone")
    assert post_form(incoming, "/handover/1/take", dict.fromkeys(names, "understood")).status_code == 303
    assert "Not face to face" in words_of(incoming.get("/handover/1"))


def test_the_giver_does_not_take_and_the_question_must_be_answered(head: FlaskClient, incoming: FlaskClient) -> None:
    post_form(head, "/handover/1/give")
    answers = dict.fromkeys(lines_of(incoming), "understood")
    assert "somebody else takes it" in words_of(post_form(head, "/handover/1/take", {**answers, "face_to_face": "yes"}))
    refused = post_form(incoming, "/handover/1/take", answers)
    assert (refused.status_code, "Say whether it was handed over face to face" in words_of(refused)) == (422, True)


def test_words_too_long_stay_on_the_page(head: FlaskClient) -> None:
    refused = post_form(head, "/handover/1/give", {"first": "x" * 2001, "words": "kept words"})
    assert refused.status_code == 422
    assert "kept words" in refused.get_data(as_text=True)


def test_the_operator_reads_it_with_the_sheet_and_gives_nothing(plant: Plant, head: FlaskClient,
                                                                client: FlaskClient) -> None:
    post_form(head, "/handover/1/give")
    assert "Last handover, Day 2026-11-24" in words_of(client.get("/sheet"))
    page = client.get("/handover/1").get_data(as_text=True)
    assert "/give" not in page
    assert "/take" not in page
    assert post_form(client, "/handover/1/give").status_code == 403


@pytest.mark.parametrize("path", ["/handover", "/sheet/1/signed", "/motors/1/timeline", "/review"])
def test_no_page_says_that_anything_is_safe(head: FlaskClient, path: str) -> None:
    post_form(head, "/rounds/1/sign")
    answer = head.get(path)
    assert answer.status_code == 200
    assert "safe" not in words_of(answer).lower()


@on_both
def test_the_history_of_the_motor_shows_what_was_entered(plant: Plant, head: FlaskClient) -> None:
    words = words_of(head.get(f"/motors/{plant.motor.id}/timeline"))
    assert "flag raised" in words
    assert "reading" in words
    assert head.get(f"/motors/{plant.motor.id}/timeline?kind=nothing").status_code == 404
    assert head.get(f"/motors/{plant.motor.id}/timeline?before=x").status_code == 404


@on_both
def test_the_supervisor_sees_who_changed_what_and_others_do_not(app: Flask, plant: Plant, head: FlaskClient) -> None:
    supervisor = sign_in(app.test_client(), plant.supervisor)
    words = words_of(supervisor.get("/changes?words=p-101b"))
    assert "locked out" in words
    assert "Operator" in words
    assert "No change fits" in words_of(supervisor.get("/changes?words=100%25"))
    assert supervisor.get("/changes?before=99999999999999999999").status_code == 200
    assert head.get("/changes").status_code == 403


@on_both
def test_the_numbers_about_the_flags_say_target_now_and_whether_it_is_met(app: Flask, plant: Plant,
                                                                         head: FlaskClient) -> None:
    words = words_of(sign_in(app.test_client(), plant.supervisor).get("/flag-numbers"))
    assert "New flags a round, of the motors" in words
    assert "not met" in words  # one flag of three motors in one round is 33 %
    assert head.get("/flag-numbers").status_code == 403


@on_both
def test_reading_the_handover_of_a_shift_that_nobody_opened_stores_nothing(
        app: Flask, plant: Plant, client: FlaskClient, clock: Clock, app_database: Database) -> None:
    def sheets() -> int:
        with app_database.reading() as session:
            return len(newest_rounds(session, plant.unit.id))

    clock.set(EVENING)
    head = sign_in(client, plant.head_operator)
    words = words_of(head.get("/handover"))
    assert "Not seen on Day 2026-11-24" in words
    assert "Nobody has opened the sheet of this shift yet" in words
    assert "Give this handover" not in words
    assert sheets() == 0
    answer = post_form(head, "/handover", {})
    assert (answer.status_code, sheets()) == (303, 1)
    assert "Give this handover" in words_of(head.get(answer.location))
    assert "Give this handover" in words_of(head.get("/handover"))
