"""What a measurement stands on: a filled database of one kind, the app on it, somebody signed in."""

from __future__ import annotations

import hashlib
import hmac
import tempfile
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from flask import Flask
from flask.testing import FlaskClient

from app import create_app
from app.config import Settings
from app.db import Database
from app.patient_server import PatientServer
from app.rules.facts import ENDS
from app.serving import keep_out_of_collections
from app.store.people import SignedIn, person_by_sign_in
from tests.benchmarks.bulk import Loaded, load
from tests.benchmarks.invented import Machine
from tests.conftest import Clock


@dataclass
class Ground:
    """The app on a filled database. `key` and `token` are the operator's cookie and form token."""

    app: Flask
    loaded: Loaded
    clock: Clock
    folder: Path
    keys: dict[str, str] = field(default_factory=dict)

    @property
    def database(self) -> Database:
        return self.app.extensions["database"]  # type: ignore[no-any-return]

    def signed_in(self, who: str) -> FlaskClient:
        """A browser of this person, without the tenth of a second that a secret costs."""
        client = self.app.test_client()
        client.set_cookie("rounds", self.key_of(who))
        return client

    def key_of(self, who: str) -> str:
        """The value of this person's session cookie."""
        if who not in self.keys:
            value = f"benchmark-{who}"
            with self.database.writing() as session:
                person = person_by_sign_in(session, who)
                assert person is not None
                session.add(SignedIn(key=_hashed(value), person_id=person.id, unit_id=self.loaded.unit_id,
                                     started_at=self.clock.now, expires_at=self.clock.now + timedelta(days=9_999)))
                session.commit()
            self.keys[who] = value
        return self.keys[who]

    def token_of(self, who: str) -> str:
        """The form token of that session."""
        secret = self.app.extensions["settings"].secret
        return hmac.new(secret, b"form " + _hashed(self.key_of(who)).encode(), hashlib.sha256).hexdigest()

    def entry(self, machine: Machine, who: str) -> dict[str, str]:
        """The page at this motor as an operator fills it in, nothing wrong: nine taps and one number."""
        return {"csrf_token": self.token_of(who), "id": str(uuid.uuid4()), "state": "running", "look": "nothing wrong",
                "vibration_both": "as usual", "bearing_feel_DE": "warm", "bearing_feel_ODE": "warm",
                "winding_feel": "warm", "amps_1": f"{machine.rated_a * machine.load:.1f}", "lubricant_both": "ok",
                "cleanliness": "clean"}

    def reading(self, machine: Machine, who: str, at: datetime | None = None) -> dict[str, object]:
        """The same entry as a tablet sends it from its queue. at: when it was made, by a clock as right as ours."""
        instant = (at or self.clock.now).isoformat()
        return {"id": str(uuid.uuid4()), "tag": machine.tag, "taken_at": instant, "device_now": instant, "by": who,
                "state": "running", "smoke": "none", "leak": "none", "guard": "in place", "ground": "in place",
                "vibration_feel": dict.fromkeys(ENDS, "as usual"), "bearing_feel": dict.fromkeys(ENDS, "warm"),
                "winding_feel": "warm", "current_a": [round(machine.rated_a * machine.load, 1)],
                "lubricant": dict.fromkeys(ENDS, "ok"), "cleanliness": "clean"}


def _hashed(value: str) -> str:
    return hashlib.sha256(value.encode()).hexdigest()


@contextmanager
def filled(url: str | None = None, motors: int = 60, days: int = 278, units: int = 1) -> Iterator[Ground]:
    """The app on a new database (SQLite unless a URL is given) with so many like units; the first is looked at."""
    with tempfile.TemporaryDirectory(prefix="rounds-bench-") as name:
        folder = Path(name)
        where = url or f"sqlite:///{folder / 'rounds.sqlite3'}"
        database = Database(where)
        database.upgrade()
        loaded, *_ = [load(database, motors, days, seed=11 + i, unit=f"Unit {i + 1}") for i in range(units)]
        database.close()
        clock = Clock(now=loaded.last_at + timedelta(hours=6))
        # the clock jumps by hours between two measurements: nobody is signed out by it
        settings = Settings(instance=folder, database_url=where, desk_hours=168.0, desk_idle_minutes=1440.0)
        app = create_app(settings, clock=clock)
        keep_out_of_collections()  # as `serve` does before the first request: of what the filling left behind, too
        try:
            yield Ground(app, loaded, clock, folder)
        finally:
            app.extensions["database"].close()


@contextmanager
def served(app: Flask) -> Iterator[int]:
    """The app under the server it is shipped with; the port."""
    database = app.extensions["database"]
    server = PatientServer(("127.0.0.1", 0), app.wsgi_app, Settings.threads, database.is_sqlite, database.together)
    server.prepare()
    keep_out_of_collections()
    thread = threading.Thread(target=server.serve, name="server", daemon=True)
    thread.start()
    try:
        yield server.bind_addr[1]
    finally:
        server.stop()
        thread.join()


class Running:
    """A clock that runs so many times faster than the wall's. Fifty people who save a thousand times a second between
    them are still a minute of walking apart from motor to motor, each: faster, the judge asks who walks like that."""

    def __init__(self, since: datetime, times: float = 1_200.0) -> None:
        self.since, self.times, self.begun = since, times, time.monotonic()

    def __call__(self) -> datetime:
        return self.since + timedelta(seconds=self.times * (time.monotonic() - self.begun))
