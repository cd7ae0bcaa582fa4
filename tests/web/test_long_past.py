"""After ten years a page or a save makes the database do what it did after one: nothing walks through what is stored.

Work is counted, not timed: on SQLite the steps of its machine, on PostgreSQL the rows that the plan's scans read
(EXPLAIN ANALYZE). `python -m tests.benchmarks --full history` times the same on 5,000,000 readings.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from urllib.parse import quote

import pytest
import sqlalchemy as sa
from flask import Flask

from app.db import Database
from app.store.flags import Flag
from app.store.lubrication import Greasing
from app.store.motors import Motor
from app.store.people import SUPERVISOR, Person, person_by_sign_in
from app.store.rounds import Reading, Round
from app.store.units import Unit
from tests.api.door import Door, make_token, pages_hold
from tests.benchmarks.bulk import Loaded, load
from tests.conftest import POSTGRES, Clock, on_both
from tests.factories import NOW, make_motor, make_person, make_reading, make_unit, sign_in
from tests.web.at_motor import enter
from tests.web.test_access_matrix import WORDS, Things, pages, path_of
from tests.web.test_page_queries import BUNDLES

#: Long enough that the year's pages are full, and ten times that.
A_YEAR, TEN_YEARS = 400, 4_000
#: Steps of SQLite's machine between two counts.
STRIDE = 100
#: What may be more: a quarter, and lists of the newest fifty entries that a year has not filled (greasings, flags).
MAY_GROW, UNFILLED = 1.25, {"sqlite": 15_000, "postgresql": 250}


#: What the JSON door gives out whatever is there; and some things of one motor and week.
DOOR = ("/motors", "/flags", "/flags?open=true", "/readings", "/limits")


@dataclass
class Asked:
    """A statement as the driver was given it, and what it made the database do."""

    text: str
    values: Any
    work: int = 0


@contextmanager
def watched(database: Database) -> Iterator[list[Asked]]:
    """The statements that the database is asked meanwhile; on SQLite with their work."""
    asked: list[Asked] = []

    def note(_connection: object, _cursor: object, text: str, values: Any, *_rest: object) -> None:
        asked.append(Asked(text, values))

    def step() -> int:
        if asked:
            asked[-1].work += STRIDE
        return 0

    def count(connection: Any, *_rest: object) -> None:
        connection.set_progress_handler(step, STRIDE)

    def leave(connection: Any, *_rest: object) -> None:
        connection.set_progress_handler(None, 0)

    sa.event.listen(database.engine, "before_cursor_execute", note)
    if database.is_sqlite:
        sa.event.listen(database.engine, "checkout", count)
        sa.event.listen(database.engine, "checkin", leave)
    yield asked
    sa.event.remove(database.engine, "before_cursor_execute", note)
    if database.is_sqlite:
        sa.event.remove(database.engine, "checkout", count)
        sa.event.remove(database.engine, "checkin", leave)


def explained(database: Database, asked: list[Asked], by_choice: bool = False) -> None:
    """On PostgreSQL: the rows that each question's scans read. A table of some hundred rows it reads whole by choice;
    here only where no index leads from row to row, unless it is left to choose its way."""
    raw = database.engine.raw_connection()
    try:
        cursor = raw.cursor()
        for way in () if by_choice else ("enable_seqscan", "enable_hashjoin", "enable_mergejoin"):
            cursor.execute(f"SET LOCAL {way} = off")
        for one in asked:
            if one.text.lstrip().startswith(("SELECT", "WITH")):
                cursor.execute(f"EXPLAIN (ANALYZE, TIMING OFF, FORMAT JSON) {one.text}", one.values)
                one.work = _rows_read(cursor.fetchone()[0][0]["Plan"])  # type: ignore[index]
    finally:
        raw.rollback()
        raw.close()


def _rows_read(plan: dict[str, Any]) -> int:
    read = sum(_rows_read(part) for part in plan.get("Plans", ()))
    if "Relation Name" in plan:
        each = sum(plan.get(name, 0) for name in ("Actual Rows", "Rows Removed by Filter",
                                                  "Rows Removed by Index Recheck"))
        read += int(each * plan["Actual Loops"])
    return read


def things_of(database: Database, loaded: Loaded) -> tuple[Person, Things]:
    """The supervisor of a loaded unit and its newest things."""
    motor_id = loaded.motor_ids[0]
    with database.reading() as session:
        def newest(model: Any, at: Any, *where: Any) -> Any:
            return session.scalars(sa.select(model.id).where(*where).order_by(at.desc()).limit(1)).one()

        person = person_by_sign_in(session, loaded.supervisor)
        assert person is not None
        assert person.units
        return person, Things(
            motor_id, newest(Flag, Flag.raised_at, Flag.motor_id == motor_id),
            newest(Round, Round.starts_at, Round.unit_id == loaded.unit_id, Round.starts_at < loaded.last_at),
            person.id, newest(Reading, Reading.taken_at, Reading.motor_id == motor_id),
            newest(Greasing, Greasing.at, Greasing.motor_id == motor_id), 1, 1)


def works(app: Flask, clock: Clock, loaded: Loaded, by_choice: bool = False) -> dict[str, list[Asked]]:
    """What each page of a unit, each list of the door and a save, the second, ask the evening after the last round.
    by_choice: as `explained` has it."""
    database: Database = app.extensions["database"]
    clock.set(loaded.last_at + timedelta(hours=6))
    person, things = things_of(database, loaded)
    client, found = sign_in(app.test_client(), person), {}
    last_week = (clock.now - timedelta(days=7)).strftime("%G-W%V")
    for rule, method in pages(app):
        if method != "GET" or rule.endpoint in {"accounts.sign_out", *BUNDLES}:
            continue
        path = path_of(app, rule, things).replace(WORDS["week"], last_week)
        client.get(path).close()  # the first look at a sheet opens it
        with watched(database) as asked:
            answer = client.get(path)
            answer.get_data()
            answer.close()
        if answer.status_code == 200:
            found[rule.endpoint] = asked
            if not database.is_sqlite:
                explained(database, asked, by_choice)
    with database.reading() as session:
        motor, unit = session.get_one(Motor, things.motor_id), session.get_one(Unit, loaded.unit_id)
    door = Door(app, make_token(app, unit, "read"))
    for path in (*DOOR, f"/flags?tag={quote(motor.tag)}", f"/readings?tag={quote(motor.tag)}",
                 f"/exceptions?week={last_week}", f"/motors/{quote(motor.tag)}/start-permission"):
        with pytest.MonkeyPatch.context() as small:  # as full pages as there are more of them
            pages_hold(small, 20)
            assert door.get(path).status_code == 200  # the first use of a token is noted
            with watched(database) as asked:
                door.get(path)
        found[path.replace(last_week, "a week")] = asked
        if not database.is_sqlite:
            explained(database, asked, by_choice)
    for _ in range(2):
        clock.advance(minutes=20)
        with watched(database) as asked:
            assert enter(client, motor).status_code == 303
    if not database.is_sqlite:
        explained(database, asked, by_choice)
    return {**found, "save": asked}


def grown(before: dict[str, list[Asked]], after: dict[str, list[Asked]], kind: str) -> list[str]:
    """Pages that made the database do more: how much before and after, and the statement that did most."""
    found = []
    for name, asked in before.items():
        few, many = (sum(one.work for one in page) for page in (asked, after[name]))
        if many > MAY_GROW * few + UNFILLED[kind]:
            worst = max(after[name], key=lambda one: one.work)
            found.append(f"{name}: {few} -> {many}, of these {worst.work} by {worst.text}")
    return found


@pytest.mark.slow
@on_both
def test_no_page_does_more_after_ten_years_than_after_one(app: Flask, app_database: Database, clock: Clock) -> None:
    kind = "sqlite" if app_database.is_sqlite else "postgresql"
    young = load(app_database, 3, A_YEAR, seed=11, unit="Unit 1")
    alone = works(app, clock, young)
    old = load(app_database, 3, TEN_YEARS, seed=11, unit="Unit 2")
    later = works(app, clock, old)
    assert len(alone) > 50
    assert sum(one.work for page in alone.values() for one in page) > 1_000, "nothing was counted"
    more = grown(alone, later, kind)
    assert not more, "\n".join(more)


@pytest.mark.slow
@pytest.mark.parametrize("app", [POSTGRES], indirect=True)
def test_left_to_choose_its_way_postgresql_answers_no_page_of_a_lone_unit_from_all_its_readings(
        app: Flask, app_database: Database, clock: Clock) -> None:
    """Where one unit fills the database, it may seem cheap to answer from all readings at once; so each time."""
    loaded = load(app_database, 20, 280)
    done = works(app, clock, loaded, by_choice=True)
    whole = [f"{name}: {one.work} rows by {one.text}" for name, asked in done.items() for one in asked
             if one.work > loaded.readings / 2]
    assert not whole, "\n".join(whole)


@on_both
def test_the_motors_by_weeks_do_as_much_where_each_is_read_ten_times_a_day_as_where_it_is_read_once(
        app: Flask, app_database: Database) -> None:
    # Both are there before the first is looked at, and their tables known as they are: what PostgreSQL makes of one row
    # or of two, or of a table that it has looked through meanwhile, is no growth.
    bosses = [_boss_of_motor_read(app_database, often) for often in (1, 10)]
    with app_database.engine.begin() as connection:
        connection.exec_driver_sql("ANALYZE")
    done = [_by_weeks(app, app_database, boss) for boss in bosses]
    assert done[0] > 10, "nothing was counted"
    assert done[1] <= MAY_GROW * done[0], done


def _boss_of_motor_read(database: Database, often: int) -> Person:
    """The supervisor of a new unit whose motor was read so often on each of the last 40 days."""
    with database.writing() as session:
        unit = make_unit(session, f"Unit {often}")
        person, motor = make_person(session, unit, SUPERVISOR, f"boss {often}"), make_motor(session, unit, "P-1")
        for ago in range(40 * often):
            make_reading(session, motor, person, NOW - timedelta(days=1) * ago / often)
        session.commit()
    return person


def _by_weeks(app: Flask, database: Database, boss: Person) -> int:
    """What the page makes the database do."""
    client = sign_in(app.test_client(), boss)
    client.get("/trends")
    with watched(database) as asked:
        assert "W48" in client.get("/trends?weeks=6").text
    if not database.is_sqlite:
        explained(database, asked)
    return sum(one.work for one in asked)
