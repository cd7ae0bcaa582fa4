"""The store of starts, stops and trips under the pages: what a yes is worth, what is kept, order and locks."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.orm import Session

from app import first_run, start_records
from app.db import Database
from app.entries import read_reading, read_start, read_stop, read_trip
from app.observing import observe
from app.recording import Recorded, Sender, record_reading
from app.rules.prestart_items import ITEMS
from app.store import flags
from app.store.changes import note_change
from app.store.motors import Motor
from app.store.starts import RELAY_RESET, Start
from tests import factories
from tests.factories import Plant
from tests.starting_ground import MOTORS, at, make_motors


class Shop:
    """A unit with the motors, everything entered through the records' own functions."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.plant: Plant = factories.make_plant(session)
        self.motors: dict[str, Motor] = make_motors(session, self.plant)

    def sender(self, received_at: datetime) -> Sender:
        return Sender(self.plant.unit, received_at, person=self.plant.operator)

    def body(self, tag: str, when: datetime, **more: Any) -> dict[str, Any]:
        return {"id": str(uuid.uuid4()), "tag": tag, "at": when.isoformat(), "by": "operator", **more}

    def start(self, tag: str, when: datetime, outcome: str = "ran", received_at: datetime | None = None,
              **more: Any) -> Recorded:
        return start_records.record_start(self.session, self.sender(received_at or when),
                                          read_start(self.body(tag, when, outcome=outcome, **more)))

    def stop(self, tag: str, when: datetime, received_at: datetime | None = None) -> None:
        start_records.record_stop(self.session, self.sender(received_at or when), read_stop(self.body(tag, when)))

    def trip(self, tag: str, when: datetime, protection: str) -> Any:
        kept = start_records.record_trip(self.session, self.sender(when),
                                         read_trip(self.body(tag, when, protection=protection)))
        return start_records.starts.trip_by_id(self.session, self.plant.unit.id, kept.id)

    def ask(self, tag: str, when: datetime, **more: bool) -> Any:
        return start_records.permission(self.session, self.plant.unit, self.motors[tag], when, **more)


@pytest.fixture
def shop(database: Database) -> Iterator[Shop]:
    """On both databases."""
    with database.writing() as session:
        yield Shop(session)


@pytest.fixture
def quick_shop(app_database: Database) -> Iterator[Shop]:
    """On SQLite, for many cases one after the other."""
    with app_database.writing() as session:
        yield Shop(session)


@contextmanager
def nothing_kept(shop: Shop) -> Iterator[None]:
    """One case in the shop; the next finds it as it was."""
    case = shop.session.begin_nested()
    try:
        yield
    finally:
        case.rollback()
        shop.session.expire_all()


def rules(kept: Recorded) -> set[str]:
    return {finding.rule for finding in kept.findings}


# what a yes is worth ---------------------------------------------------------------------------------------

#: What may happen next, and after how many seconds: a start with its outcome, a stop, a dip's restart.
STEPS = st.lists(st.tuples(st.sampled_from(["ran", "did not start", "tripped while starting", "automatic", "stop"]),
                           st.sampled_from([5, 30, 89, 90, 400, 899, 900, 1199, 1200, 1800, 3599, 3600, 5000])),
                 max_size=7)
TAGS = [tag for tag, *_ in MOTORS]


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tag=st.sampled_from(TAGS), steps=STEPS, wait_s=st.integers(0, 4000), continuous=st.booleans())
def test_a_start_at_the_moment_of_a_yes_breaks_no_limit(
        quick_shop: Shop, tag: str, steps: list[tuple[str, int]], wait_s: int, continuous: bool) -> None:
    shop = quick_shop
    with nothing_kept(shop):
        now = at("00:10")
        for what, after_s in steps:
            now += timedelta(seconds=after_s)
            if what == "stop":
                shop.stop(tag, now)
            else:
                shop.start(tag, now, what)
        now += timedelta(seconds=wait_s)
        asked = shop.ask(tag, now, then_continuous=continuous)
        kept = shop.start(tag, now, then_continuous=continuous)
        if asked.answer == "yes":
            assert not rules(kept) & {"started_outside_limits", "tries_used_up"}, asked.says
        elif asked.answer == "not before" and not continuous:
            assert "started_outside_limits" in rules(kept), asked.says


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tag=st.sampled_from(TAGS), steps=STEPS)
def test_waiting_as_long_as_told_ends_in_a_yes_and_a_second_less_does_not(
        quick_shop: Shop, tag: str, steps: list[tuple[str, int]]) -> None:
    shop = quick_shop
    with nothing_kept(shop):
        now = at("00:10")
        for what, after_s in steps:
            now += timedelta(seconds=after_s)
            if what == "stop":
                shop.stop(tag, now)
            else:
                shop.start(tag, now, what)
        asked = shop.ask(tag, now)
        if asked.answer == "not before":
            assert shop.ask(tag, asked.not_before).answer == "yes"
            assert shop.ask(tag, asked.not_before - timedelta(seconds=1)).answer == "not before"


