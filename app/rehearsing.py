"""Rehearsals in the background of a server: one a unit at a time, its progress and its outcome held in memory only.

They are gone when the server stops, and say so: nothing of a rehearsal is stored.
"""

from __future__ import annotations

import logging
import secrets
import threading
from dataclasses import dataclass, field
from datetime import datetime

from app.db import Database
from app.rehearsal import Asked, BadRehearsal, Rehearsal, rehearse
from app.store import motors
from app.store.units import Unit

#: So many are held; the oldest make room.
MOST_HELD = 20
log = logging.getLogger(__name__)


class OneIsRunning(RuntimeError):
    """This unit has a rehearsal under way: `key` names it."""

    def __init__(self, key: str) -> None:
        self.key = key
        super().__init__("A rehearsal of this unit is under way.")


@dataclass
class Running:
    """One rehearsal: asked for by whom, how far it is, what came of it."""

    key: str
    unit_id: int
    by: str
    begun_at: datetime
    done: int = 0
    of: int = 0
    found: Rehearsal | None = None
    failed: str | None = None
    stop: bool = False
    over: threading.Event = field(default_factory=threading.Event)


class _Stopped(Exception):
    """Somebody pressed Stop, or the server is going down."""


@dataclass
class Rehearsals:
    """The rehearsals of one running app."""

    _held: dict[str, Running] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def get(self, unit_id: int, key: str) -> Running | None:
        """One of this unit's; another unit's does not exist here."""
        running = self._held.get(key)
        return running if running is not None and running.unit_id == unit_id else None

    def begin(self, database: Database, unit_id: int, by: str, now: datetime, start: datetime, end: datetime,
              asked: list[tuple[str, float, int | None]]) -> Running:
        """Starts one in a thread of its own: name, SI value and motor's id of each limit. Raises OneIsRunning."""
        with self._lock:
            for other in self._held.values():
                if other.unit_id == unit_id and not other.over.is_set():
                    raise OneIsRunning(other.key)
            running = Running(secrets.token_urlsafe(12), unit_id, by, now)
            self._held[running.key] = running
            while len(self._held) > MOST_HELD:
                del self._held[next(iter(self._held))]
        work = threading.Thread(target=_play, args=(running, database, start, end, asked), daemon=True,
                                name=f"rehearsal {running.key}")
        work.start()
        return running


def _play(running: Running, database: Database, start: datetime, end: datetime,
          asked: list[tuple[str, float, int | None]]) -> None:
    def told(done: int, of: int) -> None:
        running.done, running.of = done, of
        if running.stop:
            raise _Stopped

    try:
        with database.reading() as session:
            unit = session.get_one(Unit, running.unit_id)
            wanted = [Asked(name, value, motors.motor_by_id(session, unit.id, motor_id) if motor_id else None)
                      for name, value, motor_id in asked]
            found = rehearse(session, unit, start, end, wanted, told, unit.show)
            session.expunge_all()  # the outcome outlives the session
        running.found = found
    except _Stopped:
        running.failed = "It was stopped before it was through."
    except BadRehearsal as error:
        running.failed = str(error)
    except Exception:  # a thread that dies in silence would leave the page waiting for ever
        log.exception("rehearsal %s", running.key)
        running.failed = "The server failed at it. Begin again; if it happens again, look at the server's log."
    finally:
        running.over.set()
