"""The disk is full, may not be written, the database is away: told in words, nothing half stored, nothing lost."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy.exc import OperationalError

from app import storage_faults
from app.db import Database
from tests import cluster
from tests.api.door import PROBLEM, Door, make_token
from tests.conftest import by_nature_sqlite
from tests.factories import NOW, Plant, form_token, sign_in
from tests.web.at_motor import answers, enter, fields_of, readings_of, words_of

#: Long enough for a page of its own in the file.
REMARKS = "<b>smells & hums</b>" + "…" * 1900
OF_THE_FILE = by_nature_sqlite("a full or read-only disk is brought about by pragmas of the file")
KEY = "0193f0aa-0000-7000-8000-000000000001"


@contextmanager
def full_disk(database: Database) -> Iterator[None]:
    """SQLite as on a full disk: the file may not grow by one page, and what is free within it is used up."""
    with database.engine.begin() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()

    @sa.event.listens_for(database.engine, "begin")
    def _full(connection: sa.Connection) -> None:
        connection.exec_driver_sql(f"PRAGMA max_page_count={pages}")

    for size in (2000, 200, 20):
        with contextlib.suppress(OperationalError):
            while True:
                with database.engine.begin() as connection:
                    connection.exec_driver_sql("CREATE TABLE IF NOT EXISTS filler (x TEXT)")
                    connection.exec_driver_sql("INSERT INTO filler VALUES (?)", ("x" * size,))
    try:
        yield
    finally:
        sa.event.remove(database.engine, "begin", _full)
        with database.engine.begin() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count=1000000")


@contextmanager
def read_only(database: Database) -> Iterator[None]:
    @sa.event.listens_for(database.engine, "begin")
    def _read_only(connection: sa.Connection) -> None:
        connection.exec_driver_sql("PRAGMA query_only=ON")

    try:
        yield
    finally:
        sa.event.remove(database.engine, "begin", _read_only)
        database.engine.dispose()


@pytest.fixture
def operator(client: FlaskClient, plant: Plant) -> FlaskClient:
    sign_in(client, plant.operator)
    client.get("/round")  # the shift's sheet is open
    return client


@OF_THE_FILE
@pytest.mark.parametrize(("fault", "says"), [(full_disk, "disk is full"), (read_only, "may not write its data")])
def test_an_entry_that_cannot_be_stored_is_told_so_and_can_be_sent_again_as_it_was(
        operator: FlaskClient, app_database: Database, plant: Plant, fault: Any, says: str) -> None:
    fields = {"id": KEY, "csrf_token": form_token(operator), **answers(amps_1="81,5", remarks=REMARKS)}
    with fault(app_database):
        refused = operator.post(f"/motors/{plant.motor.id}/entry", data=fields)
    assert refused.status_code == 503
    assert refused.headers["Retry-After"] == "15"
    assert says in words_of(refused) and "Nothing was stored" in words_of(refused)
    assert "<b>smells" not in refused.get_data(as_text=True)
    assert readings_of(app_database, plant.motor) == []
    kept = {name: value for name, value in fields_of(refused).items() if name != "q"}  # the search box of every page
    assert kept == {name: value if isinstance(value, str) else value[0] for name, value in fields.items()}
    again = operator.post(f"/motors/{plant.motor.id}/entry", data=kept)
    assert again.status_code == 303
    assert [(r.current_a_1, r.remarks) for r in readings_of(app_database, plant.motor)] == [
        (81.5, REMARKS)]


@OF_THE_FILE
def test_pages_can_still_be_read_when_nothing_can_be_written(operator: FlaskClient, app_database: Database) -> None:
    with read_only(app_database):
        assert operator.get("/help").status_code == 200
        assert operator.get("/motors").status_code == 200


@OF_THE_FILE
def test_a_secret_is_never_in_the_page_of_a_failure(client: FlaskClient, app_database: Database, plant: Plant) -> None:
    fields = {"csrf_token": form_token(client, "/sign-in"), "sign_in": "operator", "secret": "brass lantern 4071"}
    with read_only(app_database):
        refused = client.post("/sign-in", data=fields)
    assert refused.status_code == 503
    assert "brass lantern" not in refused.get_data(as_text=True)




@contextmanager
def away(app: Flask, server: cluster.Server) -> Iterator[None]:
    """The database refuses everybody, and those who were in are thrown out."""
    name = app.extensions["database"].url.database
    with server._engine.connect() as connection:
        connection.exec_driver_sql(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
        connection.exec_driver_sql(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'")
    try:
        yield
    finally:
        with server._engine.connect() as connection:
            connection.exec_driver_sql(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")


@pytest.mark.parametrize("app", ["postgresql"], indirect=True)
def test_the_server_database_goes_and_comes_back_and_what_was_typed_is_stored_once(
        operator: FlaskClient, app: Flask, app_database: Database, plant: Plant, postgres: cluster.Server,
        migrated_postgres: Database) -> None:
    fields = {"id": KEY, "csrf_token": form_token(operator), **answers(amps_1="81")}
    door = Door(app, make_token(app, plant.unit))
    body = {"id": KEY[:-1] + "2", "tag": "P-101A", "taken_at": NOW.isoformat(), "by": "operator", "state": "running"}
    with away(app, postgres):
        refused = operator.post(f"/motors/{plant.motor.id}/entry", data=fields)
        health, alive = operator.get("/healthz"), operator.get("/livez")
        json = door.post("/readings", body)
        tablet = operator.post("/tablet/readings", json=body)
    migrated_postgres.engine.dispose()  # whoever cleans up after this test was thrown out too
    assert refused.status_code == 503
    assert "cannot be reached" in words_of(refused)
    assert (json.status_code, json.content_type, json.headers["Retry-After"]) == (503, PROBLEM, "15")
    assert (tablet.status_code, tablet.get_json()["id"]) == (503, body["id"])  # a tablet knows that it was our server
    assert "same entry is never kept twice" in tablet.get_json()["detail"]
    assert (health.status_code, alive.status_code) == (503, 200)
    assert operator.post(f"/motors/{plant.motor.id}/entry", data=fields_of(refused)).status_code == 303
    assert enter(operator, plant.motor, key=KEY, amps_1="81").status_code == 303  # and sent once more
    assert door.post("/readings", body).status_code == 201
    assert len(readings_of(app_database, plant.motor)) == 2
    assert operator.get("/healthz").status_code == 200


@pytest.mark.parametrize(("said", "title"), [
    ("disk I/O error", "The server's disk fails"),
    ('could not fsync file "pg_wal/1": Input/output error', "The server's disk fails"),
    ("database or disk is full", "The server's disk is full"),
    ("connection refused", "The database cannot be reached"),
])
def test_a_failing_disk_is_not_told_as_a_database_that_cannot_be_reached(said: str, title: str) -> None:
    """SQLite's words by its manual (rescode.html), PostgreSQL's by its server's messages; both from memory."""
    assert storage_faults.told(OperationalError("INSERT", {}, Exception(said)))[0] == title
