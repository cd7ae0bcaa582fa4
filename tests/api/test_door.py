"""Who may knock at the JSON door, how fast, and how it says no."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask import Flask

from app import guessing
from app.api.door import WRONG_TOKENS
from app.api.pace import Pace
from app.config import Settings
from app.store.people import Token
from tests import factories
from tests.api.door import BASE, PROBLEM, Door, fields_of, make_token
from tests.conftest import Clock, on_both
from tests.entering import greasing_body, reading_body
from tests.factories import Plant

# the token --------------------------------------------------------------------------------------------------

NO_TOKEN: list[dict[str, str]] = [
    {}, {"Authorization": ""}, {"Authorization": "Bearer"}, {"Authorization": "Bearer "},
    {"Authorization": "Bearer rs_wrong"}, {"Authorization": "Basic cnM6cnM="}, {"Authorization": "Bearer é\x01"}]


@pytest.mark.parametrize("headers", NO_TOKEN, ids=repr)
def test_without_a_valid_token_nothing_is_told(app: Flask, plant: Plant, headers: dict[str, str]) -> None:
    answer = app.test_client().get(BASE + "/motors", headers=headers)
    assert (answer.status_code, answer.content_type) == (401, PROBLEM)
    assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert plant.motor.tag not in answer.get_data(as_text=True)


def test_the_word_bearer_is_taken_in_any_letters(door: Door) -> None:
    answer = door.client.get(BASE + "/motors", headers={"Authorization": f"bearer  {door.token}"})
    assert answer.status_code == 200


def test_a_token_to_read_may_not_record_and_one_to_record_may_read(door: Door, reader: Door) -> None:
    assert reader.told("/motors")["motors"] and door.told("/motors")["motors"]
    for path in ("/readings", "/greasings", "/starts", "/stops", "/trips"):
        answer = reader.post(path, {})
        assert (answer.status_code, answer.content_type) == (403, PROBLEM)
    assert reader.told("/readings")["readings"] == []


def test_a_revoked_token_opens_nothing_any_more(app: Flask, door: Door) -> None:
    assert door.get("/motors").status_code == 200
    with app.extensions["database"].writing() as session:
        token = session.query(Token).filter_by(hash=guessing.hash_token(door.token)).one()
        token.revoked_at = factories.NOW
        session.commit()
    assert door.get("/motors").status_code == 401


def test_a_persons_session_opens_no_door_and_a_token_no_page(app: Flask, plant: Plant, door: Door) -> None:
    signed_in = factories.sign_in(app.test_client(), plant.supervisor)
    assert signed_in.get(BASE + "/motors").status_code == 401
    assert door.client.get("/sheet", headers=door.headers).status_code in (302, 303, 401)


def test_each_token_sees_its_own_unit_only(app: Flask, door: Door) -> None:
    with app.extensions["database"].writing() as session:
        other = factories.make_unit(session, "Unit 3")
        factories.make_person(session, other, "operator", "else")
        factories.make_motor(session, other, "Q-1")
        session.commit()
    there = Door(app, make_token(app, other))
    there.send(reading_body(tag="Q-1", by="else", smoke="seen"))
    assert [m["tag"] for m in door.told("/motors")["motors"]] == ["P-101A"]
    assert door.motor("Q-1").status_code == 404
    assert door.told("/flags")["flags"] == door.told("/readings")["readings"] == []
    assert fields_of(door.get("/flags", tag="Q-1"), 404) == []
    assert door.told("/exceptions", week="2026-W48")["rows"] == []
    assert door.get("/motors/Q-1/start-permission").status_code == 404


def test_when_a_token_was_used_is_kept_to_the_minute(app: Flask, door: Door, clock: Clock) -> None:
    def used() -> Any:
        with app.extensions["database"].reading() as session:
            return session.query(Token).filter_by(hash=guessing.hash_token(door.token)).one().last_used_at

    door.get("/limits")
    first = used()
    clock.advance(seconds=30)
    door.get("/limits")
    assert used() == first == factories.NOW
    clock.advance(seconds=31)
    door.get("/limits")
    assert used() == clock.now


# guessing and hurrying --------------------------------------------------------------------------------------


def guess(app: Flask, times: int, address: str = "10.0.0.7") -> list[int]:
    client = app.test_client()
    return [client.get(BASE + "/motors", headers={"Authorization": f"Bearer rs_{i}"},
                       environ_base={"REMOTE_ADDR": address}).status_code for i in range(times)]


def test_wrong_tokens_are_told_to_wait_and_a_right_one_from_there_never(app: Flask, door: Door, clock: Clock) -> None:
    assert guess(app, WRONG_TOKENS + 2) == [401] * WRONG_TOKENS + [429] * 2
    again = app.test_client().get(BASE + "/motors", headers={"Authorization": "Bearer rs_x"},
                                  environ_base={"REMOTE_ADDR": "10.0.0.7"})
    assert (again.status_code, again.content_type, again.headers["Retry-After"]) == (429, PROBLEM, "30")
    right = door.client.get(BASE + "/motors", headers=door.headers, environ_base={"REMOTE_ADDR": "10.0.0.7"})
    assert right.status_code == 200
    assert guess(app, 1, "10.0.0.8") == [401]
    clock.advance(seconds=guessing.LONGEST_WAIT_S)
    assert guess(app, 1) == [401]


def test_wrong_tokens_keep_nobody_from_signing_in_beside_them(app: Flask, plant: Plant) -> None:
    guess(app, 100, "127.0.0.1")  # more than one address may guess wrong at sign-in
    factories.sign_in(app.test_client(), plant.operator)


def test_knocking_without_a_token_is_no_guess(app: Flask, plant: Plant) -> None:
    client = app.test_client()
    assert {client.get(BASE + "/motors").status_code for _ in range(WRONG_TOKENS + 5)} == {401}


def test_a_token_that_asks_too_fast_is_slowed_a_moment_and_never_refused(app: Flask, door: Door) -> None:
    app.extensions["token_pace"] = Pace(per_second=2_000.0, burst_s=0.001, longest_s=0.005)
    assert {door.get("/limits").status_code for _ in range(40)} == {200}


def test_the_pace_lets_a_second_s_worth_come_at_once_then_spaces_it() -> None:
    pace = Pace(per_second=50.0)
    waits = [pace.wait_s(1, 100.0) for _ in range(60)]
    assert waits[:50] == pytest.approx([0.0] * 50, abs=1e-9)
    assert waits[50:] == pytest.approx([0.02 * i for i in range(1, 11)])  # 1/50 s each
    assert pace.wait_s(2, 100.0) == 0.0  # another token is not slowed by it
    assert pace.wait_s(1, 110.0) == 0.0  # nor this one for ever


def test_no_answer_waits_longer_than_the_longest() -> None:
    pace = Pace(per_second=50.0, longest_s=0.25)
    assert max(pace.wait_s(1, 100.0) for _ in range(10_000)) == pytest.approx(0.25)
    assert pace.wait_s(1, 101.3) == 0.0  # after a pause of a second and the longest wait it is as if new


# how it says no ---------------------------------------------------------------------------------------------

NOT_HERE = [("GET", "/nothing", 404), ("POST", "/motors", 405), ("PUT", "/readings", 405), ("DELETE", "/flags", 405),
            ("GET", "/greasings", 405), ("PATCH", "/motors/P-101A", 405), ("GET", "/motors/P-999", 404)]


@pytest.mark.parametrize(("method", "path", "status"), NOT_HERE)
def test_what_is_not_there_is_a_problem_too(door: Door, method: str, path: str, status: int) -> None:
    answer = door.client.open(BASE + path, method=method, headers=door.headers)
    assert (answer.status_code, answer.content_type) == (status, PROBLEM)
    told = answer.get_json()
    assert told["status"] == status and told["detail"]
    if status == 405:
        assert answer.headers["Allow"]


def test_a_page_that_is_not_there_stays_a_page(door: Door) -> None:
    assert door.client.get("/nothing").content_type.startswith("text/html")


@pytest.mark.parametrize("content_type", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_what_is_not_sent_as_json_is_not_guessed_at(door: Door, content_type: str) -> None:
    answer = door.raw("/readings", "{}", content_type)
    assert (answer.status_code, answer.content_type) == (415, PROBLEM)


class TestWithASmallLimit:
    @pytest.fixture
    def settings(self, settings: Settings) -> Settings:
        from dataclasses import replace

        return replace(settings, body_limit=2_000)

    def test_a_body_over_the_limit_is_told_the_limit(self, door: Door) -> None:
        assert door.post("/readings", reading_body(remarks="x" * 1_000)).status_code == 201
        answer = door.post("/readings", reading_body(remarks="x" * 2_000))
        assert (answer.status_code, answer.content_type) == (413, PROBLEM)
        assert "2,000 bytes" in answer.get_json()["detail"]


QUERIES = [
    ("/flags", {"open": "yes"}, "open"), ("/flags", {"opne": "true"}, "opne"), ("/flags", {"after": "-1"}, "after"),
    ("/flags", {"after": "1e3"}, "after"), ("/flags", {"after": "9" * 13}, "after"),
    ("/motors", {"after": "9" * 10}, "after"), ("/flags", {"after": "1." + "9" * 10}, "after"),
    ("/flags", {"after": "7"}, "after"), ("/motors", {"tag": "x"}, "tag"),
    ("/motors", {"after": "²"}, "after"), ("/limits", {"x": "1"}, "x"), ("/motors/P-101A", {"at": "now"}, "at"),
    ("/readings", {"after": "500"}, "after"), ("/readings", {"after": ""}, "after"),
    ("/readings", {"after": "1." + "f" * 31}, "after"), ("/readings", {"after": "1." + "f" * 32 + "\n"}, "after"),
    ("/readings", {"after": "9" * 17 + "." + "f" * 32}, "after"), ("/readings", {"after": "²." + "f" * 32}, "after"),
    ("/readings", {"from": "2026-11-24"}, "from"), ("/readings", {"from": "yesterday"}, "from"),
    ("/readings", {"to": "2026-11-24T07:12:00"}, "to"), ("/readings", {"to": "0001-01-01T00:00:00+14:00"}, "to"),
    ("/readings", {"from": "9999-12-31T23:59:59-14:00"}, "from"),
    ("/readings", {"from": "2026-11-25T00:00:00Z", "to": "2026-11-24T00:00:00Z"}, "from"),
    ("/exceptions", {}, "week"), ("/exceptions", {"week": ""}, "week"), ("/exceptions", {"week": "2026-48"}, "week"),
    ("/exceptions", {"week": "2026-W54"}, "week"), ("/exceptions", {"week": "2027-W53"}, "week"),
    ("/motors/P-101A/start-permission", {"at": "soon"}, "at"),
    ("/motors/P-101A/start-permission", {"then": "maybe"}, "then"),
    ("/flags", {"open": ["true", "false"]}, "open"),
]


FARTHEST = [("/motors", "9" * 9), ("/flags", "9" * 16 + "." + "9" * 9), ("/readings", "9" * 16 + "." + "f" * 32),
            ("/exceptions?week=2026-W48", "9" * 9)]


@on_both
@pytest.mark.parametrize(("path", "after"), FARTHEST, ids=[path for path, _ in FARTHEST])
def test_after_the_farthest_place_there_is_nothing(reader: Door, path: str, after: str) -> None:
    told = reader.told(f"{path}{'&' if '?' in path else '?'}after={after}")
    assert list(told.values()) == [[], None] or list(told.values()) == [None, []]


@pytest.mark.parametrize(("path", "query", "field"), QUERIES)
def test_a_bad_parameter_is_named(reader: Door, path: str, query: dict[str, Any], field: str) -> None:
    assert fields_of(reader.get(path, **query), 400) == [field]


def test_a_parameter_left_empty_is_one_not_given(reader: Door) -> None:
    assert reader.told("/flags", open="", tag="", after="0") == reader.told("/flags")
    assert reader.told("/readings", tag="", **{"from": "", "to": ""})["readings"] == []


def test_greasing_and_reading_hold_the_name_of_the_token_beside_the_persons(app: Flask, plant: Plant) -> None:
    door = Door(app, make_token(app, plant.unit, name="control room"))
    door.send(reading_body())
    door.send(greasing_body(), "/greasings")
    (kept,) = door.told("/readings")["readings"]
    assert (kept["by"], kept["token"]) == ("operator", "control room")


def test_a_minute_of_wrong_tokens_does_not_fill_the_table(app: Flask, plant: Plant, clock: Clock) -> None:
    from app.store.people import FailedTry

    guess(app, 12 * WRONG_TOKENS)
    with app.extensions["database"].reading() as session:
        assert session.query(FailedTry).count() == 10 * WRONG_TOKENS
    clock.now += timedelta(hours=1)
    assert guess(app, 1) == [401]
