"""After a power dip: stay clear of these, these need Start in order, what came back counts, nothing is assumed."""

from __future__ import annotations

import re
from datetime import UTC
from typing import Any

import pytest
from flask import Flask

from app.store.dips import Dip
from app.store.motors import Motor
from app.store.starts import Start, Stop
from tests.conftest import Clock, on_both
from tests.factories import Plant, post_form
from tests.starting_ground import Ground, JsonDoor, PageDoor, at, make_ground, text_of


@pytest.fixture
def ground(app: Flask, clock: Clock, plant: Plant) -> Ground:
    made = make_ground(app, clock, plant)
    clock.set(at("02:10"))
    return made


@pytest.fixture
def door(ground: Ground) -> PageDoor:
    return PageDoor(ground)


def change(ground: Ground, tag: str, **columns: Any) -> None:
    with ground.app.extensions["database"].writing() as session:
        motor = session.get_one(Motor, ground.motors[tag])
        for name, value in columns.items():
            setattr(motor, name, value)
        session.commit()


def log(door: PageDoor, **fields: str) -> str:
    answer = post_form(door.client, "/dips", fields)
    assert answer.status_code == 303, text_of(answer)
    return answer.location


def say(door: PageDoor, dip: str, tag: str, word: str) -> None:
    key = dip.split("=")[1]
    answer = post_form(door.client, f"/dips/{key}/motors/{door.ground.motors[tag]}", {"answer": word})
    assert answer.status_code == 303, text_of(answer)


def section(page: str, title: str) -> str:
    found = re.search(rf'<section class="grouped[^"]*"><h2>(?:<svg.*?</svg>)?[^<]*{title}.*?</section>', page, re.S)
    assert found, title
    return found[0]


def kept(ground: Ground, kind: type[Any], tag: str) -> list[Any]:
    with ground.app.extensions["database"].reading() as session:
        return list(session.query(kind).filter_by(motor_id=ground.motors[tag]).order_by(kind.at))


@on_both
def test_a_motor_that_came_back_has_one_automatic_start_at_the_dip(door: PageDoor, ground: Ground) -> None:
    ground.clock.set(at("02:14"))
    dip = log(door, seen_at="02:10")
    page = text_of(door.client.get(dip))
    assert "Did it come back?" in page and "G-305: Came back by itself" in page
    say(door, dip, "G-305", "did not come back")
    down = text_of(door.client.get(dip))
    assert "may start by itself" in section(down, "Stay clear")
    assert "May start by itself" in door.ask("G-305", at("02:15")).text
    for _ in range(2):
        say(door, dip, "G-305", "came back by itself")
    say(door, dip, "G-305", "did not stop")
    say(door, dip, "G-305", "came back by itself")
    begun = kept(ground, Start, "G-305")
    assert [(s.outcome, s.at) for s in begun] == [("automatic", at("02:10").astimezone(UTC))]
    asked = door.ask("G-305", at("02:20"))
    assert "start, automatic" in asked.text
    assert JsonDoor(ground).ask("G-305", at("02:20")).text.count('"starts_last_60_min":1') == 1
    assert asked.decided_by == "running now"


def test_each_motor_stands_in_the_group_of_what_the_dip_makes_it_do(door: PageDoor, ground: Ground) -> None:
    change(ground, "M-50", condition="locked out", lock_tag="4471", lock_owner="R. Doyle")
    change(ground, "M-30", condition="out of service")
    change(ground, "M-200", interlock=None)
    change(ground, "P-550S", interlock="automatic start")
    door.trip("K-201", at("02:10"), "overload relay")
    page = text_of(door.client.get("/dips"))
    assert all(tag in section(page, "Stay clear: these") for tag in ("G-305", "P-550S"))
    assert "M-200" in section(page, "Not known whether")
    need = section(page, "These need Start")
    others = ("G-305", "M-50", "M-30", "M-200", "P-550S")
    assert ">P-101B<" in need and not any(f">{tag}<" in need for tag in others)
    assert "K-201: overload relay at 24 Nov 2026, 02:10" in section(page, "An overload relay to reset first")
    apart = section(page, "Leave alone")
    assert "4471, R. Doyle" in apart and "M-30" in apart


