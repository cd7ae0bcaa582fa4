"""The measurements themselves: what is met or missed, and the bulk path that fills a database."""

from __future__ import annotations

from collections.abc import Callable

import pytest
import sqlalchemy as sa

from app.db import Database
from app.store import rounds
from app.store.rounds import Reading, Round
from app.store.starts import Start
from tests.benchmarks.bulk import load
from tests.benchmarks.lines import Line, table
from tests.benchmarks.sites import partition


@pytest.mark.parametrize(("figure", "floor", "at_least", "met"), [
    (20.0, 10.0, False, True), (20.1, 10.0, False, False), (20.0, 10.0, True, True), (19.9, 10.0, True, False),
    (2.0, None, False, True), (2.1, None, False, False)])
def test_a_goal_is_a_ratio_to_its_floor_or_a_figure_where_there_is_none(
        figure: float, floor: float | None, at_least: bool, met: bool) -> None:
    assert Line("save", figure, "ms", floor, 2.0, at_least).met is met


def test_what_nobody_asked_for_is_neither_met_nor_missed() -> None:
    assert Line("save", 5.0, "ms", 4.0).met is None


def test_the_table_says_what_was_missed_beside_figure_floor_ratio_and_goal() -> None:
    told = table([Line("save one entry", 9.0, "ms", 3.0, 2.0), Line("a worker at rest", 90.0, "MB", goal=120.0)])
    assert [line.split("  ")[0] for line in told.splitlines()] == ["name", "save one entry", "a worker at rest"]
    assert told.splitlines()[1].split() == ["save", "one", "entry", "9", "ms", "3", "ms", "3.00", "≤", "2×", "MISSED"]
    assert told.splitlines()[2].split() == ["a", "worker", "at", "rest", "90", "MB", "≤", "120", "met"]


def test_invented_readings_stand_in_the_round_of_their_shift(database: Database) -> None:
    loaded = load(database, motors=3, days=62, shifts=3)
    assert loaded.readings == 3 * 62 * 3
    with database.reading() as session:
        outside = session.scalar(sa.select(sa.func.count()).select_from(Reading).join(Round).where(
            sa.or_(Reading.taken_at < Round.starts_at, Reading.taken_at >= Round.ends_at)))
        assert (session.scalar(sa.select(sa.func.count()).select_from(Reading)), outside) == (558, 0)


def test_planted_stands_are_filled_in_with_the_starts_that_were_logged(database: Database) -> None:
    """Nine motors, one of each kind of fault: two are stopped for a day and a half, one of them is logged again."""
    load(database, motors=9, days=80, shifts=2, faults=9)
    with database.reading() as session:
        standing = session.execute(sa.select(Reading.motor_id, sa.func.max(Reading.taken_at)).where(
            Reading.state == "standby", Reading.bearing_temp_c_de.is_(None)).group_by(Reading.motor_id)).all()
        (motor_id, started), = session.execute(sa.select(Start.motor_id, Start.at)).all()
    assert len(standing) == 2
    assert started > max(at for number, at in standing if number == motor_id)


def test_units_are_filled_beside_each_other(database: Database) -> None:
    first, second = (load(database, motors=2, days=30, unit=f"Unit {i}") for i in (1, 2))
    assert not {*first.motor_ids} & {*second.motor_ids}


def test_a_copy_parted_by_month_holds_the_same_readings(new_database: Callable[..., Database]) -> None:
    """Two rounds a day from 31 August to 31 October; parts are made for 31 days ahead, which is 1 December: five."""
    database = new_database("postgresql", upgraded=False)  # its schema is changed here
    database.upgrade()
    loaded = load(database, motors=2, days=62, shifts=2)
    with database.reading() as session:
        before = [(r.id, r.taken_at) for r in rounds.newest_readings(session, loaded.motor_ids[0], 50)]
    assert partition(database, loaded.last_at) == 5
    with database.reading() as session:
        assert [(r.id, r.taken_at) for r in rounds.newest_readings(session, loaded.motor_ids[0], 50)] == before
        parts = session.execute(sa.text("SELECT tableoid::regclass::text, count(*) FROM reading GROUP BY 1")).all()
    assert sum(count for _, count in parts) == 2 * 62 * 2
    assert {name for name, _ in parts} == {"reading_2026_08", "reading_2026_09", "reading_2026_10"}
