"""What goes wrong within a server, brought about from within: an end at an exact place, a file that may not be written,
a clock that jumps. By the events of the database library and the app's own clock; nothing of the app is replaced."""

from __future__ import annotations

import faulthandler
import itertools
import os
import queue
import signal
import socket
import sys
import threading
import time
import traceback
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import FrameType
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

#: Where a server ends: the entry's transaction is complete but for its commit; or committed and not yet answered.
BEFORE_COMMIT, AFTER_COMMIT = "before the commit", "after the commit, before the answer"
_A_READING = ("INSERT INTO reading ", "INSERT INTO reading(")


def run(faults: dict[str, Any]) -> None:
    """Becomes the server with these faults in it. Never returns.

    end: at BEFORE_COMMIT or AFTER_COMMIT of entry number `nth`. read_only: a path; while it is there, SQLite may not
    write. told_to_end: SIGTERM comes while the first request is handed to a thread. clock: a path; the hours in it are
    what the clock is wrong by.
    """
    faulthandler.register(signal.SIGUSR1)
    if "end" in faults:
        end_at(faults["end"], faults["nth"])
    if "read_only" in faults:
        read_only_while(Path(faults["read_only"]))
    if "told_to_end" in faults:
        told_to_end_at_a_hand_over()
    try:
        _serve(Path(faults["clock"])) if "clock" in faults else _as_always()
    except SystemExit as over:
        os._exit(over.code if isinstance(over.code, int) else 1)
    except BaseException:
        traceback.print_exc()
    os._exit(1)


def _as_always() -> None:
    from app.cli import main

    main(["serve", "--port", "0"])


def _serve(wrong_by: Path) -> None:
    """`round-sheet serve` on another clock."""
    from app import serving
    from app.cli_ground import opened, say

    with opened() as (settings, _):
        serving.serve(settings, settings.host, 0, None, None, say, clock=Jumping(wrong_by))
    raise SystemExit(0)


class Jumping:
    """The machine's time, wrong by the hours in a file."""

    def __init__(self, wrong_by: Path) -> None:
        self._wrong_by = wrong_by

    def __call__(self) -> datetime:
        return datetime.now(UTC) + timedelta(hours=float(self._wrong_by.read_text() or 0))


def end_at(where: str, nth: int) -> None:
    """kill -9 of itself at the nth commit that stores a reading."""
    count, here = itertools.count(1), threading.local()

    def _stored(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if statement.startswith(_A_READING):
            here.stage = "stored"

    def _commits(_connection: Any) -> None:  # of a whole transaction; a savepoint's end is none
        if getattr(here, "stage", "") == "stored":
            here.stage = "commits"
            here.last = next(count) == nth
            if here.last and where == BEFORE_COMMIT:
                os.kill(os.getpid(), signal.SIGKILL)

    def _committed(_session: Any) -> None:
        if getattr(here, "stage", "") == "commits":
            here.stage = ""
            if here.last:
                os.kill(os.getpid(), signal.SIGKILL)

    sa.event.listen(sa.Engine, "after_cursor_execute", _stored)
    sa.event.listen(sa.Engine, "commit", _commits)
    sa.event.listen(Session, "after_commit", _committed)


def told_to_end_at_a_hand_over() -> None:
    """SIGTERM in the middle of waking the thread that shall take the first request: it has been let go, and still
    stands in the list of those that wait. The end takes a moment (a slow look-up of its own address), so that this
    thread has done its work and waits again before all are told to end."""
    at_once = socket.getaddrinfo

    def _slowly(*asked: Any, **more: Any) -> Any:
        time.sleep(0.5)
        return at_once(*asked, **more)

    def _watch(frame: FrameType, event: str, what: Any) -> None:
        if (event == "c_return" and what.__name__ == "release" and frame.f_code is threading.Condition.notify.__code__
                and frame.f_back is not None and frame.f_back.f_code is queue.Queue.put.__code__):
            sys.setprofile(None)
            socket.getaddrinfo = _slowly
            os.kill(os.getpid(), signal.SIGTERM)

    sys.setprofile(_watch)


def read_only_while(path: Path) -> None:
    @sa.event.listens_for(sa.Engine, "begin")
    def _may_write(connection: sa.Connection) -> None:
        connection.exec_driver_sql(f"PRAGMA query_only={'ON' if path.exists() else 'OFF'}")
