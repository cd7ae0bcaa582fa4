"""What a server must live through while tablets send: the disk full, the data read-only, the database gone and back,
the clock jumping, another server on the same database killed.

Each is brought about under load and taken away again; nobody helps the server meanwhile.
"""

from __future__ import annotations

import html
import os
import re
import resource
import shutil
import subprocess
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, field
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

import sqlalchemy as sa

from tests import cluster
from tests.soak.senders import Load
from tests.soak.served import Ground, lay_ground
from tests.soak.starter import Forked, Starter
from tests.web.at_motor import FINE

#: What has not happened by then does not happen.
PATIENCE_S = 60
#: Entries told as stored before a fault, and after it from every client together, at the least.
SOME = 12
REMARKS = "hums & smells a little"
#: Hours by which the server's clock is wrong, in turn. A session (14 h) and a ticket (12 h around its shift) live on.
JUMPS = (6.0, -6.0, 3.0, -0.5, 0.0)


@dataclass
class Outcome:
    """stored: told as stored. refused: how often by which sentence. page: what the page said to a form meanwhile."""

    stored: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    page: str = ""
    lost: list[str] = field(default_factory=list)
    rows: int = 0
    sent: int = 0
    wrong: str = ""

    @property
    def holds(self) -> bool:
        return not self.lost and not self.wrong and self.rows == self.sent and self.stored == self.sent


def until(so: Callable[[], bool], load: Load, what: str) -> None:
    """Waits for something that must come. Raises AssertionError, with what the clients were told, where it does not."""
    end = time.monotonic() + PATIENCE_S
    while not so():
        assert not load.ledger.wrong, load.ledger.unplain
        assert time.monotonic() < end, f"never came: {what}; refused {dict(load.ledger.refused)}"
        time.sleep(0.01)


def more_stored(load: Load, count: int = SOME) -> None:
    enough = len(load.ledger.acknowledged) + count
    until(lambda: len(load.ledger.acknowledged) >= enough, load, f"{count} more entries stored")


def everyone_unanswered(load: Load) -> None:
    before = {sender: sender.unanswered for sender in load.senders}
    until(lambda: all(s.unanswered > n for s, n in before.items()), load, "a refusal for every client")


def lived_through(ground: Ground, served: Forked, fault: Callable[[], AbstractContextManager[object]], times: int = 1,
                  form: bool = True) -> Outcome:
    """The fault comes and goes so many times under load. form: somebody saves a page by hand meanwhile."""
    load, made, page = Load(ground), Outcome(), Form(ground, served.port) if form else None
    load.go(served.port)
    try:
        for _ in range(times):
            more_stored(load)
            with fault():
                everyone_unanswered(load)
                made.page = page.refused() if page else ""
            more_stored(load)
            if page:
                page.stored()
    finally:
        load.pause()
    return ended(load, made, served, page.kept if page else 0)


def ended(load: Load, made: Outcome, served: Forked, forms: int = 0) -> Outcome:
    """forms: entries that were told as stored to somebody at a page, beside the load."""
    load.finish(served.port)
    load.once_more(served.port)
    served.stop()
    made.stored, made.sent = len(load.ledger.acknowledged), len(load.ledger.sent)
    made.rows, made.lost = len(load.ground.stored()) - forms, load.lost()
    made.refused, made.wrong = load.ledger.refused, load.ledger.unplain or load.ground.doctor()
    return made


class Form:
    """Somebody who saves the page at a motor without scripts, as a form."""

    def __init__(self, ground: Ground, port: int) -> None:
        self._port, self._cookie, self.kept = port, ground.head_operator.cookie, 0
        self._motor = re.search(r'href="/motors/(\d+)', self._ask("GET", "/motors")[1])
        self._token = re.search(r'name="csrf_token"[^>]*?value="([^"]+)"', self._ask("GET", "/help")[1])
        self._fields: dict[str, str] = {}

    def _ask(self, how: str, path: str, body: str | None = None) -> tuple[int, str]:
        connection = HTTPConnection("127.0.0.1", self._port, timeout=PATIENCE_S)
        connection.request(how, path, body, {"Cookie": self._cookie,
                                             "Content-Type": "application/x-www-form-urlencoded"})
        answer = connection.getresponse()
        told = answer.read().decode()
        connection.close()
        return answer.status, told

    def _send(self) -> tuple[int, str]:
        assert self._motor
        return self._ask("POST", f"/motors/{self._motor[1]}/entry", urlencode(self._fields))

    def refused(self) -> str:
        """Sends an entry that cannot be stored now: the page must say so and hold what was typed. What it said."""
        assert self._token
        self._fields = {**FINE, "csrf_token": self._token[1], "id": str(uuid.uuid4()), "remarks": REMARKS}
        end = time.monotonic() + PATIENCE_S
        while (told := self._send())[0] == 303:  # a disk that is almost full takes this one and not the next
            self.stored()
            assert time.monotonic() < end, "the form was stored all the while"
            self._fields = {**self._fields, "id": str(uuid.uuid4())}
        assert told[0] == 503, told
        assert self._fields["id"] in told[1]
        assert REMARKS.replace("&", "&amp;") in told[1]
        found = re.search(r"<title>(.*?)</title>", told[1], re.S)
        assert found
        return html.unescape(" ".join(found[1].split()))

    def stored(self) -> None:
        """Sends the same again, twice: the entry is stored once."""
        assert [self._send()[0], self._send()[0]] == [303, 303]
        self.kept += 1


# the disk is full ------------------------------------------------------------------------------------------


def can_mount() -> bool:
    return os.geteuid() == 0 and shutil.which("mount") is not None


