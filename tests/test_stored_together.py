"""What tablets send at the change of shift is stored by few commits, and nobody is told of an entry before its own."""

from __future__ import annotations

import io
import json
import socket
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlencode

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from app.db import Database
from app.patient_server import PatientServer, WholeBodyFirst
from app.store.rounds import Reading
from tests.conftest import Clock, by_nature_sqlite
from tests.entering import QUIET
from tests.factories import Plant, form_token, make_motor, sign_in
from tests.web.at_motor import answers
from tests.web.test_storage_faults import full_disk

pytestmark = by_nature_sqlite("several saves are stored by one commit where there is one writer")
SOON_S = 10
HERE = "http://localhost"
TAGS = [f"P-20{i}" for i in range(6)]


class Server:
    """The app served on its socket. While `busy`, what arrives waits in the row."""

    def __init__(self, app: Flask, cookie: str) -> None:
        self._app, self._cookie = app, cookie
        self._go, self._at_it = threading.Event(), threading.Event()
        database = app.extensions["database"]
        self.server = PatientServer(("127.0.0.1", 0), self._answer, 4, True, database.together)

    def _answer(self, environ: dict[str, Any], start: Any) -> Any:
        if environ["PATH_INFO"] == "/busy":
            self._at_it.set()
            assert self._go.wait(SOON_S)
        return self._app.wsgi_app(environ, start)

    def line(self) -> socket.socket:
        return socket.create_connection(self.server.bind_addr, SOON_S)

    def send(self, line: socket.socket, path: str, kind: str, body: str) -> None:
        sent = body.encode()
        line.sendall(f"POST {path} HTTP/1.1\r\nHost: localhost\r\nOrigin: {HERE}\r\nCookie: rounds={self._cookie}\r\n"
                     f"Content-Type: {kind}\r\nContent-Length: {len(sent)}\r\n\r\n".encode() + sent)

    def together(self, sent: list[tuple[str, str, str]]) -> list[tuple[int, bytes]]:
        """Each answer's status and text; all of them stood in the row before the first was begun."""
        self._go.clear(), self._at_it.clear()
        busy, lines = self.line(), [self.line() for _ in sent]
        self.send(busy, "/busy", "text/plain", "-")
        assert self._at_it.wait(SOON_S)
        for line, one in zip(lines, sent, strict=True):
            before = self.waiting
            self.send(line, *one)
            until = time.monotonic() + SOON_S
            while self.waiting == before:
                assert time.monotonic() < until
                time.sleep(0.001)
        self._go.set()
        told = [_told(line) for line in [busy, *lines]][1:]
        for line in [busy, *lines]:
            line.close()
        return told

    @property
    def waiting(self) -> int:
        assert self.server._in_turn is not None
        return self.server._in_turn._row.qsize()


def _told(line: socket.socket) -> tuple[int, bytes]:
    got = b""
    while b"\r\n\r\n" not in got:
        piece = line.recv(65_536)
        assert piece, got
        got += piece
    head, _, body = got.partition(b"\r\n\r\n")
    length = next(int(row.split(b":")[1]) for row in head.split(b"\r\n") if row.lower().startswith(b"content-length:"))
    while len(body) < length:
        body += line.recv(65_536)
    return int(head.split(b" ", 2)[1]), body


@pytest.fixture
def motors(app_database: Database, plant: Plant) -> list[str]:
    with app_database.writing() as session:
        for i, tag in enumerate(TAGS):
            make_motor(session, plant.unit, tag, route_order=10.0 + i, greased=False)
        session.commit()
    return TAGS


