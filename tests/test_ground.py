"""The test ground itself: what it promises to the other tests, so that they do not pass for the wrong reason."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from flask import Flask, g

from app.db import Database
from app.web.access import ANYONE, allow
from tests.conftest import BOTH, POSTGRES, SQLITE, Clock, by_nature_sqlite, on_both
from tests.factories import NOW, Plant, make_reading, make_unit
from tests.store import schema

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.own_app
def test_requests_of_one_test_share_nothing_and_each_is_torn_down(app: Flask) -> None:
    torn_down = []

    @allow(ANYONE)
    def count() -> str:
        g.times = g.get("times", 0) + 1
        return str(g.times)

    app.add_url_rule("/count", "count", count)
    app.teardown_appcontext(torn_down.append)
    client = app.test_client()
    assert [client.get("/count").get_data(as_text=True) for _ in range(3)] == ["1", "1", "1"]
    assert len(torn_down) == 3


@pytest.mark.parametrize("turn", ["first", "second"])
def test_a_database_is_without_rows_whatever_the_test_before_left(database: Database, turn: str) -> None:
    counted = {name: rows for name, rows in schema.rows(database.engine).items() if name != "alembic_version"}
    assert set(counted.values()) == {0}
    with database.writing() as session:
        made = make_unit(session)
        session.commit()
    assert made.id == 1  # ids begin again too


@on_both
def test_the_app_works_on_the_database_that_was_asked_for(
        plant: Plant, app_database: Database, request: pytest.FixtureRequest) -> None:
    kind = request.node.callspec.params["app"]
    assert app_database.engine.dialect.name == kind
    with app_database.writing() as session:
        reading = make_reading(session, session.merge(plant.motor), session.merge(plant.operator))
        assert reading.round.label == "Day 2026-11-24"


def test_without_a_word_of_its_own_the_app_is_where_the_run_was_asked_to_be(
        app_database: Database, pytestconfig: pytest.Config) -> None:
    assert app_database.engine.dialect.name == (pytestconfig.getoption("--on") or SQLITE)


@by_nature_sqlite("it is about those of SQLite by nature")
def test_what_is_about_sqlite_itself_stays_on_it(app_database: Database) -> None:
    assert app_database.is_sqlite


def test_a_run_on_one_database_holds_no_test_for_the_other() -> None:
    command = [sys.executable, "-m", "pytest", "-q", "--co", "-p", "no:cacheprovider", "--on", POSTGRES,
               "tests/test_ground.py"]
    named = subprocess.run(command, cwd=ROOT, capture_output=True, text=True).stdout
    assert "asked_for[postgresql]" in named and "asked_for[sqlite]" not in named
    assert "whatever_the_test_before_left[postgresql-first]" in named and "[sqlite-first]" not in named
    assert "test_what_is_about_sqlite_itself_stays_on_it" in named


def test_a_test_may_have_both_databases_at_once(new_database: Callable[..., Database]) -> None:
    names = []
    for kind in BOTH:
        with new_database(kind).reading() as session:
            session.execute(sa.text("SELECT 1"))
            names.append(session.get_bind().dialect.name)
    assert names == list(BOTH)


def test_the_clock_stands_until_it_is_moved(clock: Clock) -> None:
    assert clock() == clock() == NOW
    assert (clock.advance(hours=12) - NOW).total_seconds() == 43_200
    assert clock.set("2026-03-08T03:00-05:00").isoformat() == "2026-03-08T08:00:00+00:00"


@pytest.mark.parametrize(("ci", "code"), [("true", 1), ("", 0)], ids=["in CI", "elsewhere"])
def test_a_test_that_cannot_run_is_skipped_with_its_reason_and_in_ci_it_fails(ci: str, code: int) -> None:
    environment = {**os.environ, "CI": ci, "CHROMIUM": "/no/such/browser"}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/browser/test_sign_in.py"]
    ended = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert ended.returncode == code, ended.stdout
    assert "Chromium is not installed" in ended.stdout
    assert (" failed" in ended.stdout) is bool(code)
