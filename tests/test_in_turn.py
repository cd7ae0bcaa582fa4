"""What tablets send whole is answered in a row, and nobody waits behind one that takes long."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from app.in_turn import Answer, lies_whole
from app.patient_server import Connection, PatientServer

SOON_S = 10
WHOLE = b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 2\r\n\r\nhi"

App = Callable[[dict[str, Any], Any], Iterable[bytes]]


@contextmanager
def running(app: App) -> Iterator[PatientServer]:
    server = PatientServer(("127.0.0.1", 0), app, at_once=4, in_turn=True)
    server.prepare()
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join()


def line_to(server: PatientServer) -> socket.socket:
    return socket.create_connection(server.bind_addr, SOON_S)


def answer(line: socket.socket) -> bytes:
    got = b""
    while not got.endswith(b"kept"):
        piece = line.recv(4096)
        assert piece, got
        got += piece
    return got


def keep(start: Any) -> list[bytes]:
    start("201 Created", [("Content-Length", "4")])
    return [b"kept"]


class _Line:
    """A connection as the server sees it, with so much sent on it."""

    class _Read:
        def __init__(self, held: bool) -> None:
            self.held = held

        def has_data(self) -> bool:
            return self.held

    def __init__(self, sent: bytes, held: bool = False) -> None:
        self.socket, self._other = socket.socketpair()
        self._other.sendall(sent)
        self.rfile = self._Read(held)

    def close(self) -> None:
        self.socket.close(), self._other.close()


@pytest.mark.parametrize(("sent", "whole"), [
    (WHOLE, True), (WHOLE.replace(b"Content-Length", b"content-length"), True),
    (WHOLE[:-1], False), (WHOLE + b"GET", False), (WHOLE[:20], False), (b"", False),
    (WHOLE.replace(b"POST", b"GET"), False), (WHOLE.replace(b"Content-Length: 2\r\n", b""), False),
    (WHOLE.replace(b"Length: 2", b"Length: 2\r\nContent-Length: 2"), False),
    (WHOLE.replace(b"Length: 2", b"Length: " + 5_000 * b"9"), False),  # more figures than Python makes a number of
    (WHOLE.replace(b"Content-Length: 2", b"Transfer-Encoding: chunked"), False)])
def test_only_one_request_with_all_of_its_body_there_is_put_in_the_row(sent: bytes, whole: bool) -> None:
    line = _Line(sent)
    assert lies_whole(line) is whole
    line.close()


def test_what_follows_bytes_that_were_read_already_is_not_put_in_the_row() -> None:
    line = _Line(WHOLE, held=True)
    assert not lies_whole(line)
    line.close()


def test_an_entry_is_stored_while_another_sender_is_half_way_and_a_third_works_long() -> None:
    may_end, working = threading.Event(), threading.Semaphore(0)

    def app(environ: dict[str, Any], start: Any) -> list[bytes]:
        if environ["PATH_INFO"] == "/long":
            working.release()
            assert may_end.wait(SOON_S)
        return keep(start)

    with running(app) as server:
        half, long, usual, second = (line_to(server) for _ in range(4))
        half.sendall(WHOLE[:-1])
        long.sendall(WHOLE.replace(b"/", b"/long", 1))
        assert working.acquire(timeout=SOON_S)
        usual.sendall(WHOLE), second.sendall(WHOLE)
        assert answer(usual).startswith(b"HTTP/1.1 201"), answer(second)
        may_end.set()
        assert answer(long).startswith(b"HTTP/1.1 201")
        half.sendall(WHOLE[-1:])
        assert answer(half).startswith(b"HTTP/1.1 201")
        usual.sendall(WHOLE)  # the same line again
        assert answer(usual).startswith(b"HTTP/1.1 201")
        for line in (half, long, usual, second):
            line.close()


def test_what_stands_in_the_row_when_the_server_is_told_to_stop_is_answered_first() -> None:
    may_end, working = threading.Event(), threading.Semaphore(0)

    def app(_: dict[str, Any], start: Any) -> list[bytes]:
        working.release()
        assert may_end.wait(SOON_S)
        return keep(start)

    with running(app) as server:
        lines = [line_to(server) for _ in range(3)]
        for line in lines:
            line.sendall(WHOLE)
        assert working.acquire(timeout=SOON_S)
        ending = threading.Thread(target=server.stop)
        ending.start()
        may_end.set()
        ending.join(SOON_S)
        assert not ending.is_alive()
        assert answer(lines[0]).startswith(b"HTTP/1.1 201")
        for line in lines:
            line.close()


def test_a_fault_while_one_is_answered_costs_the_others_nothing() -> None:
    def app(environ: dict[str, Any], start: Any) -> list[bytes]:
        if environ["PATH_INFO"] == "/fault":
            raise RuntimeError("for this test")
        return keep(start)

    with running(app) as server:
        server.error_log = lambda *_, **__: None
        faulty, usual = line_to(server), line_to(server)
        faulty.sendall(WHOLE.replace(b"/", b"/fault", 1))
        assert faulty.recv(4096).startswith(b"HTTP/1.1 500")
        usual.sendall(WHOLE)
        assert answer(usual).startswith(b"HTTP/1.1 201")
        faulty.close(), usual.close()


def test_one_who_does_not_read_their_answer_keeps_nobody_from_being_told() -> None:
    says = b"HTTP/1.1 201 Created\r\n\r\n" + bytes(4 << 20)
    with running(lambda _, start: keep(start)) as server:
        here, there = socket.socketpair()
        here.settimeout(SOON_S), there.settimeout(SOON_S)
        there.sendall(WHOLE)
        conn = Connection(server, here)
        assert lies_whole(conn)
        server.tell(conn, Answer(says, keep=False))  # comes back though nobody reads
        got = b""
        while piece := there.recv(1 << 16):
            got += piece
        assert got == says
        there.close()


def test_one_who_is_gone_before_they_are_told_is_let_go() -> None:
    with running(lambda _, start: keep(start)) as server:
        here, there = socket.socketpair()
        conn = Connection(server, here)
        there.sendall(WHOLE)
        assert lies_whole(conn)
        there.close()
        server.tell(conn, Answer(b"HTTP/1.1 201 Created\r\n\r\n", keep=True))
        assert here.fileno() < 0