def test_nothing_is_assumed_until_somebody_says_it(door: PageDoor, ground: Ground) -> None:
    log(door)
    assert kept(ground, Start, "G-305") == kept(ground, Stop, "G-305") == []
    assert "✓" not in text_of(door.client.get("/dips"))


@pytest.mark.parametrize("word, starts, stops, condition", [
    ("started again", 1, 1, "running"), ("did not come back", 0, 1, "standby"), ("left down", 0, 1, "standby"),
    ("did not stop", 0, 0, "running")])
def test_a_motor_that_needs_start_is_ticked_off(door: PageDoor, ground: Ground, word: str, starts: int, stops: int,
                                                condition: str) -> None:
    door.start("P-101B", at("01:00"))
    ground.clock.set(at("02:11"))
    dip = log(door, seen_at="02:10:30")
    say(door, dip, "P-101B", word)
    assert f"✓ {word}" in text_of(door.client.get(dip))
    assert len(kept(ground, Start, "P-101B")) == 1 + starts
    assert [s.at for s in kept(ground, Stop, "P-101B")] == [at("02:10:30").astimezone(UTC)] * stops
    with ground.app.extensions["database"].reading() as session:
        assert session.get_one(Motor, ground.motors["P-101B"]).condition == condition


def test_rest_counts_from_the_dip_that_stopped_it(door: PageDoor, ground: Ground) -> None:
    # 75 hp 4-pole by NEMA MG 10: 90 s of rest; the dip was at 02:10:30, so not before 02:12:00
    door.start("P-101B", at("01:00"))
    ground.clock.set(at("02:11"))
    say(door, log(door, seen_at="02:10:30"), "P-101B", "did not come back")
    assert door.ask("P-101B", at("02:11:10")).short == "not before 02:12:00"


def test_the_order_and_spacing_are_the_head_operators_to_change(door: PageDoor, ground: Ground) -> None:
    order = {"spacing": "30", f"order-{ground.motors['M-30']}": "1", f"order-{ground.motors['K-201']}": "2.5"}
    assert post_form(door.client, "/dips/order", order).status_code == 403
    head = ground.client(ground.plant.head_operator)
    assert post_form(head, "/dips/order", {**order, "spacing": "soon"}).status_code == 422
    assert post_form(head, "/dips/order", order).status_code == 303
    need = section(text_of(head.get("/dips")), "These need Start, in this order, 30 s apart")
    places = [need.index(f">{tag}</a>") for tag in ("M-30", "K-201", "P-101B")]
    assert places == sorted(places) and ">2.5<" in need


def test_two_tablets_log_one_dip(door: PageDoor, ground: Ground) -> None:
    first = log(door, remarks="lights went")
    ground.clock.set(at("02:10:40"))
    assert log(PageDoor(ground)) == first
    ground.clock.set(at("02:30"))
    assert log(door) != first
    with ground.app.extensions["database"].reading() as session:
        assert session.query(Dip).count() == 2


def test_a_wrong_time_is_told_and_what_was_typed_stays(door: PageDoor) -> None:
    answer = post_form(door.client, "/dips", {"seen_at": "2 am", "remarks": "lights went"})
    assert answer.status_code == 422
    page = text_of(answer)
    assert "“2 am” is not a time" in page and 'value="2 am"' in page and 'value="lights went"' in page


def test_yesterdays_ticks_are_not_taken_for_todays(door: PageDoor, ground: Ground) -> None:
    dip = log(door)
    say(door, dip, "G-305", "came back by itself")
    ground.clock.set(at("20:00"))
    door.client = ground.client(ground.plant.operator)
    assert "✓" not in text_of(door.client.get("/dips"))
    assert "✓ came back by itself" in text_of(door.client.get(dip))


def test_a_dip_and_a_motor_of_another_unit_are_not_there(door: PageDoor, ground: Ground) -> None:
    dip = log(door).split("=")[1]
    assert post_form(door.client, f"/dips/{dip}/motors/9999", {"answer": "left down"}).status_code == 404
    assert post_form(door.client, f"/dips/9999/motors/{ground.motors['M-30']}",
                     {"answer": "left down"}).status_code == 404
    assert post_form(door.client, f"/dips/{dip}/motors/{ground.motors['M-30']}", {"answer": "?"}).status_code == 422
