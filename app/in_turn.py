"""Requests that have arrived whole, answered one after the other by a single thread.

Python works on one core at a time. Where several threads save at once, each takes the interpreter out of the others'
hands some forty times a save (whenever one waits for the file), which costs as much again as half the save. And SQLite
has one writer. So what tablets send is put in a row; who only looks, or sends slowly, stays with the other threads.
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
from typing import Any

#: Longer requests are read by a thread of their own.
MOST_BYTES = 16 * 1024
#: When one request takes so long, those behind it go to the other threads.
LONG_S = 0.25
_LENGTH = re.compile(rb"\r\ncontent-length: *(\d{1,9})(?=\r\n)", re.IGNORECASE)

#: Where the system knows it; the selector has said that something is there.
_AT_ONCE: int = getattr(socket, "MSG_DONTWAIT", 0)


def lies_whole(conn: Any) -> bool:
    """Whether a connection holds one whole request that sends something, so that reading it waits for nobody. Of TLS
    only the other end knows."""
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
    return len(lengths) == 1 and len(there) == end + 4 + int(lengths[0])


class InTurn:
    """The row. answer: answers one connection's request and sees to the connection; hand_on: gives it to the other
    threads."""

    def __init__(self, answer: Callable[[Any], None], hand_on: Callable[[Any], None]) -> None:
        self._answer, self._hand_on = answer, hand_on
        self._row: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._answered, self._some_wait, self._ended = 0, threading.Event(), False
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
        if self._ended or not self._threads[0].is_alive():
            return
        self._ended = True
        self._row.put(None)
        self._some_wait.set()
        for thread in self._threads:
            thread.join()

    def _work(self) -> None:
        while (conn := self._row.get()) is not None:
            self._answer(conn)
            self._answered += 1

    def _watch(self) -> None:
        """Looks once in a while whether the row moves. Sleeps while it is empty."""
        while self._some_wait.wait() and not self._ended:
            self._some_wait.clear()
            answered = self._answered
            time.sleep(LONG_S)
            if self._row.empty() or self._ended:
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
                self._hand_on(conn)
