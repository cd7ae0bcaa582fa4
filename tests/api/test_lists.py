"""What the JSON door gives out: motors and their tags, flags, readings, exceptions, limits, start permission."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import quote

import pytest
from flask import Flask

from app.db import Database
from app.export.week import NAMES
from app.rules.limits import DEFAULTS
from app.store.limits import change_limit
from app.store.motors import Motor
from app.store.units import Unit
from tests import factories
from tests.api.door import BASE, Door, make_token, pages_hold
from tests.benchmarks.bulk import load
from tests.conftest import Clock, on_both
from tests.entering import day, greasing_body, night, reading_body
from tests.factories import Plant
from tests.web.test_long_past import STRIDE, explained, watched

# tags -------------------------------------------------------------------------------------------------------

TAGS = ["a/b?c#d", "Pumpe №2", "P‑101A", "1E05", "3-4", "007", "P-101 #2?", "6312-2Z/C3", "50%", "a+b", "a&b=c", "/a",
        "a/", "a//b", "..", "Ünit", "'; --", "P\\1", '"q"', "a/start", "0"]


@pytest.mark.parametrize("tag", TAGS)
def test_a_tag_travels_percent_encoded_and_exactly_as_typed(app: Flask, plant: Plant, door: Door, tag: str) -> None:
    if tag != "P‑101A":  # the same tag as the plant's own P-101A, which is then typed otherwise
        with app.extensions["database"].writing() as session:
            factories.make_motor(session, plant.unit, tag)
            session.commit()
    typed = "P-101A" if tag == "P‑101A" else tag
    assert door.motor(tag).get_json()["tag"] == typed
    door.send(reading_body(tag=tag, smoke="seen"))
    assert {f["tag"] for f in door.told("/flags", tag=tag)["flags"]} == {typed}
    assert [r["tag"] for r in door.told("/readings", tag=tag)["readings"]] == [typed]
    permission = door.get(f"/motors/{quote(tag, safe='')}/start-permission")
    assert permission.status_code == 200 and permission.get_json()["answer"] in ("yes", "not before", "no")


@on_both
@pytest.mark.parametrize("tag", ["P-999", "\0", "P-101A\0", "x" * 5000, "\ufffd", " "])
def test_a_tag_that_nobody_has_is_not_found(door: Door, tag: str) -> None:
    assert door.motor(tag).status_code == 404
    assert door.get("/flags", tag=tag).status_code == 404
    assert door.get("/readings", tag=tag).status_code == 404


def test_bytes_that_are_no_text_are_not_found(door: Door) -> None:
    assert door.client.get(BASE + "/motors/%FF%FE", headers=door.headers).status_code == 404


# motors -----------------------------------------------------------------------------------------------------


def test_a_motor_is_told_with_its_plate_and_its_chart(door: Door) -> None:
    told = door.motor("P-101A").get_json()
    assert told["condition"] == "running" and told["may_start_by_itself"] is False
    assert told["nameplate"]["amps"] == 87.0 and told["nameplate"]["service_factor"] == 1.15
    assert told["lubrication"]["DE"]["grease_g"] == 30.0 and set(told["lubrication"]) == {"DE", "ODE"}


def test_the_register_comes_page_by_page(app: Flask, plant: Plant, door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    pages_hold(monkeypatch, 2)
    with app.extensions["database"].writing() as session:
        for i in range(4):
            factories.make_motor(session, plant.unit, f"P-2{i}")
        session.commit()
    assert all_of(door, "/motors", "motors", "tag") == [["P-101A", "P-20"], ["P-21", "P-22"], ["P-23"]]


def all_of(door: Door, path: str, name: str, key: str) -> list[list[Any]]:
    """Each page's rows, by following `next` until it is null."""
    pages, address = [], BASE + path
    while address:
        answer = door.client.get(address, headers=door.headers).get_json()
        assert set(answer) == {name, "next"}
        pages.append([row[key] for row in answer[name]])
        address = answer["next"]
    return pages


# flags ------------------------------------------------------------------------------------------------------


def test_a_flag_is_told_with_exactly_these_fields(door: Door, clock: Clock) -> None:
    clock.set(night(1))
    door.send(reading_body(current_a=[92.0], by="operator"))
    door.send(reading_body(day(1), current_a=[93.0]))
    told = next(f for f in door.told("/flags")["flags"] if f["rule"] == "amps_over_nameplate")
    says = told.pop("says")
    assert told == {
        "tag": "P-101A", "rule": "amps_over_nameplate", "end": None, "priority": "this shift", "state": "active",
        "value": 93.0, "limit": 87.0, "unit_of_measure": "A", "times_seen": 2,
        "shifts_open": 3,  # day, night, day
        "first_raised": "2026-11-24T07:12:00-06:00", "last_seen": "2026-11-25T07:12:00-06:00", "seen": False}
    assert says.startswith("93 A is 106.9 %")  # 93 / 87


