"""The program as it is run, in a process of its own, that can be killed like a power cut would."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.orm import Session

from app import checkup, create_app, guessing, tickets, utc_now
from app.config import Settings
from app.db import Database
from app.store.people import HEAD_OPERATOR, Person, Token
from app.store.rounds import Reading
from app.store.units import Unit
from tests import factories

ROOT = Path(__file__).resolve().parent.parent.parent
MOTORS = 40


@dataclass(frozen=True)
class Crew:
    """One operator with a tablet: the cookie of their session, the ticket of their shift."""

    sign_in: str
    cookie: str
    ticket: str


@dataclass
class Ground:
    """An instance with a unit of 40 motors, its people and a token; its database is empty otherwise."""

    folder: Path
    url: str
    token: str
    tags: list[str]
    crew: list[Crew]
    head_operator: Crew

    def environment(self) -> dict[str, str]:
        return {**{k: v for k, v in os.environ.items() if not k.startswith("ROUND_SHEET_")},
                "ROUND_SHEET_INSTANCE": str(self.folder), "ROUND_SHEET_DATABASE_URL": self.url}

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """The database itself, past any server."""
        database = Database(self.url)
        try:
            with database.reading() as session:
                yield session
        finally:
            database.close()

    def stored(self) -> list[str]:
        """The ids of every reading."""
        with self.reading() as session:
            return [str(key) for key in session.scalars(sa.select(Reading.id))]

    def doctor(self) -> str:
        """What `round-sheet doctor` finds wrong; empty when every invariant holds."""
        with self.reading() as session:
            return "; ".join(f"{one.says}: {one.count}" for one in checkup.run(session) if not one.good)


def program() -> list[str]:
    return [sys.executable, "-c", "from app.cli import main; main()"]


def lay_ground(folder: Path, url: str = "", crew: int = 0) -> Ground:
    """crew: how many operators are signed in besides the head operator; the first is called "operator". 0: nobody."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = Settings(instance=folder, database_url=url)
    database = Database(settings.url)
    database.upgrade()
    clear = guessing.new_token()
    with database.writing() as session:
        unit = factories.make_unit(session)
        people = [factories.make_person(session, unit, sign_in=f"operator-{i}" if i else "operator")
                  for i in range(crew or 1)]
        head = factories.make_person(session, unit, HEAD_OPERATOR)
        tags = [factories.make_motor(session, unit, f"P-{i:03d}", route_order=float(i)).tag for i in range(MOTORS)]
        session.add(Token(unit_id=unit.id, name="load", scope="record", hash=guessing.hash_token(clear),
                          created_at=factories.LONG_AGO))
        session.commit()
    database.close()
    signed_in = _signed_in(settings, unit, [*people, head]) if crew else [Crew(head.sign_in, "", "")]
    return Ground(folder, settings.url, clear, tags, signed_in[:-1], signed_in[-1])


def _signed_in(settings: Settings, unit: Unit, people: list[Person]) -> list[Crew]:
    """Each signs in by the page and is given the ticket of the shift, as with the sheet."""
    app, now = create_app(settings), utc_now()
    given = []
    for person in people:
        client = factories.sign_in(app.test_client(), person)
        cookie = client.get_cookie("rounds")
        assert cookie is not None
        ticket = tickets.for_shift(person.id, unit.id, unit.calendar.shift_of(now), now)
        given.append(Crew(person.sign_in, f"rounds={cookie.value}", tickets.issue(settings.secret, ticket)))
    app.extensions["database"].close()
    return given


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