# order -----------------------------------------------------------------------------------------------------

ENTRIES = (("start", "10:00"), ("stop", "10:18"), ("start", "10:20"), ("stop", "10:38"), ("start", "10:40"),
           ("stop", "10:58"), ("start", "10:59"))


@pytest.mark.parametrize("order", [o for i, o in enumerate(itertools.permutations(range(7))) if i % 1260 == 5],
                         ids=lambda order: "".join(str(i) for i in order))
def test_in_whatever_order_they_arrive_the_same_start_is_found_to_break_the_limit(shop: Shop,
                                                                                  order: tuple[int, ...]) -> None:
    # three in the hour, 18 min each; the fourth at 10:59 is the one too many
    for minute, i in enumerate(order):
        kind, clock = ENTRIES[i]
        received = at("11:00") + timedelta(minutes=minute)
        if kind == "start":
            shop.start("M-30", at(clock), received_at=received)
        else:
            shop.stop("M-30", at(clock), received_at=received)
    found = {row.at: rules(start_records.recording.answer_of(shop.session, row, True))
             for row in shop.session.query(Start).order_by(Start.at)}
    assert [bool(broken) for broken in found.values()] == [False, False, False, True]
    assert shop.motors["M-30"].condition == "running"
    assert shop.ask("M-30", at("11:30")).decided_by == "running now"


# locks -----------------------------------------------------------------------------------------------------


def lock(shop: Shop, tag: str, when: datetime, before: str, after: str) -> None:
    motor, plant = shop.motors[tag], shop.plant
    motor.condition, motor.condition_at = after.split(",")[0], when
    note_change(shop.session, unit_id=plant.unit.id, at=when, person=plant.head_operator, subject="motor",
                subject_id=motor.id, label=tag, field="condition", before=before, after=after)
    shop.session.flush()


@pytest.mark.parametrize("clock, found", [("07:59", False), ("08:00", True), ("09:59", True), ("10:01", False)])
def test_a_late_start_is_judged_by_the_lock_that_stood_then(shop: Shop, clock: str, found: bool) -> None:
    lock(shop, "M-30", at("08:00"), "standby", "locked out, tag 4471, R. Doyle")
    lock(shop, "M-30", at("10:00"), "locked out, tag 4471, R. Doyle", "standby")
    kept = shop.start("M-30", at(clock), received_at=at("12:00"))
    assert ("started_locked_out" in rules(kept)) == found
    # under the lock, and as the first one after it, a check was due
    assert ("no_prestart_check" in rules(kept)) == (clock >= "08:00")


def test_a_start_under_a_lock_is_kept_flagged_and_the_lock_stands(shop: Shop) -> None:
    lock(shop, "M-30", at("08:00"), "standby", "locked out, tag 4471, R. Doyle")
    assert "started_locked_out" in rules(shop.start("M-30", at("09:00")))
    assert shop.motors["M-30"].condition == "locked out"
    assert shop.ask("M-30", at("09:10")).decided_by == "locked out"


# checks, trips, the watch ----------------------------------------------------------------------------------


def answers(**other: str) -> dict[str, dict[str, str]]:
    return {item.key: {"answer": other.get(item.key, "yes"), "by": "Operator"} for item in ITEMS}


def test_a_check_sent_twice_is_kept_once_as_it_was_first(shop: Shop) -> None:
    key, plant = str(uuid.uuid4()), shop.plant
    first = start_records.keep_prestart(shop.session, plant.unit, shop.motors["M-30"], key, answers(guard="no"),
                                        plant.operator, at("09:00"))
    again = start_records.keep_prestart(shop.session, plant.unit, shop.motors["M-30"], key, answers(),
                                        plant.operator, at("09:01"))
    assert (first, again) == (False, False)
    assert shop.ask("M-30", at("09:02")).decided_by == "pre-start check"