@contextmanager
def mounted(place: Path, *what: str) -> Iterator[Path]:
    place.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", *what, str(place)], check=True, capture_output=True)
    try:
        yield place
    finally:
        if subprocess.run(["umount", str(place)], capture_output=True).returncode:  # a failed run left files open there
            subprocess.run(["umount", "-l", str(place)], check=True)


def small_disk(place: Path, megabytes: int) -> AbstractContextManager[Path]:
    return mounted(place, "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs")


@contextmanager
def filled(place: Path) -> Iterator[None]:
    """Something else has used up the disk to its last byte."""
    other = place / "something-else"
    with other.open("wb", buffering=0) as file:
        for piece in (1 << 20, 1 << 12, 1):
            with suppress(OSError):
                while True:
                    file.write(b"x" * piece)
    try:
        yield
    finally:
        other.unlink()


@contextmanager
def no_file_may_grow(ground: Ground, served: Forked) -> Iterator[None]:
    """For SQLite where no small disk can be mounted: the system refuses this process a longer file."""
    path = Path(str(sa.make_url(ground.url).database))
    longest = max(path.stat().st_size, path.with_name(path.name + "-wal").stat().st_size)
    resource.prlimit(served.pid, resource.RLIMIT_FSIZE, (longest, resource.RLIM_INFINITY))
    try:
        yield
    finally:
        resource.prlimit(served.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


@contextmanager
def no_table_may_grow(ground: Ground) -> Iterator[None]:
    """For PostgreSQL where no small disk can be mounted: the database raises its own error for a full disk."""
    with _alone(ground) as do:
        do("CREATE FUNCTION is_full() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION "
           "'could not extend file: No space left on device' USING ERRCODE = 'disk_full'; END $$")
        do("CREATE TRIGGER full_disk BEFORE INSERT ON reading EXECUTE FUNCTION is_full()")
        try:
            yield
        finally:
            do("DROP FUNCTION is_full CASCADE")


@contextmanager
def _alone(ground: Ground) -> Iterator[Callable[[str], None]]:
    engine = sa.create_engine(sa.make_url(ground.url).set(drivername="postgresql+psycopg"),
                              isolation_level="AUTOCOMMIT", poolclass=sa.pool.NullPool)

    def do(statement: str) -> None:
        with engine.connect() as connection:
            connection.exec_driver_sql("SET default_transaction_read_only = off")
            connection.exec_driver_sql(statement)

    yield do
    engine.dispose()


# the data may not be written -------------------------------------------------------------------------------


@contextmanager
def there_is(path: Path) -> Iterator[None]:
    """A file that stands for the fault which in_process brings about."""
    path.touch()
    try:
        yield
    finally:
        path.unlink()


@contextmanager
def read_only_cluster(ground: Ground) -> Iterator[None]:
    """PostgreSQL takes no writing any more, as one that was made the standby of another."""
    with _alone(ground) as do:
        do("ALTER SYSTEM SET default_transaction_read_only = on")
        do("SELECT pg_reload_conf()")
        try:
            yield
        finally:
            do("ALTER SYSTEM RESET default_transaction_read_only")
            do("SELECT pg_reload_conf()")


def failing_disk(starter: Starter, place: Path) -> Outcome:
    """A disk whose file system turns read-only by itself, as ext4 does at a fault: what was not synced is lost, as in a
    power cut. It is repaired and the server started again."""
    image, made = place.with_name(place.name + ".img"), Outcome()
    with image.open("wb") as file:
        file.truncate(64 << 20)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True)
    with mounted(place, "-o", "loop", str(image)):
        ground = lay_ground(place / "instance", crew=5)
        served, load = starter.serve(ground), Load(ground)
        page = Form(ground, served.port)
        load.go(served.port)
        try:
            more_stored(load)
            subprocess.run(["mount", "-o", "remount,abort", str(place)], check=True)
            everyone_unanswered(load)
            made.page = page.refused()
        finally:
            load.pause()
            served.stop()
    subprocess.run(["e2fsck", "-p", str(image)], stdout=subprocess.DEVNULL, check=False)  # 1: repaired
    with mounted(place, "-o", "loop", str(image)):
        return ended(load, made, starter.serve(ground))


# the database goes and comes back --------------------------------------------------------------------------


@contextmanager
def stopped(server: cluster.Cluster) -> Iterator[None]:
    server.stop()
    try:
        yield
    finally:
        server.start()


# the clock jumps -------------------------------------------------------------------------------------------


def through_jumps(starter: Starter, ground: Ground, times: int = 1) -> Outcome:
    """The server's clock is put forward and back by hours while the tablets' clocks go on as before."""
    wrong_by = ground.folder / "hours"
    wrong_by.write_text("0")
    served, load = starter.serve(ground, clock=str(wrong_by)), Load(ground)
    load.go(served.port)
    try:
        more_stored(load)
        for hours in JUMPS * times:
            fresh = wrong_by.with_name("hours-next")
            fresh.write_text(str(hours))
            fresh.replace(wrong_by)
            more_stored(load)
    finally:
        load.pause()
    return ended(load, Outcome(), served)


# two servers on one database -------------------------------------------------------------------------------


def one_of_two_killed(starter: Starter, ground: Ground, second: Ground, times: int = 1) -> Outcome:
    """Whoever sent to the killed one turns to the other with the same entry, as behind a proxy."""
    stays, load = starter.serve(ground), Load(ground)
    for _ in range(times):
        killed = starter.serve(second)
        load.go(killed.port, stays.port)
        try:
            more_stored(load)
            killed.kill()
            everyone_on(load, stays.port)
            more_stored(load)
        finally:
            load.pause()
    return ended(load, Outcome(), stays)


def everyone_on(load: Load, port: int) -> None:
    until(lambda: all(sender.port == port for sender in load.senders), load, "every client at the other server")
