"""When a pre-start check is due: first start, after repair, after 30 days idle. Common practice, without a source."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from app.rules.limits import Limits
from app.rules.prestart import ANSWERED_NO, FIRST, IDLE, REPAIR, prestart_due
from app.rules.prestart_items import ITEMS
from app.rules.starting_facts import DID_NOT_START, StartHistory, StartRecord
from tests.rules.starts_plant import BY_TABLE, CHICAGO, LIMITS, P101A, ask, at, record, told

NOW = at("12:00").astimezone(UTC)  # in local time the days below would be of the clock on the wall


def ago(**by: float) -> datetime:
    return NOW - timedelta(**by)


def ran_ago(days: float) -> StartRecord:
    """Ran an hour, and stopped so many days ago."""
    return StartRecord(ago(days=days, hours=1), "ran", 3600.0)


CASES = [
    ("nothing on record", {}, FIRST),
    ("checked before the first start", {"prestart_checks": (ago(hours=1),)}, None),
    ("checked a month before the first start", {"prestart_checks": (ago(days=30),)}, IDLE),
    ("a start that failed ends it", {"starts": (StartRecord(ago(hours=1), DID_NOT_START),)}, None),
    ("seen running before the tool came", {"seen_running_at": ago(days=2)}, None),
    ("runs now", {"condition": "running"}, None),
    ("another machine fitted since", {"starts": (ran_ago(3),), "fitted_at": ago(days=1)}, FIRST),
    ("the new machine was started", {"starts": (ran_ago(1),), "fitted_at": ago(days=2)}, None),
    ("back from repair", {"starts": (ran_ago(3),), "back_in_service_at": ago(hours=1)}, REPAIR),
    ("back and checked", {"starts": (ran_ago(3),), "back_in_service_at": ago(hours=2),
                          "prestart_checks": (ago(hours=1),)}, None),
    ("checked before it came back", {"starts": (ran_ago(3),), "back_in_service_at": ago(hours=1),
                                     "prestart_checks": (ago(hours=2),)}, REPAIR),
    ("started since", {"starts": (ran_ago(0.1),), "back_in_service_at": ago(days=1)}, None),
    ("still out of service", {"starts": (ran_ago(3),), "condition": "out of service", "condition_since": ago(days=2)},
     REPAIR),
    ("out of service, nobody noted since when", {"starts": (ran_ago(3),), "condition": "out of service",
                                                 "prestart_checks": (ago(days=9),)}, REPAIR),
    ("out of service, checked since its last start", {"starts": (ran_ago(3),), "condition": "out of service",
                                                      "prestart_checks": (ago(days=1),)}, None),
    ("just under 30 days idle", {"starts": (ran_ago(29.99),)}, None),
    ("30 days idle", {"starts": (ran_ago(30),)}, IDLE),
    ("idle, seen running since", {"starts": (ran_ago(40),), "seen_running_at": ago(days=10)}, None),
    ("idle and checked", {"starts": (ran_ago(40),), "prestart_checks": (ago(days=5),)}, None),
    ("idle, and the check is old too", {"starts": (ran_ago(90),), "prestart_checks": (ago(days=31),)}, IDLE),
    ("idle, tried and failed an hour ago", {"starts": (ran_ago(90), StartRecord(ago(hours=1), DID_NOT_START))}, None),
    ("answered no", {"seen_running_at": ago(days=2), "prestart_refused_at": ago(hours=1)}, ANSWERED_NO),
    ("answered no after a full one", {"prestart_checks": (ago(hours=2),), "prestart_refused_at": ago(hours=1)},
     ANSWERED_NO),
    ("answered no, then in full", {"prestart_checks": (ago(hours=1),), "prestart_refused_at": ago(hours=2)}, None),
    ("answered no, and started all the same", {"starts": (ran_ago(0.1),), "prestart_refused_at": ago(days=1)},
     ANSWERED_NO),
    ("a check of tomorrow", {"prestart_checks": (NOW + timedelta(days=1),)}, FIRST),
]


@pytest.mark.parametrize("known, due", [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_a_check_is_due(known: dict[str, Any], due: str | None) -> None:
    assert prestart_due(StartHistory(**known), NOW, LIMITS) == due


def test_thirty_days_are_thirty_times_24_hours_over_the_clock_change() -> None:
    # stopped 12 Oct 2026 12:00 CDT = 17:00 UTC; 30 days later is 11 Nov 17:00 UTC = 11:00 CST
    history = StartHistory(starts=(StartRecord(datetime(2026, 10, 12, 11, 0, tzinfo=CHICAGO), "ran", 3600.0),))
    assert prestart_due(history, datetime(2026, 11, 11, 10, 59, tzinfo=CHICAGO), LIMITS) is None
    assert prestart_due(history, datetime(2026, 11, 11, 11, 0, tzinfo=CHICAGO), LIMITS) == IDLE


def test_the_unit_s_own_days_count() -> None:
    history = StartHistory(starts=(ran_ago(8),))
    assert prestart_due(history, NOW, Limits({"prestart_idle_days": (7.0, "unit's limit")})) == IDLE


def test_the_answer_is_no_until_the_check_is_answered() -> None:
    due = record(ran_ago(40), seen_running_at=None)
    answer = ask(NOW, due, P101A, BY_TABLE)
    assert told(answer) == "no" and answer.decided_by == "pre-start check" and IDLE in answer.says
    assert told(ask(NOW, record(ran_ago(40), seen_running_at=None, prestart_checks=(ago(hours=1),)), P101A,
                    BY_TABLE)) == "yes"


def test_the_check_asks_for_locks_people_and_guards_and_releases_nothing() -> None:
    text = " ".join(f"{item.asks} {item.care}" for item in ITEMS)
    assert all(word in text for word in ("lock", "people", "guard", "Ground", "rotation", "Overload"))
    assert "safe" not in text
