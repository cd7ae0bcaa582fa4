"""Starts, stops and trips through JSON and through the page: the same plant, the same answer."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from flask import Flask

from tests.conftest import Clock
from tests.factories import Plant
from tests.starting_ground import CHICAGO, Ground, JsonDoor, PageDoor, at, make_ground, with_token

DOORS = {"json": JsonDoor, "page": PageDoor}


@pytest.fixture
def ground(app: Flask, clock: Clock, plant: Plant) -> Ground:
    return make_ground(app, clock, plant)


@pytest.fixture(params=DOORS)
def door(request: pytest.FixtureRequest, ground: Ground) -> JsonDoor | PageDoor:
    return DOORS[request.param](ground)


#: What happened (r: ran, s: stopped by hand, t: tripped while starting, n: did not start), then what is answered when.
#: Each answer is a hand sum over the table of general practice (common practice, no published source) or NEMA MG 10.
CASES: list[tuple[str, str, str, list[tuple[str, str, str]]]] = [
    ("30 hp, three starts in the hour, 18 min each", "M-30",
     "r10:00 s10:18 r10:20 s10:38 r10:40 s10:58",
     [("10:59", "not before 11:00:00", "3 of 3"), ("10:59:59", "not before 11:00:00", "3 of 3"), ("11:00", "yes", "")]),
    ("30 hp, 20 min apart", "M-30", "r10:00 s10:16",
     [("10:19:59", "not before 10:20:00", "20 min"), ("10:20", "yes", "")]),
    ("200 hp ran half an hour", "M-200", "r13:00 s13:30",
     [("13:31", "not before 14:00:00", "1 of 1"), ("13:59:59", "not before 14:00:00", ""), ("14:00", "yes", "")]),
    ("200 hp tripped while starting", "M-200", "t13:00:20", [("13:00:30", "yes", "Try 2 of 2")]),
    ("200 hp, both tries failed", "M-200", "t13:00:20 n13:01",
     [("13:02", "no", "find the cause"), ("20:30", "no", "find the cause")]),
    ("2,000 hp without a procedure", "M-2000", "", [("10:00", "no", "over 1,500 hp, no written procedure"),
                                                    ("20:30", "no", "no written procedure")]),
    ("50 hp, two failed tries, then the third", "M-50", "n10:00 t10:02",
     [("10:03", "yes", "Try 3 of 3")]),
    ("50 hp, three failed tries", "M-50", "n10:00 t10:02 n10:05", [("10:06", "no", "find the cause"),
                                                                  ("20:30", "no", "find the cause")]),
    ("75 hp 4-pole by the table: five in the hour", "P-101B",
     "r10:00 r10:10 r10:20 r10:30 r10:40 s10:41",
     [("10:42:30", "not before 11:00:00", "5 of 5"), ("10:59:59", "not before 11:00:00", ""), ("11:00", "yes", "")]),
    ("75 hp 4-pole by the table: 90 s of rest", "P-101B", "r11:00 s12:00",
     [("12:01", "not before 12:01:30", "90 s of rest"), ("12:01:30", "yes", "")]),
    ("250 hp 2-pole: the rest is over, the hour is not", "K-201", "t13:00",
     [("13:10", "not before 14:00:00", ""), ("13:20", "not before 14:00:00", "1 of 1"), ("14:00", "yes", "")]),
    ("the unit's procedure: two an hour, 20 min apart", "W-100", "r10:00 s10:01 r10:25 s10:26",
     [("10:30", "not before 11:00:00", "2 of 2"), ("11:00", "yes", "unit's procedure")]),
    ("it runs", "M-30", "r10:00", [("10:30", "no", "running")]),
]


def tell(door: JsonDoor | PageDoor, tag: str, story: str) -> None:
    outcome = {"r": "ran", "t": "tripped while starting", "n": "did not start"}
    for word in story.split():
        if word[0] == "s":
            door.stop(tag, at(word[1:]))
        else:
            door.start(tag, at(word[1:]), outcome[word[0]])


@pytest.mark.parametrize("tag, story, asked", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_the_answer_at_each_moment(door: JsonDoor | PageDoor, tag: str, story: str,
                                   asked: list[tuple[str, str, str]]) -> None:
    tell(door, tag, story)
    for clock, short, says in asked:
        given = door.ask(tag, at(clock))
        assert given.short == short, (clock, given.says)
        assert says in given.says, clock
        assert "safe to" not in given.text.lower()


def test_half_past_the_hour_that_comes_twice_is_an_hour_later(door: JsonDoor | PageDoor) -> None:
    # 1 November 2026: 01:59:59 CDT is followed by 01:00:00 CST. Started 01:50 CDT; 20 min later it is 01:10 CST.
    night = datetime(2026, 11, 1, 1, 50, tzinfo=CHICAGO)
    begun = night.astimezone(UTC)
    door.start("M-30", begun)
    door.stop("M-30", begun + timedelta(minutes=16))
    early = door.ask("M-30", (begun + timedelta(minutes=19)).astimezone(CHICAGO))
    assert early.short.startswith("not before 01:10:00")
    assert "CST" in early.text
    assert door.ask("M-30", (begun + timedelta(minutes=20)).astimezone(CHICAGO)).short == "yes"


def test_what_forbids_it_is_told_in_order_with_its_source(ground: Ground, door: JsonDoor | PageDoor) -> None:
    for clock in ("10:00", "10:02", "10:05"):
        door.start("M-50", at(clock), "did not start")
    assert door.ask("M-50", at("10:06")).decided_by == "tries used up"
    door.trip("M-50", at("10:07"), "fuse")
    assert door.ask("M-50", at("10:08")).decided_by == "fault trip"
    with ground.app.extensions["database"].writing() as session:
        motor = session.get_one(type(ground.plant.motor), ground.motors["M-50"])
        motor.condition, motor.condition_at = "locked out", at("10:09")
        motor.lock_tag, motor.lock_owner = "4471", "R. Doyle"
        session.commit()
    locked = door.ask("M-50", at("10:10"))
    assert (locked.short, locked.decided_by) == ("no", "locked out")
    assert "lock on record" in locked.text


def test_short_starts_are_counted_before_continuous_running(door: JsonDoor | PageDoor) -> None:
    # to 50 hp: six short starts evenly spaced, 10 min; an ordinary start waits 20 min, and 60 after a run of 5 s
    door.start("M-30", at("10:00"))
    door.stop("M-30", at("10:00:05"))
    assert door.ask("M-30", at("10:05"), then="continuous").short == "yes"  # a run of less than 15 min is a try's


# records ---------------------------------------------------------------------------------------------------


def body(tag: str, when: datetime, **more: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "tag": tag, "at": when.isoformat(), "by": "operator", **more}


def send(ground: Ground, kind: str, what: Any) -> Any:
    return ground.app.test_client().post(f"/api/v1/{kind}", json=what, headers=with_token(ground.plant.unit))


def test_tablets_with_wrong_clocks_are_put_in_true_order(ground: Ground) -> None:
    ground.clock.set(at("10:30"))
    # one 7 min fast, one 3 min slow: both started things at a true time of 10:00 and 10:05
    fast = body("M-30", at("10:07"), outcome="did not start", device_now=at("10:37").isoformat())
    slow = body("M-30", at("10:02"), outcome="did not start", device_now=at("10:27").isoformat())
    for one in (slow, fast):
        assert send(ground, "starts", one).status_code == 201
    page = PageDoor(ground).ask("M-30", at("10:31")).text
    first, second = page.index("10:00:00: start"), page.index("10:05:00: start")
    assert second < first  # the newest on top
    assert "tablet's clock 7 min fast" in page and "tablet's clock 3 min slow" in page
    assert JsonDoor(ground).ask("M-30", at("10:31")).says.startswith("Try 3 of 3")


def test_sent_again_it_is_there_already_and_other_content_is_refused(ground: Ground) -> None:
    ground.clock.set(at("10:30"))
    one = body("M-30", at("10:00"), outcome="ran")
    assert [send(ground, "starts", one).status_code for _ in range(2)] == [201, 200]
    assert send(ground, "starts", {**one, "outcome": "did not start"}).status_code == 409
    assert JsonDoor(ground).ask("M-30", at("10:30")).text.count('"starts_last_60_min":1') == 1


#: What was done, in which order; what the last start is flagged with.
BROKEN = [
    ("a fourth in the hour", "M-30", "r10:00 s10:18 r10:20 s10:38 r10:40 s10:58", "10:59", "ran",
     {"started_outside_limits"}),
    ("one minute later it is none", "M-30", "r10:00 s10:18 r10:20 s10:38 r10:40 s10:58", "11:00", "ran", set()),
    ("the last try fails", "M-200", "t13:00:20", "13:01", "did not start", {"tries_used_up"}),
    ("after the last try", "M-200", "t13:00:20 n13:01", "13:02", "ran", {"started_outside_limits", "tries_used_up"}),
    ("2,000 hp without a procedure", "M-2000", "", "10:00", "ran", {"started_outside_limits"}),
    ("89 s of rest by the table", "P-101B", "r11:00 s12:00", "12:01:29", "ran", {"started_outside_limits"}),
    ("90 s of rest by the table", "P-101B", "r11:00 s12:00", "12:01:30", "ran", set()),
]


@pytest.mark.parametrize("tag, story, when, outcome, rules", [c[1:] for c in BROKEN], ids=[c[0] for c in BROKEN])
def test_what_broke_a_limit_is_stored_and_flagged(ground: Ground, tag: str, story: str, when: str, outcome: str,
                                                  rules: set[str]) -> None:
    door = JsonDoor(ground)
    tell(door, tag, story)
    assert set(door.start(tag, at(when), outcome)) == rules
    flags = door.client.get("/api/v1/flags", query_string={"open": "true", "tag": tag},
                            headers=with_token(ground.plant.unit)).json["flags"]
    assert rules <= {flag["rule"] for flag in flags}


def test_a_start_that_arrives_late_changes_what_the_later_ones_broke(ground: Ground) -> None:
    door = JsonDoor(ground)
    for clock in ("10:00", "10:20"):
        door.start("M-30", at(clock))
        door.stop("M-30", at(clock) + timedelta(minutes=18))
    assert door.start("M-30", at("10:50")) == []
    ground.clock.set(at("10:55"))
    late = body("M-30", at("10:40"), outcome="ran")
    assert send(ground, "starts", late).status_code == 201
    flags = door.client.get("/api/v1/flags", query_string={"tag": "M-30"},
                            headers=with_token(ground.plant.unit)).json["flags"]
    assert [(f["rule"], f["last_seen"][11:19]) for f in flags] == [("started_outside_limits", "10:50:00")]


def test_a_stop_that_arrives_late_changes_the_rest_that_was_told(ground: Ground) -> None:
    door = JsonDoor(ground)
    door.start("P-101B", at("10:00"))
    assert door.start("P-101B", at("10:30")) == []  # nobody noted a stop: no rest can be told
    ground.clock.set(at("10:31"))
    assert send(ground, "stops", body("P-101B", at("10:29"))).status_code == 201  # 60 s before
    flags = door.client.get("/api/v1/flags", query_string={"tag": "P-101B"},
                            headers=with_token(ground.plant.unit)).json["flags"]
    assert [f["rule"] for f in flags] == ["started_outside_limits"]


def test_the_past_is_answered_as_it_stood(ground: Ground) -> None:
    door = JsonDoor(ground)
    door.start("M-30", at("10:00"))
    door.stop("M-30", at("10:30"))
    door.start("M-30", at("12:00"))
    ground.clock.set(at("12:30"))

    def then(clock: str) -> str:
        answer = door.client.get("/api/v1/motors/M-30/start-permission", query_string={"at": at(clock).isoformat()},
                                 headers=with_token(ground.plant.unit))
        return str(answer.json["decided_by"])

    assert [then(clock) for clock in ("10:10", "11:00", "12:10")] == [
        "running now", "ordinary start", "running now"]
