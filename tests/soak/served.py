"""The program as it is run, in a process of its own, that can be killed like a power cut would."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from app import guessing
from app.config import Settings
from app.db import Database
from app.store.people import Token
from app.store.rounds import Reading
from tests import factories

ROOT = Path(__file__).resolve().parent.parent.parent
MOTORS = 40


@dataclass
class Ground:
    """An instance with a unit of 40 motors, one person and a token; its database is empty otherwise."""

    folder: Path
    url: str
    token: str
    tags: list[str]
    lock: threading.Lock = field(default_factory=threading.Lock)
    sent: set[str] = field(default_factory=set)
    acknowledged: set[str] = field(default_factory=set)

    def environment(self) -> dict[str, str]:
        return {**{k: v for k, v in os.environ.items() if not k.startswith("ROUND_SHEET_")},
                "ROUND_SHEET_INSTANCE": str(self.folder), "ROUND_SHEET_DATABASE_URL": self.url}

    def stored(self) -> list[str]:
        """The ids of every reading, read from the database itself."""
        database = Database(self.url)
        try:
            with database.reading() as session:
                return [str(key) for key in session.scalars(sa.select(Reading.id))]
        finally:
            database.close()

    def doctor(self) -> str:
        """What `round-sheet doctor` finds wrong; empty when every invariant holds."""
        done = subprocess.run([*program(), "doctor"], cwd=ROOT, env=self.environment(), capture_output=True, text=True)
        return "" if done.returncode == 0 else done.stdout + done.stderr


def program() -> list[str]:
    return [sys.executable, "-c", "from app.cli import main; main()"]


def lay_ground(folder: Path, url: str = "") -> Ground:
    folder.mkdir(parents=True)
    url = url or Settings(instance=folder).url
    database = Database(url)
    database.upgrade()
    clear = guessing.new_token()
    with database.writing() as session:
        unit = factories.make_unit(session)
        factories.make_person(session, unit)
        tags = [factories.make_motor(session, unit, f"P-{i:03d}", route_order=float(i)).tag for i in range(MOTORS)]
        session.add(Token(unit_id=unit.id, name="load", scope="record", hash=guessing.hash_token(clear),
                          created_at=factories.LONG_AGO))
        session.commit()
    database.close()
    return Ground(folder, url, clear, tags)


class Served:
    """A running `round-sheet serve`."""

    def __init__(self, ground: Ground, *options: str) -> None:
        self.ground = ground
        log = ground.folder / "log"
        with log.open("wb") as said:
            self.process = subprocess.Popen([*program(), "serve", "--port", "0", *options], cwd=ROOT,
                                            env=ground.environment(), stderr=said, stdout=subprocess.DEVNULL)
        while (found := re.search(r"https?://127\.0\.0\.1:(\d+)", log.read_text())) is None:
            if self.process.poll() is not None:
                raise RuntimeError(f"it did not start: {log.read_text()}")
            time.sleep(0.02)
        self.port = int(found[1])

    def kill(self) -> None:
        """As a power cut of the machine would end it: at once, wherever it is."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> int:
        self.process.terminate()
        return self.process.wait(30)


@contextmanager
def serving(ground: Ground, *options: str) -> Iterator[Served]:
    served = Served(ground, *options)
    try:
        yield served
    finally:
        if served.process.poll() is None:
            served.stop()


class Sender:
    """One tablet or panel: sends entries, remembers which were acknowledged by their own id."""

    def __init__(self, ground: Ground, port: int) -> None:
        self.ground, self.connection = ground, HTTPConnection("127.0.0.1", port, timeout=30)

    def close(self) -> None:
        self.connection.close()

    def post(self, bodies: list[dict[str, Any]]) -> bool:
        """Sends a list. True when the server answered; then what it acknowledged is noted."""
        with self.ground.lock:
            self.ground.sent |= {b["id"] for b in bodies}
        try:
            self.connection.request("POST", "/api/v1/readings", json.dumps(bodies), {
                "Authorization": f"Bearer {self.ground.token}", "Content-Type": "application/json"})
            answer = self.connection.getresponse()
            data = answer.read()
        except (OSError, HTTPException):
            self.connection.close()
            return False
        if answer.status != 200:
            raise AssertionError(f"{answer.status}: {data[:300]!r}")
        told = json.loads(data)
        refused = [one for one in told if "stored" not in one]
        assert not refused, refused[:2]
        with self.ground.lock:
            self.ground.acknowledged |= {one["id"] for one in told}
        return True


def body(ground: Ground, number: int, key: str | None = None) -> dict[str, Any]:
    return {"id": key or str(uuid.uuid4()), "tag": ground.tags[number % len(ground.tags)],
            "taken_at": datetime.now(UTC).isoformat(), "by": "operator", "state": "running", "smoke": "none",
            "bearing_temp_c": {"DE": 61.0, "ODE": 58.0}, "method": "contact", "current_a": [80.0]}
