"""Start, stop and trip at the motor's page: one tap, the trip's guide, the pre-start check, the first-run watch."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from flask import Flask

from app.rules.prestart_items import ITEMS
from app.store.motors import Motor
from app.store.starts import Start, Stop, Trip
from app.web.times import BadTime, time_seen
from tests import factories
from tests.conftest import Clock, on_both
from tests.factories import Plant, post_form
from tests.starting_ground import CHICAGO, DAY, Ground, PageDoor, at, make_ground, text_of


@pytest.fixture
def ground(app: Flask, clock: Clock, plant: Plant) -> Ground:
    return make_ground(app, clock, plant)


@pytest.fixture
def door(ground: Ground) -> PageDoor:
    return PageDoor(ground)


def change(ground: Ground, tag: str, **columns: Any) -> None:
    with ground.app.extensions["database"].writing() as session:
        motor = session.get_one(Motor, ground.motors[tag])
        for name, value in columns.items():
            setattr(motor, name, value)
        session.commit()


def starts_in(ground: Ground) -> list[tuple[str, datetime]]:
    with ground.app.extensions["database"].reading() as session:
        return [(s.outcome, s.at) for s in session.query(Start).order_by(Start.at)]


# one tap ---------------------------------------------------------------------------------------------------


@on_both
def test_one_tap_is_one_start_however_often_it_is_pressed(door: PageDoor, ground: Ground) -> None:
    key = str(uuid.uuid4())
    for second in (0, 2):
        ground.clock.set(at("10:00") + timedelta(seconds=second))
        answer = post_form(door.client, door.path("M-30"), {"id": key, "what": "ran"})
        assert answer.status_code == 303
    assert starts_in(ground) == [("ran", at("10:00").astimezone(UTC))]
    assert "is on record once" in text_of(door.client.get(door.path("M-30")))


def test_a_page_left_open_stores_nothing_by_its_old_mark_and_says_so(door: PageDoor, ground: Ground) -> None:
    key = str(uuid.uuid4())
    ground.clock.set(at("10:00"))
    post_form(door.client, door.path("M-30"), {"id": key, "what": "ran"})
    ground.clock.set(at("10:30"))
    answer = post_form(door.client, door.path("M-30"), {"id": key, "what": "ran"})
    assert answer.status_code == 422
    assert "Nothing new is stored" in text_of(answer)
    assert f'name="id" value="{key}"' not in text_of(answer)  # the next tap counts
    assert len(starts_in(ground)) == 1


@pytest.mark.parametrize("then", ["stop", "did not start"])
def test_two_buttons_of_one_page_store_the_first_and_say_so(door: PageDoor, ground: Ground, then: str) -> None:
    key = str(uuid.uuid4())
    ground.clock.set(at("10:00"))
    post_form(door.client, door.path("M-30"), {"id": key, "what": "ran"})
    ground.clock.advance(seconds=5)
    answer = post_form(door.client, door.path("M-30"), {"id": key, "what": then})
    assert answer.status_code == 422 and "Nothing new is stored" in text_of(answer)
    assert starts_in(ground) == [("ran", at("10:00").astimezone(UTC))]
    with ground.app.extensions["database"].reading() as session:
        assert session.query(Stop).count() == 0


def test_entered_later_the_difference_is_shown(door: PageDoor, ground: Ground) -> None:
    door.tap("M-30", at("10:41"), "ran", seen_at="10:15")
    page = text_of(door.client.get(door.path("M-30")))
    assert "M-30: ran, 24 Nov 2026, 10:15:00, entered 26 min later." in page
    assert "start, ran (Operator, entered 26 min later)" in page
    assert starts_in(ground) == [("ran", at("10:15").astimezone(UTC))]


@pytest.mark.parametrize("typed, says", [("10:50", "has not come yet"), ("25:00", "is not a time"),
                                         ("soon", "is not a time"), ("²3:00", "is not a time")])
def test_a_time_that_cannot_be_is_refused_at_its_field_and_kept(door: PageDoor, ground: Ground, typed: str,
                                                                 says: str) -> None:
    ground.clock.set(at("10:41"))
    answer = post_form(door.client, door.path("M-30"), {"id": str(uuid.uuid4()), "what": "ran", "seen_at": typed})
    assert answer.status_code == 422
    assert says in text_of(answer) and f'value="{typed}"' in text_of(answer)
    assert starts_in(ground) == []


#: Local now, what is typed, the instant meant in UTC. The hour from 01:00 to 02:00 comes twice on 1 November 2026.
TIMES = [
    ("empty is now", "2026-11-24T10:41:00-06:00", "", "2026-11-24T16:41:00"),
    ("earlier today", "2026-11-24T10:41:00-06:00", "09:05", "2026-11-24T15:05:00"),
    ("yesterday night", "2026-11-24T05:10:00-06:00", "22:30", "2026-11-24T04:30:00"),
    ("two minutes before midnight", "2026-11-25T00:01:00-06:00", "23:58", "2026-11-25T05:58:00"),
    ("the second 01:30", "2026-11-01T01:45:00-06:00", "01:30", "2026-11-01T07:30:00"),
    ("the first 01:30, the second has not come", "2026-11-01T01:10:00-06:00", "01:30", "2026-11-01T06:30:00"),
]


@pytest.mark.parametrize("now, typed, meant", [c[1:] for c in TIMES], ids=[c[0] for c in TIMES])
def test_a_typed_time_is_the_newest_that_has_passed(plant: Plant, now: str, typed: str, meant: str) -> None:
    seen = time_seen(typed, plant.unit, datetime.fromisoformat(now))
    assert seen.astimezone(UTC).isoformat() == f"{meant}+00:00"


@pytest.mark.parametrize("now, typed", [
    ("2027-03-14T03:30:00-05:00", "02:30"),  # skipped that night
    ("2026-11-24T23:59:00-06:00", "00:05"),  # not come, and not 24 hours ago
])
def test_a_time_that_was_not_is_refused(plant: Plant, now: str, typed: str) -> None:
    with pytest.raises(BadTime):
        time_seen(typed, plant.unit, datetime.fromisoformat(now))


# trips -----------------------------------------------------------------------------------------------------


def test_a_trip_while_starting_asks_what_opened_and_nothing_is_chosen(door: PageDoor, ground: Ground) -> None:
    answer = door.tap("M-200", at("13:00:20"), "tripped while starting")
    assert "/trip?at=" in answer.location
    page = text_of(door.client.get(answer.location))
    assert "Which protection opened?" in page and "checked" not in page
    unsaid = post_form(door.client, door.path("M-200", "trip"), {"id": str(uuid.uuid4()), "at": ""})
    assert unsaid.status_code == 422 and "Choose which protection opened" in text_of(unsaid)


#: What opened, the words of the guide, who is named in it.
GUIDES = [
    ("overload relay", ["Let it cool", "Find the cause", "Reset the relay once"], "operator"),
    ("low voltage", ["Wait until the volts are back", "Start is enough"], "operator"),
    ("fuse", ["Leave it stopped", "Only then is the fuse replaced"], "qualified person"),
    ("circuit breaker", ["Leave it stopped", "Only then is the breaker reset"], "qualified person"),
    ("unknown", ["Leave it stopped", "Record the clearance"], "qualified person"),
]


@pytest.mark.parametrize("protection, says, who", GUIDES, ids=[g[0] for g in GUIDES])
def test_what_opened_decides_who_may_do_what(door: PageDoor, protection: str, says: list[str], who: str) -> None:
    page = text_of(door.client.get(door.trip("M-30", at("10:00"), protection)))
    assert all(words in page for words in says)
    assert f"({who})" in page
    after = door.ask("M-30", at("10:05"))
    assert (after.short == "yes") == (protection == "low voltage")


def test_low_voltage_release_comes_back_alone(door: PageDoor) -> None:
    page = text_of(door.client.get(door.trip("G-305", at("10:00"), "low voltage")))
    assert "it restarts by itself when the volts return" in page
    assert "May start by itself" in page and "Start is enough" not in page


@on_both
@pytest.mark.parametrize("protection", ["fuse", "circuit breaker", "unknown"])
def test_a_fault_waits_for_a_qualified_persons_clearance(door: PageDoor, ground: Ground, protection: str) -> None:
    where = door.trip("M-30", at("10:00"), protection)
    words = {"qualified_name": "E. Marsh, electrician", "found": "cable end re-made, tested"}
    for act, fields in (("clear", words), ("agree", {"found": "fine"})):
        assert post_form(door.client, f"{where}/{act}", fields).status_code == 403
    assert post_form(door.client, f"{where}/reset", {"cause": "fine"}).status_code == 409
    assert post_form(door.client, door.path("M-30", "release"), {"cause": "fine"}).status_code == 403
    assert door.ask("M-30", at("18:00")).decided_by == "fault trip"
    head = ground.client(ground.plant.head_operator)
    assert post_form(head, f"{where}/clear", {"qualified_name": "", "found": "x"}).status_code == 422
    assert door.ask("M-30", at("18:01")).short == "no"
    assert post_form(head, f"{where}/clear", words).status_code == 303
    page = text_of(head.get(where))
    assert "on the word of E. Marsh, electrician" in page and "(Head Operator)" in page
    assert door.ask("M-30", at("18:02")).short == "yes"


def test_an_overload_relay_is_reset_with_its_cause_and_the_second_needs_the_head_operator(
        door: PageDoor, ground: Ground) -> None:
    cause = "cooled 20 min, cause: blocked strainer"
    first = door.trip("M-30", at("10:00"), "overload relay", cause)
    assert door.ask("M-30", at("10:20")).decided_by == "overload trip"
    assert post_form(door.client, f"{first}/reset", {"cause": ""}).status_code == 422
    assert post_form(door.client, f"{first}/reset", {"cause": cause}).status_code == 303
    assert door.ask("M-30", at("10:21")).short == "yes"
    second = door.trip("M-30", at("12:00"), "overload relay", "the strainer again")
    assert "second overload of this shift" in text_of(door.client.get(second)).lower()
    post_form(door.client, f"{second}/reset", {"cause": "the strainer again"})
    held = door.ask("M-30", at("12:30"))
    assert held.short == "no" and "ask the head operator" in held.says
    assert post_form(door.client, f"{second}/agree", {"found": "x"}).status_code == 403
    # The page leads to the trip also when the shift is over: nobody has agreed yet.
    ground.clock.set(at("18:30"))
    assert f'href="{second}"' in door.ask("M-30", at("18:30")).text
    head = ground.client(ground.plant.head_operator)
    assert post_form(head, f"{second}/agree", {"found": "strainer changed"}).status_code == 303
    assert door.ask("M-30", at("18:31")).short == "yes"


def test_the_first_overload_of_the_next_shift_is_a_first_one(door: PageDoor) -> None:
    for clock in ("17:00", "18:10"):
        where = door.trip("M-30", at(clock), "overload relay", "jam")
        post_form(door.client, f"{where}/reset", {"cause": "jam cleared"})
    assert door.ask("M-30", at("18:40")).short == "yes"


def test_tries_used_up_are_released_by_the_head_operator_with_the_cause(door: PageDoor, ground: Ground) -> None:
    for clock in ("10:00", "10:02", "10:05"):
        door.start("M-50", at(clock), "did not start")
    held = door.ask("M-50", at("10:06"))
    assert "No, find the cause" in held.text and "Call the head operator" in held.text
    head = ground.client(ground.plant.head_operator)
    release = door.path("M-50", "release")
    assert post_form(door.client, release, {"cause": "phase lost"}).status_code == 403
    assert post_form(head, release, {"cause": " "}).status_code == 422
    assert post_form(head, release, {"cause": "phase lost at the starter, put right"}).status_code == 303
    # released, the hour still counts: three starts since 10:00, the next at 11:00
    assert door.ask("M-50", at("10:10")).short == "not before 11:00:00"
    assert post_form(head, release, {"cause": "again"}).status_code == 409


# the pre-start check ---------------------------------------------------------------------------------------


def answers(**other: str) -> dict[str, str]:
    return {"id": str(uuid.uuid4()), **{item.key: "yes" for item in ITEMS}, **other}


def test_after_repair_the_check_comes_first_and_each_answer_has_a_name(door: PageDoor, ground: Ground) -> None:
    change(ground, "K-201", condition="out of service")
    head = ground.client(ground.plant.head_operator)
    put_back = post_form(head, door.path("K-201", "condition"), {"condition": "standby", "why": "repaired"})
    assert put_back.status_code == 303, text_of(put_back)
    due = door.ask("K-201", at("12:00"))
    assert due.short == "no" and "first start after repair" in due.says
    path = door.path("K-201", "prestart")
    left = post_form(door.client, path, {**answers(), "guard": "", "clear_by": "R. Doyle"})
    assert left.status_code == 422 and "Coupling guard on?" in text_of(left) and 'value="R. Doyle"' in text_of(left)
    assert post_form(door.client, path, answers(guard="no", guard_by="R. Doyle")).status_code == 303
    stopped = door.ask("K-201", at("12:10"))
    assert stopped.short == "no" and "Coupling guard on? No (R. Doyle)" in stopped.text
    assert post_form(door.client, path, answers()).status_code == 303
    assert door.ask("K-201", at("12:20")).short == "yes"


def test_a_no_stands_also_where_no_check_was_due_and_after_a_full_one(door: PageDoor) -> None:
    path = door.path("M-30", "prestart")
    post_form(door.client, path, answers())
    door.ground.clock.set(at("09:10"))
    post_form(door.client, path, answers(ground="no"))
    assert door.ask("M-30", at("09:11")).short == "no"


def test_thirty_days_idle_need_a_check_and_an_unchecked_start_is_flagged(door: PageDoor, ground: Ground) -> None:
    later = DAY + timedelta(days=28)  # seen running two days before DAY
    ground.clock.set(later)
    door.client = ground.client(ground.plant.operator)
    assert "first start after long idle" in door.ask("M-30", later).says
    door.tap("M-30", later + timedelta(minutes=5), "ran")
    assert "without its check (first start after long idle)" in text_of(door.client.get(door.path("M-30")))
    assert "First-run watch" in door.ask("M-30", later + timedelta(minutes=6)).text


# the first-run watch ---------------------------------------------------------------------------------------


def test_a_bearing_that_gains_more_than_two_kelvin_a_minute_raises_stop_and_call(
        door: PageDoor, ground: Ground, plant: Plant) -> None:
    with ground.app.extensions["database"].writing() as session:
        motor = session.get_one(Motor, ground.motors["K-201"])
        factories.make_reading(session, motor, plant.operator, at("13:00"), bearing_temp_c_de=30.0)
        session.commit()
    post_form(door.client, door.path("K-201", "prestart"), answers())
    door.tap("K-201", at("13:00"), "ran")
    page = door.ask("K-201", at("13:05")).text
    watch = re.search(r'href="(/starts/[^"]+/watch)"', page)
    assert watch and "Next: 13:10" in page
    for clock, de in (("13:10", "45"), ("13:14", "54")):
        ground.clock.set(at(clock))
        assert post_form(door.client, watch[1], {"id": str(uuid.uuid4()), "de": de}).status_code == 303
        shown = text_of(door.client.get(watch[1]))
        # (45 - 30) / 10 min = 1.5; (54 - 45) / 4 min = 2.25
        assert ("1.5 K" in shown) and ("Stop and call" in shown) == (clock == "13:14")
    assert "2.25 K" in shown
    ground.clock.set(at("13:35"))
    shown = text_of(door.client.get(watch[1]))
    assert "✓ looked" in shown and "due now: 30 min" in shown
    ground.clock.set(at("14:05"))
    assert "✗ missed" in text_of(door.client.get(watch[1]))
    empty = post_form(door.client, watch[1], {"id": str(uuid.uuid4())})
    assert empty.status_code == 422 and "at least one bearing" in text_of(empty)


# what stands beside it -------------------------------------------------------------------------------------


def test_a_standby_pair_shows_hours_proof_and_the_shaft(door: PageDoor, ground: Ground) -> None:
    change(ground, "P-101B", standby_partner="P-101A")
    door.start("P-101B", at("10:00"))
    door.stop("P-101B", at("12:30"))
    page = door.ask("P-101B", at("13:00")).text
    assert "Standby pair" in page and "P-101A" in page and "24 Nov 2026 (0 days since last run)" in page
    assert "not on record" in page
    # the partner that is named shows the pair as well
    other = text_of(door.client.get(f"/motors/{ground.plant.motor.id}/start"))
    assert "Standby pair" in other and "P-101B" in other
    assert "due: a standing spare is turned every 30 days" not in page
    later = DAY + timedelta(days=31)
    ground.clock.set(later)
    door.client = ground.client(ground.plant.operator)
    assert "due: a standing spare is turned every 30 days" in door.ask("P-101B", later).text
    assert post_form(door.client, door.path("P-101B", "turned")).status_code == 303
    assert "due: a standing spare is turned" not in door.ask("P-101B", later).text


def test_the_lock_is_named_with_its_tag_and_owner(door: PageDoor, ground: Ground) -> None:
    change(ground, "P-101B", condition="locked out", condition_at=at("08:00").astimezone(UTC), lock_tag="4471",
           lock_owner="R. Doyle")
    page = door.ask("P-101B", at("10:00"))
    assert page.decided_by == "locked out"
    assert "tag 4471, R. Doyle" in page.text and "safe to work" not in page.text.lower()
    door.tap("P-101B", at("10:01"), "ran")
    said = text_of(door.client.get(door.path("P-101B")))
    assert "Act now" in said and "while its lock is on record" in said
    assert "It runs although its lock is on record" not in said  # the lock stands: it is locked out on record


#: Every page that names a motor that stands and restarts by itself; its own shape and words, on no other motor's.
PLACES = ("/sheet", "/motors", "/review", "/motors/{}", "/motors/{}/start", "/dips", "/motors/{}/entry",
          "/motors/{}/grease?end=DE", "/motors/{}/prestart", "/motors/{}/trip")


@pytest.mark.parametrize("place", PLACES)
def test_stopped_with_low_voltage_release_it_is_unlike_any_other_stopped_motor(ground: Ground, place: str) -> None:
    change(ground, "G-305", condition="standby", condition_at=at("08:00").astimezone(UTC))
    change(ground, "P-550S", condition="standby", condition_at=at("08:00").astimezone(UTC))
    client = ground.client(ground.plant.head_operator)

    def shown(tag: str) -> str:
        answer = client.get(place.format(ground.motors[tag]), follow_redirects=True)
        assert answer.status_code == 200, answer.status
        return re.sub(r"<[^>]+>", "", text_of(answer)).lower()

    def marks(tag: str) -> int:
        return shown(tag).count("may start by itself")

    if "{}" in place:
        assert (marks("G-305"), marks("P-550S")) == (1, 0)
        assert 'd="M20 12a8 8 0 1 1-3-6.2"' in client.get(
            place.format(ground.motors["G-305"]), follow_redirects=True).get_data(as_text=True)
    else:
        assert marks("G-305") == 1


def test_a_trip_of_another_unit_is_not_there(door: PageDoor, ground: Ground, plant: Plant) -> None:
    where = door.trip("M-30", at("10:00"), "fuse")
    with ground.app.extensions["database"].writing() as session:
        other = factories.make_unit(session, "Unit 9")
        stranger = factories.make_person(session, other, "head operator", "stranger")
        session.commit()
    client = factories.sign_in(ground.app.test_client(), stranger)
    assert client.get(where).status_code == 404
    assert post_form(client, f"{where}/clear", {"qualified_name": "x", "found": "y"}).status_code == 404
    with ground.app.extensions["database"].reading() as session:
        assert session.query(Trip).one().acts == []


def test_the_page_states_the_time_and_how_long_without_script(door: PageDoor) -> None:
    for clock in ("10:00", "10:10", "10:20", "10:30", "10:40"):
        door.start("P-101B", at(clock))
    door.stop("P-101B", at("10:41"))
    asked = door.ask("P-101B", at("10:42:30"))
    assert asked.short == "not before 11:00:00"
    assert "17 min 30 s left" in asked.text and "as of 10:42:30" in asked.text and "5 of 5" in asked.text
    said = asked.text.split('<section class="answer')[1].split("</section>")[0]
    assert CHICAGO.key not in said
