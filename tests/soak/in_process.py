"""What goes wrong within a server, brought about from within: an end at an exact place, a file that may not be written,
a clock that jumps. By the events of the database library and the app's own clock; nothing of the app is replaced."""

from __future__ import annotations

import itertools
import os
import signal
import threading
import traceback
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

#: Where a server ends: the entry's transaction is complete but for its commit; or committed and not yet answered.
BEFORE_COMMIT, AFTER_COMMIT = "before the commit", "after the commit, before the answer"
_A_READING = ("INSERT INTO reading ", "INSERT INTO reading(")


def run(faults: dict[str, Any]) -> None:
    """Becomes the server with these faults in it. Never returns.

    end: at BEFORE_COMMIT or AFTER_COMMIT of entry number `nth`. read_only: a path; while it is there, SQLite may not
    write. clock: a path; the hours in it are what the clock is wrong by.
    """
    if "end" in faults:
        end_at(faults["end"], faults["nth"])
    if "read_only" in faults:
        read_only_while(Path(faults["read_only"]))
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


def read_only_while(path: Path) -> None:
    @sa.event.listens_for(sa.Engine, "begin")
    def _may_write(connection: sa.Connection) -> None:
        connection.exec_driver_sql(f"PRAGMA query_only={'ON' if path.exists() else 'OFF'}")
