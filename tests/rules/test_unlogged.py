"""A motor that runs, stood before, and has no start between: a question, and a start that counts until it is logged."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.rules import sheet, unlogged
from app.rules.facts import History
from app.rules.findings import WATCH
from app.rules.starting import NOT_BEFORE, YES
from app.rules.starting_check import OUTSIDE, check_start
from app.rules.starting_facts import DID_NOT_START, StartRecord
from tests.rules.plant import LIMITS, NOW, facts, of, quiet, reading
from tests.rules.starts_plant import BY_PRACTICE, G305, K201, ask, at, did, record, told

STOOD = NOW - timedelta(hours=12)


@pytest.mark.parametrize(("state", "stood", "asked"), [
    ("running", True, True), ("running", False, False), ("standby", True, False), ("out of service", True, False)])
def test_a_running_motor_that_stood_and_that_nobody_started_is_asked_about(state: str, stood: bool,
                                                                           asked: bool) -> None:
    found = sheet.judge(facts(quiet(state), history=History(stood_at=STOOD if stood else None)), LIMITS)
    assert of(unlogged.RULE, found) == ([(None, WATCH)] if asked else [])


@pytest.mark.parametrize(("before", "ago"), [
    (timedelta(seconds=5), "1 min"), (timedelta(minutes=40), "40 min"), (timedelta(hours=12), "12 h"),
    (timedelta(days=3), "3 days")])
def test_the_question_says_how_long_ago_it_stood_and_blames_nobody(before: timedelta, ago: str) -> None:
    says = unlogged.check(facts(reading(), history=History(stood_at=NOW - before)), LIMITS)[0].says
    assert says == (f"Runs; it stood {ago} ago, and the start log has no start since. Who or what started it? "
                    "Log it with its time: every start counts.")


@pytest.mark.parametrize("interlock", ["low-voltage release", "automatic start"])
def test_a_motor_that_may_start_by_itself_is_asked_about_that(interlock: str) -> None:
    given = facts(reading(), motor={"interlock": interlock}, history=History(stood_at=STOOD))
    assert f"by itself ({interlock})?" in unlogged.check(given, LIMITS)[0].says
    assert len(unlogged.check(given, LIMITS)[0].says.split()) <= 30


def not_logged(clock: str) -> StartRecord:
    return StartRecord(at(clock), logged=False)


#: 250 hp: one start an hour. 25 hp: three, 20 min apart, 15 min of running between (general practice).
COUNTED = [
    ("large, seen running 10:00", K201, record(not_logged("10:00"), stops=("10:30",)), "10:59", "not before 11:00:00"),
    ("large, an hour after", K201, record(not_logged("10:00"), stops=("10:30",)), "11:00", YES),
    ("small, 20 min apart", G305, record(not_logged("10:00"), stops=("10:16",)), "10:19", "not before 10:20:00"),
    ("small, one of three", G305, record(not_logged("10:00"), stops=("10:16",)), "10:20", YES),
    # a logged run of 5 min would begin a series of tries and allow the next at once: 10:19 would be yes, try 2 of 3
    ("it may have run 5 min, and it opens no tries", G305, record(not_logged("10:00"), stops=("10:05",)), "10:19",
     "not before 10:20:00"),
    # two failed tries, then found running 10:10 and stopped 10:12: no full run is known, so one more try is used
    ("it uses up a try", G305, record(*did(DID_NOT_START, "10:00"), not_logged("10:10"), stops=("10:12",)), "10:20",
     "yes, try 3 of 3"),
    ("a full run after it ends the tries", G305,
     record(*did(DID_NOT_START, "10:00"), not_logged("10:10"), stops=("10:26",)), "10:30", YES),
]


@pytest.mark.parametrize(("motor", "history", "clock", "answer"), [c[1:] for c in COUNTED], ids=[c[0] for c in COUNTED])
def test_a_start_that_nobody_logged_counts_as_late_as_it_can_have_been(motor: object, history: object, clock: str,
                                                                       answer: str) -> None:
    assert told(ask(clock, history, motor)) == answer  # type: ignore[arg-type]


def test_the_answer_says_that_a_start_it_counts_is_not_logged() -> None:
    large = record(not_logged("10:00"), stops=("10:30",))
    assert "1 of 1 starts used in 60 min, 1 of them not logged" in ask("10:59", large, K201).says
    small = record(not_logged("10:00"), stops=("10:16",))
    assert "20 min between starts, the last not logged" in ask("10:19", small, G305).says
    assert "1 of 3 used in 60 min, 1 of them not logged" in ask("10:20", small, G305).says
    assert "not logged" not in ask("11:00", large, K201).says
    assert ask("10:59", large, K201).answer == NOT_BEFORE


def test_a_start_too_soon_after_one_that_nobody_logged_is_told_so() -> None:
    before = record(not_logged("10:00"), stops=("10:30",))
    found = check_start(StartRecord(at("10:45")), K201, BY_PRACTICE, before, limits=LIMITS)
    assert [f.rule for f in found] == [OUTSIDE]
    assert "2 starts in 60 min, 1 allowed, 1 of them not logged" in found[0].says
    assert len(found[0].says.split()) <= 30