def test_open_flags_are_those_that_are_not_closed(app: Flask, plant: Plant, door: Door, clock: Clock) -> None:
    clock.set(day(1))
    door.send(reading_body(current_a=[92.0], bearing_temp_c={"DE": 92.0}))
    slip = door.send(reading_body(day(0, hours=1), smoke="seen"))
    door.send(reading_body(day(0, hours=1), replaces=slip["id"], replaces_why="steam"))
    rules = {f["rule"]: (f["state"], f["end"]) for f in door.told("/flags")["flags"]}
    assert rules["smoke"] == ("closed", None) and rules["bearing_hot"] == ("active", "DE")
    standing = {f["rule"] for f in door.told("/flags", open="true")["flags"]}
    assert standing == set(rules) - {"smoke"}
    assert door.told("/flags", open="false") == door.told("/flags")


def test_flags_come_page_by_page_and_keep_what_was_asked(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    pages_hold(monkeypatch, 2)
    door.send(reading_body(smoke="seen", guard="missing", cleanliness="dusty"))
    pages = all_of(door, "/flags?open=true&tag=P-101A", "flags", "rule")
    assert [len(p) for p in pages] == [2, 2, 1]  # greasing overdue at both ends as well
    assert "open=true&tag=P-101A&after=" in door.told("/flags", open="true", tag="P-101A")["next"]


# readings ---------------------------------------------------------------------------------------------------


def test_a_reading_is_told_as_it_was_sent_in(door: Door, clock: Clock) -> None:
    clock.set(day(0, hours=1))
    sent = reading_body(
        taken_at="2026-11-24T07:12:00-06:00", smoke="none", guard="in place", ground="loose", leak="none",
        vibration_feel={"DE": "as usual", "ODE": "could not feel"}, vibration_mm_s={"DE": 2.1, "ODE": "not fitted"},
        bearing_feel={"DE": "warm", "ODE": "hot"}, bearing_temp_c={"DE": 63.0, "ODE": "could not read"},
        winding_feel="warm", winding_temp_c=98.0, winding_method="fitted", current_a=[78.0, 79.1, 77.6],
        voltage_v=[461.0, 459.0, 460.0], lubricant={"DE": "ok", "ODE": "low"}, cleanliness="dusty", ambient_c=0.0,
        method="contact", entered_later=True, remarks="=1+1 №2", skip_reason=None, replaces=None, replaces_why=None,
        confirmed=None)
    door.send(sent)
    (told,) = door.told("/readings")["readings"]
    added = {"received_at": "2026-11-24T08:12:00-06:00", "clock_offset_s": 0.0}
    assert {k: v for k, v in told.items() if k != "token"} == {**sent, **added}


def test_readings_are_those_of_a_half_open_span(door: Door, clock: Clock) -> None:
    clock.set(day(9))
    for i in range(3):
        door.send(reading_body(day(i)))

    def days(**query: Any) -> list[str]:
        return [r["taken_at"][8:10] for r in door.told("/readings", **query)["readings"]]

    span = {"from": day(0).isoformat(), "to": day(2).isoformat()}
    assert days(**span) == ["24", "25"]
    assert days(**{**span, "to": (day(2) + timedelta(seconds=1)).isoformat()}) == ["24", "25", "26"]
    assert days() == ["26"]  # the last seven days
    assert days(to=day(1).isoformat()) == ["24"]
    plus = door.client.get(BASE + "/readings?from=2026-11-24T14:12:00+01:00", headers=door.headers)  # + not encoded
    assert len(plus.get_json()["readings"]) == 3


@on_both
@pytest.mark.parametrize("asked", ["", "?tag=P-101A"], ids=["the unit's", "one motor's"])
def test_readings_come_page_by_page_over_the_same_span(door: Door, clock: Clock, monkeypatch: pytest.MonkeyPatch,
                                                       asked: str) -> None:
    pages_hold(monkeypatch, 2)
    clock.set(day(1))
    sent = [door.send(reading_body(day(0, minutes=i)))["id"] for i in range(5)]
    assert all_of(door, f"/readings{asked}", "readings", "id") == [sent[:2], sent[2:4], sent[4:]]


@on_both
def test_no_reading_is_missed_or_given_twice_while_others_come_in_between_two_pages(
        door: Door, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    pages_hold(monkeypatch, 2)
    clock.set(day(1))
    sent = [door.send(reading_body(day(0, minutes=i)))["id"] for i in (5, 6, 6, 6, 6, 7)]
    given, address, minute = [], BASE + "/readings", 0
    while address:
        answer = door.client.get(address, headers=door.headers).get_json()
        given += [row["id"] for row in answer["readings"]]
        address = answer["next"]
        minute += 1  # one from before all that was given, as a tablet without a network brings it, and one from after
        door.send(reading_body(day(0, minutes=minute % 5)))
        if minute < 4:  # later than what was given: seen in this walk
            sent.append(door.send(reading_body(day(0, minutes=7 + minute)))["id"])
    assert len(given) == len(set(given))
    assert set(given) == set(sent)
    times = [at for page in all_of(door, "/readings", "readings", "taken_at") for at in page]
    assert times == sorted(times) and len(times) == len(sent) + minute


@on_both
def test_the_thousandth_page_of_readings_is_found_with_as_little_as_the_first(
        app: Flask, app_database: Database, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    loaded = load(app_database, 3, 230)  # 3 motors, 3 shifts, 230 days: 2,070 readings
    clock.set(loaded.last_at + timedelta(hours=1))
    with app_database.reading() as session:
        unit = session.get_one(Unit, loaded.unit_id)
    span, door = {"from": factories.LONG_AGO.isoformat()}, Door(app, make_token(app, unit))
    pages_hold(monkeypatch, 1_998)
    thousandth = door.told("/readings", **span)["next"]
    pages_hold(monkeypatch, 2)
    done = []
    for address in (None, door.told("/readings", **span)["next"], thousandth):
        with watched(app_database) as asked:
            answer = door.client.get(address, headers=door.headers) if address else door.get("/readings", **span)
        assert len(answer.get_json()["readings"]) == 2 and answer.get_json()["next"]
        if not app_database.is_sqlite:
            explained(app_database, asked)
        done.append(sum(one.work for one in asked))
    assert done[0] > 2, "nothing was counted"
    assert max(done) <= 1.25 * done[0] + (STRIDE if app_database.is_sqlite else 1), done


# exceptions and limits --------------------------------------------------------------------------------------


def test_a_weeks_exceptions_have_the_columns_of_its_file(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    door.send(reading_body(current_a=[92.0]))
    rows = door.told("/exceptions", week="2026-W48")["rows"]
    assert [list(row) for row in rows] == [list(NAMES)] * 3
    assert rows[0]["percent_of_limit"] == 105.7 and rows[0]["first_raised"] == "2026-11-24T07:12:00-06:00"
    assert door.told("/exceptions", week="2026-W47") == {"rows": [], "next": None}
    pages_hold(monkeypatch, 2)
    assert [len(p) for p in all_of(door, "/exceptions?week=2026-W48", "rows", "rule")] == [2, 1]


def test_limits_are_those_in_force_beside_those_shipped(app: Flask, plant: Plant, door: Door) -> None:
    with app.extensions["database"].writing() as session:
        change_limit(session, plant.unit, "bearing_hot_grease_alarm_c", 80.0, None, "by the maker", plant.supervisor,
                     day(-1))
        session.commit()
    told = {row["name"]: row for row in door.told("/limits")}
    assert list(told) == list(DEFAULTS)
    assert told["bearing_hot_grease_alarm_c"] == {"name": "bearing_hot_grease_alarm_c", "value": 80.0, "unit": "°C",
                                                  "default": 90.0, "source": "unit's limit"}
    assert told["bearing_hot_sleeve_alarm_c"]["source"] == "general practice, from memory"


def test_start_permission_is_told_with_exactly_these_fields(app: Flask, plant: Plant, door: Door) -> None:
    with app.extensions["database"].writing() as session:
        session.get_one(Motor, plant.motor.id).condition = "standby"
        session.commit()
    told = door.told("/motors/P-101A/start-permission", at=day(0).isoformat(), then="continuous")
    assert list(told) == ["answer", "not_before", "decided_by", "source", "starts_last_60_min", "tries_left", "says"]
    assert "safe" not in told["says"]


def test_a_greasing_that_is_due_no_more_is_told_so(door: Door) -> None:
    door.send(reading_body())
    door.send(greasing_body(), "/greasings")
    told = {f["end"]: f["state"] for f in door.told("/flags")["flags"] if f["rule"] == "greasing_overdue"}
    assert told == {"DE": "returned to normal", "ODE": "active"}
