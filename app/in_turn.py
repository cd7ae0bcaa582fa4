"""Requests that have arrived whole, answered one after the other by a single thread.

Python works on one core at a time. Where several threads save at once, each takes the interpreter out of the others'
hands some forty times a save (whenever one waits for the file), which costs as much again as half the save. And SQLite
has one writer. So what tablets send is put in a row; who only looks, or sends slowly, stays with the other threads.
Entries that wait in the row are stored by one commit (app/store/together.py), and nobody is told before it.
"""

from __future__ import annotations

import contextlib
import queue
import re
import socket
import ssl
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any, NamedTuple, Protocol

from sqlalchemy.exc import DBAPIError

from app.store.together import Alone, Together

#: Longer requests are read by a thread of their own.
MOST_BYTES = 16 * 1024
#: When one request takes so long, those behind it go to the other threads.
LONG_S = 0.25
#: So many entries are stored by one commit, and after so long no further one begins: who waits for it waits no longer.
MOST_TOGETHER, LONG_TOGETHER_S = 16, 0.02
#: What is stored by one commit with others: a page's entry, and a tablet's queue.
_ENTRY = re.compile(rb"POST /(?:motors/\d+/entry|tablet/readings) ")
_LENGTH = re.compile(rb"\r\ncontent-length: *(\d{1,9})(?=\r\n)", re.IGNORECASE)

#: Where the system knows it; the selector has said that something is there.
_AT_ONCE: int = getattr(socket, "MSG_DONTWAIT", 0)


def lies_whole(conn: Any) -> bool:
    """Whether a connection holds one whole request that sends something, so that reading it waits for nobody; then it
    is `conn.whole`, still unread. Of TLS only the other end knows."""
    if isinstance(conn.socket, ssl.SSLSocket) or conn.rfile.has_data():
        return False
    try:
        there = conn.socket.recv(MOST_BYTES, socket.MSG_PEEK | _AT_ONCE)
    except OSError:  # gone, or nothing there
        return False
    end = there.find(b"\r\n\r\n")
    if end < 0 or not there.startswith(b"POST "):
        return False
    lengths = _LENGTH.findall(there, 0, end + 2)
    whole = len(lengths) == 1 and len(there) == end + 4 + int(lengths[0])
    if whole:
        conn.whole = there
    return whole


def _is_entry(conn: Any) -> bool:
    return _ENTRY.match(conn.whole) is not None


class Answer(NamedTuple):
    """What a connection is to be told, and whether it is kept."""

    says: bytes
    keep: bool


class Server(Protocol):
    """What the row asks of its server."""

    def place_to_send(self) -> AbstractContextManager[None]:
        """A place at work for all that this thread has answered meanwhile."""

    def answer_of(self, conn: Any) -> Answer:
        """Has the request answered that lies whole; nobody is told of it yet. Asked again, it is answered again."""

    def tell(self, conn: Any, answer: Answer) -> None:
        """Tells the answer, and sees to the connection."""

    def hand_on(self, conn: Any) -> None:
        """Gives the connection to the other threads."""


class InTurn:
    """The row. together: where several entries are stored by one commit."""

    def __init__(self, server: Server, together: Callable[[], AbstractContextManager[Together]] | None = None) -> None:
        self._server, self._together = server, together
        self._row: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._answered, self._some_wait, self._ended = 0, threading.Event(), threading.Event()
        self._threads = [threading.Thread(target=work, daemon=True, name=name) for work, name in (
            (self._work, "in turn"), (self._watch, "in turn, watched"))]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def put(self, conn: Any) -> None:
        self._row.put(conn)
        if not self._some_wait.is_set():
            self._some_wait.set()

    def end(self) -> None:
        """What was put before is answered first."""
        if self._ended.is_set() or not self._threads[0].is_alive():
            return
        self._ended.set()
        self._row.put(None)
        self._some_wait.set()
        for thread in self._threads:
            thread.join()

    def _work(self) -> None:
        conn = self._row.get()
        while conn is not None:
            if self._together is None or self._row.empty() or not _is_entry(conn):
                self._server.tell(conn, self._answer_of(conn))
                conn = self._row.get()
            else:
                conn = self._store_together(conn, self._together) or self._row.get()

    def _answer_of(self, conn: Any) -> Answer:
        answer = self._server.answer_of(conn)
        self._answered += 1
        return answer

    def _store_together(self, conn: Any, together: Callable[[], AbstractContextManager[Together]]) -> Any:
        """Entries that wait, stored by one commit and told after it. Whoever came next and is answered otherwise, or
        None."""
        held: list[tuple[Any, Answer]] = []
        until = time.monotonic() + LONG_TOGETHER_S
        with self._server.place_to_send(), together() as stored:
            for _ in range(MOST_TOGETHER):
                stored.next_one()
                try:
                    held.append((conn, self._answer_of(conn)))
                except Alone:
                    break
                conn = None
                if not stored.waits and not stored.lost:
                    held = self._tell(held)
                if stored.lost or time.monotonic() > until:
                    break
                conn = self._next()
                if conn is None or not _is_entry(conn):
                    break
            with contextlib.suppress(DBAPIError):
                stored.settle()
        self._tell([(one, self._answer_of(one)) for one, _ in held] if stored.lost else held)
        return conn

    def _tell(self, held: list[tuple[Any, Answer]]) -> list[tuple[Any, Answer]]:
        for conn, answer in held:
            self._server.tell(conn, answer)
        return []

    def _next(self) -> Any:
        """Who waits in the row. The end of the row stays there."""
        with contextlib.suppress(queue.Empty):
            conn = self._row.get_nowait()
            if conn is not None:
                return conn
            self._row.put(None)
        return None

    def _watch(self) -> None:
        """Looks once in a while whether the row moves. Sleeps while it is empty."""
        while self._some_wait.wait() and not self._ended.is_set():
            self._some_wait.clear()
            answered = self._answered
            if self._ended.wait(LONG_S) or self._row.empty():
                continue
            self._some_wait.set()
            if self._answered == answered:
                self._disperse()

    def _disperse(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                conn = self._row.get_nowait()
                if conn is None:  # the end is for the thread that works
                    self._row.put(conn)
                    return
                self._server.hand_on(conn)
