"""A unit over several weeks: the gravest flag of each motor and week, and whether it was read at all."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session

from app.db import Database
from app.rules.spans import parse_span
from app.store.people import Token
from app.unit_trends import UnitTrend, columns_to, totals, trend_of
from tests import factories
from tests.export.hand_made import SECOND, TUESDAY, WEEK, WEEK_END, WEEK_START, make_flag
from tests.factories import Plant

ONE_WEEK = timedelta(weeks=1)


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as opened:
        yield opened


@pytest.fixture
def plant(session: Session) -> Plant:
    return factories.make_plant(session)


def trend(session: Session, plant: Plant, weeks: int = 3, now: datetime = TUESDAY) -> UnitTrend:
    return trend_of(session, plant.unit, columns_to(plant.unit, parse_span(WEEK), weeks, now))


def cells(found: UnitTrend, tag: str = "P-101A") -> list[tuple[int, str | None]]:
    return [(cell.flags, cell.gravest) for line in found.lines if line.tag == tag for cell in line.cells]


def test_a_flag_stands_in_every_week_from_raised_to_closed_and_the_gravest_counts(session: Session,
                                                                                  plant: Plant) -> None:
    make_flag(session, plant.motor, WEEK_START - ONE_WEEK, priority="watch", closed_at=WEEK_START)  # this week's begin
    make_flag(session, plant.motor, WEEK_START - SECOND, priority="act now", closed_at=WEEK_START - SECOND)
    make_flag(session, plant.motor, WEEK_END - SECOND, priority="this shift")
    make_flag(session, plant.motor, WEEK_END, priority="act now")  # next week's
    make_flag(session, plant.motor, WEEK_START - 9 * ONE_WEEK, closed_at=WEEK_START - 8 * ONE_WEEK)
    assert cells(trend(session, plant)) == [(0, None), (2, "act now"), (2, "this shift")]


def test_the_weeks_are_iso_weeks_in_the_units_own_time_the_oldest_first(session: Session, plant: Plant) -> None:
    found = trend(session, plant, weeks=5)
    assert [c.text for c in found.columns] == ["2026-W44", "2026-W45", "2026-W46", "2026-W47", "2026-W48"]
    assert (found.columns[0].end - found.columns[0].start) == timedelta(hours=169)  # the clocks go back on 1 November
    assert found.columns[-1].end == WEEK_END


def test_not_read_is_told_from_read_and_nothing_stood(session: Session, plant: Plant) -> None:
    factories.make_reading(session, plant.motor, plant.operator, WEEK_START)
    factories.make_reading(session, plant.motor, plant.operator, WEEK_START - SECOND, state=None, skip_reason="fog")
    assert [cell.read for cell in trend(session, plant).lines[0].cells] == [False, False, True]


def test_values_by_token_a_timed_look_after_a_start_and_a_corrected_entry_make_no_motor_read(session: Session,
                                                                                          plant: Plant) -> None:
    token = Token(unit_id=plant.unit.id, name="control room", scope="record", hash="x", created_at=WEEK_START)
    session.add(token)
    session.flush()
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY, token_id=token.id, current_a_1=80.0)
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY + SECOND, watch=True, smoke="none")
    wrong = factories.make_reading(session, plant.motor, plant.operator, TUESDAY + 2 * SECOND)
    factories.make_reading(session, plant.motor, plant.operator, TUESDAY + 2 * SECOND, state=None, skip_reason="fog",
                           replaces_id=wrong.id)
    assert [cell.read for cell in trend(session, plant).lines[0].cells] == [False, False, False]
    factories.make_reading(session, plant.motor, plant.operator, WEEK_END - SECOND, token_id=token.id, smoke="none")
    assert [cell.read for cell in trend(session, plant).lines[0].cells] == [False, False, True]


def test_a_motor_is_there_from_the_week_it_was_entered_in(session: Session, plant: Plant) -> None:
    added = factories.make_motor(session, plant.unit, "P-102")
    added.created_at = WEEK_START - SECOND
    session.flush()
    line = next(line for line in trend(session, plant).lines if line.tag == "P-102")
    assert [cell.there for cell in line.cells] == [False, True, True]


def test_a_week_that_has_not_begun_shows_nothing(session: Session, plant: Plant) -> None:
    make_flag(session, plant.motor, WEEK_START - 2 * ONE_WEEK)
    found = trend(session, plant, now=WEEK_START - SECOND)
    assert [c.began for c in found.columns] == [True, True, False]
    assert cells(found) == [(1, "this shift"), (1, "this shift"), (0, None)]


def test_areas_add_up_their_motors_by_priority(session: Session, plant: Plant) -> None:
    second = factories.make_motor(session, plant.unit, "P-102")
    fan = factories.make_motor(session, plant.unit, "F-1", area="Cooling")
    for motor, priority in ((plant.motor, "act now"), (second, "watch"), (second, "watch"), (fan, "this shift")):
        make_flag(session, motor, TUESDAY, priority=priority)
    feed, cooling = trend(session, plant).areas
    assert (feed.name, feed.motors, feed.most, cooling.motors, cooling.most) == ("Feed", 2, 3, 1, 1)
    assert totals(feed) == [("act now", [0, 0, 1]), ("this shift", [0, 0, 0]), ("watch", [0, 0, 2])]


def test_another_units_motors_and_flags_are_not_in_it_and_it_costs_three_queries(session: Session,
                                                                                 plant: Plant) -> None:
    other = factories.make_motor(session, factories.make_unit(session, "Unit 3"), "P-901")
    make_flag(session, other, TUESDAY)
    factories.make_reading(session, other, plant.operator, TUESDAY)
    columns = columns_to(plant.unit, parse_span(WEEK), 3, TUESDAY)
    asked: list[str] = []
    sa.event.listen(session.get_bind(), "before_cursor_execute", lambda *told: asked.append(told[2]))
    found = trend_of(session, plant.unit, columns)
    assert (len(asked), [line.tag for line in found.lines], cells(found)) == (3, ["P-101A"], [(0, None)] * 3)
