"""A sheet's entries are looked up by the round, whichever way SQLite came to its indexes."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy as sa

from app.db import Database
from app.store.sheet_ground import Asked, ground_and_entries
from tests.factories import NOW

DAY = timedelta(days=1)
ASKED = Asked(1, NOW.date(), "Day", NOW - DAY, NOW, NOW - 7 * DAY, NOW)


#: Without figures of its tables SQLite may go by the order in which indexes were made.
ORDERS = [*itertools.permutations(("ix_reading_round", "ix_reading_motor_taken"))]


@pytest.mark.parametrize("made", ORDERS, ids=" first, then ".join)
def test_no_sheet_walks_through_ten_years_of_a_motor(
        new_database: Callable[..., Database], made: tuple[str, ...]) -> None:
    database = new_database("sqlite")
    with database.engine.begin() as connection:
        written = dict(connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'index'").all())
        for name in made:
            connection.exec_driver_sql(f"DROP INDEX {name}")
        for name in made:
            connection.exec_driver_sql(written[name])
    asked: list[tuple[str, Any]] = []
    sa.event.listen(database.engine, "before_cursor_execute",
                    lambda _connection, _cursor, text, values, *_: asked.append((text, values)))
    with database.reading() as session:
        ground_and_entries(session, ASKED)
    (statement,) = [each for each in asked if "FROM motor" in each[0]]
    with database.engine.connect() as connection:
        plan = [row[3] for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement[0]}", statement[1])]
    (entries,) = [step for step in plan if step.startswith("SEARCH reading ")]
    assert "ix_reading_round (round_id=?)" in entries