@pytest.mark.parametrize("protection, fitting", [
    ("overload relay", {"relay reset", "head operator agrees"}), ("low voltage", set()), ("fuse", {"cleared"}),
    ("circuit breaker", {"cleared"}), ("unknown", {"cleared"})])
def test_a_trip_takes_only_the_acts_it_asks_for(shop: Shop, protection: str, fitting: set[str]) -> None:
    trip = shop.trip("M-30", at("09:00"), protection)
    assert {kind for kind in start_records.starts.TRIP_ACTS if start_records.fits(trip, kind)} == fitting


def test_an_act_that_was_recorded_is_asked_for_no_more(shop: Shop) -> None:
    trip = shop.trip("M-30", at("09:00"), "overload relay")
    start_records.act_on_trip(shop.session, shop.plant.unit, trip, RELAY_RESET, shop.plant.operator, at("09:20"), None,
                              "jam cleared")
    assert not start_records.fits(trip, RELAY_RESET)
    assert start_records.open_trip(shop.session, shop.plant.unit, shop.motors["M-30"], at("09:21")) is None


#: Minutes after the start at which somebody looked, the minute of now, and how the four prompts stand.
PROMPTS = [
    ("nothing yet", [], 5, ["later"] * 4),
    ("the first is due", [], 10, ["due now", "later", "later", "later"]),
    ("a little early counts", [8.5], 9, ["looked", "later", "later", "later"]),
    ("too early does not", [5], 12, ["due now", "later", "later", "later"]),
    ("missed when the next is due", [], 30, ["missed", "due now", "later", "later"]),
    ("the second looked at", [10, 33], 60, ["looked", "looked", "due now", "later"]),
    ("the last waits half an hour", [10, 30, 60], 149, ["looked", "looked", "looked", "due now"]),
    ("then it is missed", [10, 30, 60], 150, ["looked", "looked", "looked", "missed"]),
]


@pytest.mark.parametrize("looked, minute, stand", [p[1:] for p in PROMPTS], ids=[p[0] for p in PROMPTS])
def test_each_timed_look_is_due_until_the_next_one_is(shop: Shop, looked: list[float], minute: int,
                                                      stand: list[str]) -> None:
    begun = at("13:00")
    shop.start("K-201", begun)
    for after in looked:
        factories.make_reading(shop.session, shop.motors["K-201"], shop.plant.operator,
                               begun + timedelta(minutes=after), bearing_temp_c_de=40.0)
    row = shop.session.query(Start).one()
    found = first_run.prompts(row, first_run.looks(shop.session, row), begun + timedelta(minutes=minute))
    assert [prompt.state for prompt in found] == stand


# a start that nobody logged --------------------------------------------------------------------------------

NOT_LOGGED = "start_not_logged"


def look(shop: Shop, tag: str, when: datetime, state: str, received_at: datetime | None = None) -> set[str]:
    """Somebody looked at the motor and found it in this state; the rules that spoke."""
    body = {"id": str(uuid.uuid4()), "tag": tag, "taken_at": when.isoformat(), "by": "operator", "state": state,
            "smoke": "none"}
    return rules(record_reading(shop.session, shop.sender(received_at or when), read_reading(body)))


def standing(shop: Shop, tag: str) -> list[str]:
    return [f.rule for f in flags.open_flags_of_motor(shop.session, shop.motors[tag].id) if f.rule == NOT_LOGGED]


def test_a_motor_found_running_that_last_stood_is_asked_about_once(shop: Shop) -> None:
    assert NOT_LOGGED not in look(shop, "M-30", at("06:00"), "running")  # how it came to run is older than the record
    assert NOT_LOGGED not in look(shop, "M-30", at("07:00"), "standby")
    assert NOT_LOGGED in look(shop, "M-30", at("09:00"), "running")
    assert NOT_LOGGED not in look(shop, "M-30", at("10:00"), "running")
    assert standing(shop, "M-30") == [NOT_LOGGED]


