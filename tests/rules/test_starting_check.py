"""What a start on record says: outside the limits, after the last try, over a lock, without its check.

The table's figures are NEMA MG 10 (two hosted pages); the others common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from app.rules.cautions import CAUTIONS
from app.rules.facts import Nameplate
from app.rules.findings import ACT_NOW, THIS_SHIFT
from app.rules.starting_check import LOCKED, OUTSIDE, RULES, UNCHECKED, USED_UP, check_start
from app.rules.starting_facts import (
    AUTOMATIC,
    DID_NOT_START,
    RAN,
    TRIPPED,
    ReleaseRecord,
    StartHistory,
    StartPlan,
    StartRecord,
    TripRecord,
)
from tests.rules.starts_plant import BY_PRACTICE, BY_TABLE, LIMITS, P101A, at, did, plate, ran, record

THREE = record(ran("10:00", 18), ran("10:20", 18), ran("10:40", 18))
FUSE = TripRecord(at("09:00"), "fuse")
OVERLOAD = TripRecord(at("09:00"), "overload relay", cause="jam")
SHORTS = record(*(ran(f"10:{m}", 0.1) for m in ("00", "10", "20", "30", "40")))


def findings(clock: str, history: StartHistory, motor: Nameplate, plan: StartPlan = BY_PRACTICE, outcome: str = RAN,
             **asked: Any) -> list[tuple[str, str]]:
    found = check_start(StartRecord(at(clock), outcome), motor, plan, history, limits=LIMITS, **asked)
    for finding in found:
        assert finding.end is None and finding.rule in CAUTIONS
        assert finding.source in finding.says or finding.rule == UNCHECKED
        assert len(finding.says.split()) <= 30, finding.says
    return [(finding.rule, finding.priority) for finding in found]


CASES = [
    ("just inside the hour", "11:00", THREE, 30, RAN, []),
    ("a second early", "10:59:59", THREE, 30, RAN, [(OUTSIDE, THIS_SHIFT)]),
    ("a second start of a 200 hp in the hour", "10:59:59", record(ran("10:00", 30)), 200, RAN, [(OUTSIDE, THIS_SHIFT)]),
    ("the second of two tries, and it runs", "10:01", record(*did(TRIPPED, "10:00")), 200, RAN, []),
    ("the second of two tries fails", "10:01", record(*did(TRIPPED, "10:00")), 200, TRIPPED, [(USED_UP, ACT_NOW)]),
    ("the third of three tries does not start", "10:02", record(*did(DID_NOT_START, "10:00", "10:01")), 50,
     DID_NOT_START, [(USED_UP, ACT_NOW)]),
    ("one more after the last try", "12:00", record(*did(TRIPPED, "10:00", "10:01")), 200, RAN, [(USED_UP, ACT_NOW)]),
    ("and at once", "10:02", record(*did(TRIPPED, "10:00", "10:01")), 200, RAN,
     [(OUTSIDE, THIS_SHIFT), (USED_UP, ACT_NOW)]),
    ("released in between", "12:00", record(*did(TRIPPED, "10:00", "10:01"), releases=(
        ReleaseRecord(at("11:00"), "head", "belt off"),)), 200, RAN, []),
    ("over a lock", "10:00", record(condition="locked out", prestart_checks=(at("09:59"),)), 200, RAN,
     [(LOCKED, ACT_NOW)]),
    ("by itself under a lock", "10:00", record(condition="locked out", prestart_checks=(at("09:59"),)), 200, AUTOMATIC,
     [(LOCKED, ACT_NOW)]),
    ("out of service", "10:00", record(condition="out of service", prestart_checks=(at("09:59"),)), 200, RAN,
     [(OUTSIDE, THIS_SHIFT)]),
    ("over an uncleared fault trip", "10:00", record(trips=(FUSE,)), 200, RAN, [(OUTSIDE, ACT_NOW)]),
    ("by itself over an uncleared fault trip", "10:00", record(trips=(FUSE,)), 200, AUTOMATIC, [(OUTSIDE, ACT_NOW)]),
    ("over a fault trip that was cleared", "10:00", record(trips=(
        replace(FUSE, cleared_at=at("09:30"), cleared_by="electrician"),)), 200, RAN, []),
    ("over an overload relay not reset", "10:00", record(trips=(OVERLOAD,)), 200, RAN, [(OUTSIDE, THIS_SHIFT)]),
    ("without its first check", "10:00", StartHistory(), 200, RAN, [(UNCHECKED, THIS_SHIFT)]),
    ("with its first check", "10:00", StartHistory(prestart_checks=(at("09:50"),)), 200, RAN, []),
    ("2,000 hp without a procedure", "10:00", record(), 2000, RAN, [(OUTSIDE, THIS_SHIFT)]),
    ("an automatic restart too soon", "10:10", record(ran("10:00", 9)), 200, AUTOMATIC, [(OUTSIDE, THIS_SHIFT)]),
    ("a sixth short start", "10:50", SHORTS, 30, RAN, []),
    ("a sixth short start too soon", "10:49", SHORTS, 30, RAN, [(OUTSIDE, THIS_SHIFT)]),
]


@pytest.mark.parametrize("clock, history, hp, outcome, expected", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_a_start_is_flagged_by_what_it_broke(clock: str, history: StartHistory, hp: float, outcome: str,
                                             expected: list[tuple[str, str]]) -> None:
    assert findings(clock, history, plate(hp), outcome=outcome) == expected


def test_short_starts_count_as_such_only_where_nobody_said_otherwise() -> None:
    assert findings("10:50", SHORTS, plate(30), then_continuous=True) == []
    assert findings("10:50", SHORTS, plate(30), then_continuous=False) == [(OUTSIDE, THIS_SHIFT)]


def one(clock: str, history: StartHistory, motor: Nameplate, plan: StartPlan = BY_PRACTICE) -> tuple[Any, ...]:
    found = check_start(StartRecord(at(clock)), motor, plan, history, limits=LIMITS)
    assert [finding.rule for finding in found] == [OUTSIDE]
    return found[0].value, found[0].limit, found[0].unit_of_measure, found[0].source, found[0].says


def test_value_and_limit_are_those_of_the_limit_that_ends_last() -> None:
    # 10:50: four in the hour with this one; over at 11:00, as is the spacing
    value, limit, unit, source, says = one("10:50", THREE, plate(30))
    assert (value, limit, unit, source) == (4.0, 3.0, "starts", "general practice")
    assert "4 starts in 60 min, 3 allowed" in says and "also 10 min after the last" in says
    # 75 hp by the table: stopped 12:00, 60 s of 90 s
    value, limit, unit, source, says = one("12:01", record(ran("11:00", 60), stops=("12:00",)), P101A, BY_TABLE)
    assert (value, limit, unit, source) == (60.0, 90.0, "s", "NEMA MG 10 table") and "60 s of rest" in says
    # 30 hp, mixed hour: it ran 5 of 15 min
    value, limit, unit, source, says = one("10:41", record(ran("10:00", 18), ran("10:20", 5)), plate(30))
    assert (value, limit, unit) == (5.0, 15.0, "min") and "the last ran 5 min, 15 required" in says


def test_the_sentence_names_what_else_was_broken() -> None:
    value, limit, _, _, says = one("10:50", replace(THREE, trips=(FUSE,), condition="out of service",
                                                    prestart_checks=(at("10:49"),)), plate(30))
    assert "over an unsettled fault trip" in says and "also out of service" in says and (value, limit) == (4.0, 3.0)
    assert len(says.split()) <= 30


def test_rest_is_not_judged_where_nobody_noted_a_stop() -> None:
    # a dip: it ran, and was back by itself; how long it stood is not on record
    running = record(StartRecord(at("08:00")), condition="running", running_since=at("08:00"))
    assert findings("12:00", running, P101A, BY_TABLE, outcome=AUTOMATIC) == []


def test_every_rule_of_a_start_has_its_caution() -> None:
    assert set(RULES) <= set(CAUTIONS)
