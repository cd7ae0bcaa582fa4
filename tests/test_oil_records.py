"""Oil: levels, top-ups and renewals kept; a motor that drinks found, and given back when it drinks no more."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

import pytest

from app import lubricating, oil_records
from app.db import Database
from app.oil_records import Given
from app.store import oil
from app.store.oil import LEVEL, RENEWED, TOP_UP
from tests.entering import Crew, day

DRINKS = "drinks_oil"


@pytest.fixture
def crew(database: Database) -> Crew:
    crew = Crew(database)
    crew.point("DE", kind="oil", lubricant="VG 32", thickener=None, grease_g=None, interval_days=365.0,
               last_greased_at=day(-300))
    return crew


def enter(crew: Crew, at: datetime, kind: str = TOP_UP, key: uuid.UUID | None = None, **given: Any) -> bool:
    fields = {"amount_ml": 200.0, "lubricant": "VG 32"} if kind != LEVEL else {}
    known = crew.motor()
    with crew.writing() as session:
        motor = session.merge(known)
        return oil_records.record(session, crew.unit, motor, crew.operator, at, key or uuid.uuid4(),
                                  Given(**{"end": "DE", "kind": kind, **fields, **given}))[1]


def monthly(crew: Crew, *days: float) -> None:
    for number in days:
        enter(crew, day(number))


def test_a_motor_that_takes_three_times_its_usual_is_found(crew: Crew) -> None:
    monthly(crew, -120, -90, -60, -30)
    assert crew.flags(DRINKS) == []
    enter(crew, day(0), amount_ml=600.0)
    flag = crew.flag(DRINKS, "DE")
    assert (flag.priority, flag.value, flag.limit) == ("watch", 600.0, pytest.approx(270.0))  # 200 + 3.5 × 20
    with crew.database.reading() as session:
        (line,) = oil_records.lines(session, crew.unit, day(0))
    assert line.drinking.above_normal
    assert (line.drinking.taken_ml, line.drinking.usual_ml) == (600.0, pytest.approx(200.0))


def test_one_that_takes_its_usual_is_not(crew: Crew) -> None:
    monthly(crew, -120, -90, -60, -30, 0)
    assert crew.flags(DRINKS) == []


def test_back_within_its_normal_the_flag_returns_with_the_next_round(crew: Crew) -> None:
    monthly(crew, -120, -90, -60, -30)
    enter(crew, day(0), amount_ml=600.0)
    crew.open_sheet(day(20))
    assert crew.state(DRINKS, "DE") == "active"
    crew.open_sheet(day(31))
    assert crew.state(DRINKS, "DE") == "returned to normal"


def test_a_renewal_is_no_top_up_and_moves_the_due_date(crew: Crew) -> None:
    monthly(crew, -120, -90, -60, -30)
    crew.open_sheet(day(70))  # 370 days after the oil was renewed by the register
    assert crew.flag("greasing_overdue", "DE").says.startswith("DE oil last renewed 370 days ago")
    enter(crew, day(71), RENEWED, amount_ml=4000.0)
    assert crew.flags(DRINKS) == []
    assert crew.state("greasing_overdue", "DE") == "returned to normal"
    with crew.database.reading() as session:
        (planned,) = lubricating.plan(session, crew.unit, day(72))
    assert planned.falls_due == day(71 + 365)


@pytest.mark.parametrize(("level", "found"), [
    ("below the mark", ["lubricant"]), ("above the mark", ["lubricant"]), ("at the mark", []), ("could not see", [])])
def test_a_level_beside_its_mark_is_what_the_round_calls_low_or_high(crew: Crew, level: str, found: list[str]) -> None:
    enter(crew, day(0), LEVEL, level=level, mark="stopped mark")
    assert [f.rule for f in crew.flags()] == found


def test_another_oil_than_the_charts_is_flagged(crew: Crew) -> None:
    enter(crew, day(0), lubricant="VG 68")
    assert [(f.rule, f.end, f.priority) for f in crew.flags()] == [("wrong_lubricant", "DE", "this shift")]
    enter(crew, day(1), RENEWED, lubricant="vg  32")
    assert len(crew.flags()) == 1


def test_sent_twice_it_is_stored_once(crew: Crew) -> None:
    key = uuid.uuid4()
    assert enter(crew, day(0), key=key)
    assert not enter(crew, day(0, minutes=1), key=key)
    known = crew.motor()
    with crew.database.reading() as session:
        assert [(e.kind, e.amount_ml, e.at) for e in oil.entries_of(session, known.id)] == [(TOP_UP, 200.0, day(0))]


def test_the_newest_level_of_each_bearing_is_told(crew: Crew) -> None:
    enter(crew, day(0), LEVEL, level="at the mark", mark="running mark")
    enter(crew, day(1), LEVEL, level="below the mark", mark="running mark")
    enter(crew, day(2))
    with crew.database.reading() as session:
        newest = oil.newest_levels(session, crew.unit.id)
    assert [(e.level, e.at) for e in newest.values()] == [("below the mark", day(1))]


def test_ends_are_counted_apart(crew: Crew) -> None:
    crew.point("ODE", kind="oil", lubricant="VG 32", thickener=None, grease_g=None, interval_days=None)
    monthly(crew, -120, -90, -60, -30)
    enter(crew, day(0), end="ODE", amount_ml=900.0)
    assert crew.flags(DRINKS) == []  # one entry is no normal of its own
