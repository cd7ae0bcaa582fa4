"""What a trip asks for before a start, and who may do it. Common practice, no published source; the duty not to close
again on a fault before it is shown safe is OSHA 29 CFR 1910.334(b)(2), from memory."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.rules import trips
from app.rules.starting_facts import TripRecord
from app.rules.trips import HEAD_OPERATOR, OPERATOR, PROTECTIONS, QUALIFIED, trip_guide
from tests.rules.starts_plant import BY_TABLE, P101A, ask, at, later, record, told

FIND = "no, find the cause"
SHIFT = at("06:00")


def trip(clock: str, protection: str, **done: Any) -> TripRecord:
    return TripRecord(at(clock), protection, **done)


def settled(clock: str, **done: Any) -> TripRecord:
    """An overload trip, cooled, cause found, relay reset 20 min after."""
    return trip(clock, "overload relay", cause="blocked strainer", relay_reset_at=later(clock, minutes=20), **done)


CLEARED = {"cleared_at": at("09:50"), "cleared_by": "qualified electrician"}
CASES = [
    ("fuse", (trip("09:00", "fuse"),), FIND),
    ("breaker", (trip("09:00", "circuit breaker"),), FIND),
    ("unknown", (trip("09:00", "unknown"),), FIND),
    ("a word that is none of ours", (trip("09:00", "relay 51"),), FIND),
    ("fuse, cause written, not cleared", (trip("09:00", "fuse", cause="wet box", relay_reset_at=at("09:10")),), FIND),
    ("fuse, cleared by nobody", (trip("09:00", "fuse", cleared_at=at("09:50"), cleared_by="  "),), FIND),
    ("fuse cleared", (trip("09:00", "fuse", **CLEARED),), "yes"),
    ("cleared later than the moment asked", (trip("09:00", "fuse", **{**CLEARED, "cleared_at": at("10:01")}),), FIND),
    ("an older one still stands", (trip("08:00", "fuse"), trip("09:00", "fuse", **CLEARED)), FIND),
    ("low voltage", (trip("09:00", "low voltage"),), "yes"),
    ("overload, nothing done", (trip("09:00", "overload relay"),), FIND),
    ("overload, cause only", (trip("09:00", "overload relay", cause="jam"),), "no"),
    ("overload, reset only", (trip("09:00", "overload relay", relay_reset_at=at("09:10")),), FIND),
    ("overload, cause blank", (trip("09:00", "overload relay", cause=" ", relay_reset_at=at("09:10")),), FIND),
    ("first overload of the shift, settled", (settled("09:00"),), "yes"),
    ("second overload of the shift", (settled("08:00"), settled("09:00")), "no"),
    ("second, head operator agreed", (settled("08:00"), settled("09:00", head_operator_at=at("09:30"))), "yes"),
    ("third, agreed to the second only",
     (settled("08:00"), settled("08:30", head_operator_at=at("08:55")), settled("09:00")), "no"),
    ("the first in the shift's first instant", (settled("06:00"), settled("09:00")), "no"),
    ("one in the shift before", (settled("05:59"), settled("06:00")), "yes"),
    ("two in the shift before, agreed by nobody", (settled("04:00", shift_start=at("00:00")),
                                                   settled("05:00", shift_start=at("00:00"))), "no"),
]


@pytest.mark.parametrize("trips_known, answer", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_a_trip_bars_the_start_until_it_is_settled(trips_known: tuple[TripRecord, ...], answer: str) -> None:
    assert told(ask("10:00", record(trips=trips_known, shift_start=SHIFT), P101A, BY_TABLE)) == answer


def test_a_clearance_is_no_pass_for_the_start_limits() -> None:
    # cleared 09:50; the hour and the rest decide from there on: stopped by the trip at 09:58:40, 90 s
    history = record(trips=(trip("09:00", "fuse", **CLEARED), trip("09:58:40", "low voltage")), stops=("09:58:40",))
    assert told(ask("10:00", history, P101A, BY_TABLE)) == "not before 10:00:10"


def test_the_answer_says_what_is_missing_next() -> None:
    two = record(trips=(settled("08:00"), trip("09:00", "overload relay")), shift_start=SHIFT)
    answer = ask("10:00", two, P101A)
    assert answer.would_change == "On record: cause, relay reset, head operator's agreement."
    assert "find the cause and record it" in answer.says and "09:00:00" in answer.says
    fuse = ask("10:00", record(trips=(trip("09:00", "fuse"),)), P101A)
    assert "call a qualified person" in fuse.says and "head operator" in fuse.would_change


@pytest.mark.parametrize("protection", [*PROTECTIONS, "relay 51"])
def test_what_a_fault_needs_is_left_to_qualified_people(protection: str) -> None:
    steps = trip_guide(protection)
    if trips.is_fault(protection):
        assert "Press nothing, reset nothing" in steps[0].does
        done = [step.who for step in steps]
        assert done.index(QUALIFIED) < done.index(HEAD_OPERATOR)
        assert not any(step.who == OPERATOR for step in steps[1:-1])
    else:
        assert all(step.who == OPERATOR for step in steps)


def order(steps: tuple[trips.Step, ...], *words: str) -> bool:
    """These words stand in the steps in this order."""
    text, places = " ".join(step.does for step in steps), []
    for word in words:
        places.append(text.find(word))
    return -1 not in places and places == sorted(places)


def test_the_order_of_the_guide() -> None:
    assert order(trip_guide("overload relay"), "cool", "Find the cause", "Reset the relay", "Start only")
    assert order(trip_guide("overload relay", by_low_voltage=True), "volts are back", "reset the relay", "Start only")
    assert order(trip_guide("fuse"), "corrected", "fuse replaced", "clearance", "Start only")
    assert order(trip_guide("circuit breaker"), "corrected", "breaker reset", "clearance", "Start only")
    assert order(trip_guide("low voltage", "low-voltage protection"), "volts are back", "Start is enough")


@pytest.mark.parametrize("interlock", ["low-voltage release", "automatic start"])
def test_a_motor_that_restarts_by_itself_is_kept_clear_of(interlock: str) -> None:
    steps = trip_guide("low voltage", interlock)
    assert "Stay clear" in steps[0].does and "automatic start" in steps[1].does


def test_the_second_overload_of_a_shift_goes_to_the_head_operator_before_the_start() -> None:
    steps = trip_guide("overload relay", second_in_shift=True)
    assert steps[-2].who == HEAD_OPERATOR and steps[-1] == trips.START


def test_an_old_trip_of_another_day_is_named_with_its_day() -> None:
    old = replace(trip("09:00", "fuse"), at=at("09:00") - timedelta(days=2))
    assert "09:00:00 on 22 Nov" in ask("10:00", record(trips=(old,)), P101A).says