@pytest.fixture
def row(app: Flask, client: FlaskClient, plant: Plant, motors: list[str],
        monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    monkeypatch.setattr("app.in_turn.LONG_S", SOON_S)  # the row waits for the test, however slow the machine
    monkeypatch.setattr("app.in_turn.LONG_TOGETHER_S", SOON_S)
    sign_in(client, plant.operator)
    client.get("/sheet")  # the shift's round is open
    cookie = client.get_cookie("rounds")
    assert cookie is not None
    made = Server(app, cookie.value)
    made.server.prepare()
    thread = threading.Thread(target=made.server.serve, daemon=True)
    thread.start()
    yield made
    made.server.stop()
    thread.join()


@contextmanager
def commits(database: Database) -> Iterator[list[int]]:
    """After each commit: how many readings it left on the disk."""
    found: list[int] = []

    def count(connection: Any) -> None:
        cursor = connection.connection.cursor()
        found.append(cursor.execute("SELECT count(*) FROM reading").fetchone()[0])

    sa.event.listen(database.engine, "commit", count)
    try:
        yield found
    finally:
        sa.event.remove(database.engine, "commit", count)


def body(clock: Clock, plant: Plant, tag: str, **more: Any) -> dict[str, Any]:
    at = clock.now.isoformat()
    return {"id": str(uuid.uuid4()), "tag": tag, "taken_at": at, "device_now": at, "by": plant.operator.sign_in,
            **QUIET, "current_a": [60.0], **more}


def queued(entry: dict[str, Any]) -> tuple[str, str, str]:
    return "/tablet/readings", "application/json", json.dumps(entry)


def stored(database: Database) -> list[str]:
    with database.reading() as session:
        return sorted(str(key) for key in session.scalars(sa.select(Reading.id)))


def test_entries_that_wait_are_stored_by_one_commit_and_each_is_told_its_own(
        row: Server, app_database: Database, clock: Clock, plant: Plant, motors: list[str]) -> None:
    row.together([queued(body(clock, plant, tag)) for tag in motors])  # the first of a round opens things
    clock.advance(minutes=40)
    entries = [body(clock, plant, tag) for tag in motors]
    with commits(app_database) as made:
        told = row.together([queued(entry) for entry in entries])
    assert [(status, json.loads(text)["id"]) for status, text in told] == [(201, entry["id"]) for entry in entries]
    assert set(stored(app_database)) >= {entry["id"] for entry in entries}
    assert len(made) < len(entries) / 2, made
    assert made[-1] == 2 * len(entries)


def test_a_page_an_entry_with_a_fault_and_one_sent_twice_are_each_answered_as_by_themselves(
        row: Server, client: FlaskClient, app_database: Database, clock: Clock, plant: Plant,
        motors: list[str]) -> None:
    good, hot, wrong, last = [body(clock, plant, tag) for tag in motors[:4]]
    hot.update(smoke="seen", bearing_feel={"DE": "too hot to hold", "ODE": "warm"})
    wrong["current_a"] = [-5.0]
    page = {"id": str(uuid.uuid4()), "csrf_token": form_token(client), **answers(amps_1="78")}
    told = row.together([
        queued(good), queued(hot), queued(wrong), (f"/motors/{plant.motor.id}/entry",
                                                   "application/x-www-form-urlencoded", urlencode(page, doseq=True)),
        queued(good), queued({**good, "current_a": [61.0]}), queued(last)])
    assert [status for status, _ in told] == [201, 201, 422, 303, 200, 409, 201]
    assert "smoke" in {found["rule"] for found in json.loads(told[1][1])["findings"]}
    assert stored(app_database) == sorted([good["id"], hot["id"], page["id"], last["id"]])


def test_on_a_full_disk_each_is_told_that_nothing_of_it_was_stored_and_sends_it_again(
        row: Server, app_database: Database, clock: Clock, plant: Plant, motors: list[str]) -> None:
    remarks = "hums " * 380
    row.together([queued(body(clock, plant, tag)) for tag in motors])
    clock.advance(minutes=40)
    entries = [body(clock, plant, tag, remarks=remarks) for tag in motors]
    with full_disk(app_database):
        told = row.together([queued(entry) for entry in entries])
        there = set(stored(app_database))
    statuses = [status for status, _ in told]
    assert [entry["id"] in there for entry in entries] == [status == 201 for status in statuses]
    assert set(statuses[2:]) == {503}  # what was free within the file may have taken the first
    assert all(json.loads(text)["id"] == entry["id"] for (_, text), entry in zip(told, entries, strict=True))
    again = row.together([queued(entry) for entry in entries])
    assert [status for status, _ in again] == [200 if entry["id"] in there else 201 for entry in entries]


def test_when_their_commit_fails_each_is_answered_anew_by_itself(
        row: Server, app_database: Database, clock: Clock, plant: Plant, motors: list[str]) -> None:
    row.together([queued(body(clock, plant, tag)) for tag in motors])
    clock.advance(minutes=40)
    entries = [body(clock, plant, tag) for tag in motors]
    failed = []

    def fail_once(connection: Any) -> None:
        """As a disk that cannot take what was written, at the moment when it has to be there."""
        if not failed:
            failed.append(connection)
            raise sa.exc.OperationalError("COMMIT", (), Exception("disk I/O error"))

    sa.event.listen(app_database.engine, "commit", fail_once)
    try:
        told = row.together([queued(entry) for entry in entries])
    finally:
        sa.event.remove(app_database.engine, "commit", fail_once)
    assert failed and [status for status, _ in told] == [201] * len(entries)
    assert set(stored(app_database)) >= {entry["id"] for entry in entries}


def test_nobody_is_told_before_the_commit(
        row: Server, app_database: Database, clock: Clock, plant: Plant, motors: list[str],
        monkeypatch: pytest.MonkeyPatch) -> None:
    row.together([queued(body(clock, plant, tag)) for tag in motors])
    clock.advance(minutes=40)
    missing: list[str] = []
    tell: Callable[..., None] = row.server.tell

    def noted(conn: Any, answer: Any) -> None:
        if answer.says.startswith(b"HTTP/1.1 201"):
            key = json.loads(answer.says.partition(b"\r\n\r\n")[2])["id"]
            with app_database.engine.connect() as other:  # another connection than the one it was stored by
                there = other.scalar(sa.select(sa.func.count()).where(Reading.id == uuid.UUID(key)))
            missing.extend([] if there == 1 else [key])
        tell(conn, answer)

    monkeypatch.setattr(row.server, "tell", noted)
    told = row.together([queued(body(clock, plant, tag)) for tag in motors])
    assert ([status for status, _ in told], missing) == ([201] * len(motors), [])


def test_a_place_at_work_is_kept_until_the_commit_so_that_nobody_who_has_one_is_waited_for(
        row: Server, app_database: Database, clock: Clock, plant: Plant, motors: list[str]) -> None:
    """Else the row, which holds the turn to write, could wait for a place of those who wait for that turn."""
    row.together([queued(body(clock, plant, tag)) for tag in motors])
    clock.advance(minutes=40)
    places, free = row.server._first._places_to_send, []

    def count(_: Any) -> None:
        got = 0
        while places.acquire(blocking=False):
            got += 1
        for _ in range(got):
            places.release()
        free.append(got)

    sa.event.listen(app_database.engine, "commit", count)
    row.together([queued(body(clock, plant, tag)) for tag in motors])
    assert set(free) == {2}  # of three for those who send


def test_who_keeps_a_place_is_answered_in_it_as_often_as_they_ask() -> None:
    def app(_: dict[str, Any], start: Any) -> list[bytes]:
        start("201 Created", [])
        return [b"kept"]

    at_work = WholeBodyFirst(app, at_once=2)  # one of them for those who send
    told = []
    with at_work.place_to_send():
        for _ in range(2):
            told += at_work({"CONTENT_LENGTH": "2", "wsgi.input": io.BytesIO(b"hi")}, lambda *_: None)
    assert told == [b"kept", b"kept"]
    told += at_work({"CONTENT_LENGTH": "2", "wsgi.input": io.BytesIO(b"hi")}, lambda *_: None)
    assert len(told) == 3