@pytest.mark.parametrize("began", ["start", "by hand"])
def test_a_motor_whose_start_is_on_record_is_not_asked_about(shop: Shop, began: str) -> None:
    look(shop, "M-30", at("07:00"), "standby")
    if began == "start":
        shop.start("M-30", at("08:00"))
    else:
        motor = shop.motors["M-30"]
        note_change(shop.session, unit_id=shop.plant.unit.id, at=at("08:00"), person=shop.plant.supervisor,
                    subject="motor", subject_id=motor.id, label=motor.tag, field="condition", before="standby",
                    after="running")
        observe(shop.session, motor, "running", at("08:00"))
    assert NOT_LOGGED not in look(shop, "M-30", at("09:00"), "running")


def test_a_recorded_stop_or_trip_makes_the_motor_stand_too(shop: Shop) -> None:
    for tag, ends in (("M-30", shop.stop), ("M-200", lambda tag, when: shop.trip(tag, when, "overload relay"))):
        shop.start(tag, at("06:00"))
        ends(tag, at("07:00"))  # type: ignore[operator]
        assert NOT_LOGGED in look(shop, tag, at("08:00"), "running")


def test_a_start_logged_afterwards_answers_the_question_and_is_counted_once(shop: Shop) -> None:
    look(shop, "M-200", at("07:00"), "standby")
    look(shop, "M-200", at("09:00"), "running")
    shop.stop("M-200", at("09:10"))
    counted = shop.ask("M-200", at("09:30"))
    assert (counted.answer, counted.not_before, counted.starts_last_60_min) == ("not before", at("10:00"), 1)
    shop.start("M-200", at("08:10"), received_at=at("09:35"))
    assert standing(shop, "M-200") == []
    after = shop.ask("M-200", at("09:40"))
    assert (after.answer, after.starts_last_60_min) == ("yes", 0)  # 08:10 has left the hour


def test_a_start_logged_while_it_runs_is_the_one_that_was_asked_about(shop: Shop) -> None:
    """Found running at 09:00 and logged at 09:05 without another time: one start, counted from 09:05."""
    look(shop, "M-200", at("07:00"), "standby")
    look(shop, "M-200", at("09:00"), "running")
    assert "started_outside_limits" not in rules(shop.start("M-200", at("09:05")))  # 200 hp: one start an hour
    flag, = [f for f in flags.open_flags_of_motor(shop.session, shop.motors["M-200"].id) if f.rule == NOT_LOGGED]
    assert flag.returned_at == at("09:05")  # it waits to be seen, as any that has gone
    shop.stop("M-200", at("09:10"))
    asked = shop.ask("M-200", at("09:30"))
    assert (asked.not_before, asked.starts_last_60_min) == (at("10:05"), 1)


def test_a_start_after_a_stop_is_another_one(shop: Shop) -> None:
    look(shop, "M-30", at("07:00"), "standby")
    look(shop, "M-30", at("09:00"), "running")
    shop.stop("M-30", at("09:16"))
    shop.start("M-30", at("09:40"))
    shop.stop("M-30", at("09:56"))
    assert shop.ask("M-30", at("09:58")).starts_last_60_min == 2
    flag, = [f for f in flags.open_flags_of_motor(shop.session, shop.motors["M-30"].id) if f.rule == NOT_LOGGED]
    assert flag.returned_at is None


def test_a_stop_sent_late_by_another_tablet_raises_the_question(shop: Shop) -> None:
    shop.start("M-30", at("06:00"))
    assert NOT_LOGGED not in look(shop, "M-30", at("09:00"), "running")
    shop.stop("M-30", at("08:00"), received_at=at("10:00"))
    assert standing(shop, "M-30") == [NOT_LOGGED]


def test_a_start_sent_late_from_before_the_look_takes_the_question_back(shop: Shop) -> None:
    look(shop, "M-30", at("07:00"), "standby")
    shop.start("M-30", at("08:00"), received_at=at("10:00"))
    assert NOT_LOGGED not in look(shop, "M-30", at("09:00"), "running", received_at=at("10:01"))


def test_a_look_that_arrives_late_is_judged_by_what_stood_before_it(shop: Shop) -> None:
    """It ran at 08:00 and stood from 09:00 on: what was seen at 08:00 is no start after 09:00."""
    look(shop, "M-30", at("07:00"), "running")
    look(shop, "M-30", at("09:00"), "standby")
    assert NOT_LOGGED not in look(shop, "M-30", at("08:00"), "running", received_at=at("09:30"))
