"""A PostgreSQL server for one test run: its own folder, a unix socket only, gone at the end."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

#: Nothing here outlives the run, so nothing has to survive a power cut.
FAST = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "listen_addresses=''", "max_connections=80")
#: As a plant's server: what was told as stored survives a power cut.
DURABLE = ("fsync=on", "synchronous_commit=on", "full_page_writes=on")


class NoPostgres(RuntimeError):
    """PostgreSQL's programs are not on this machine."""


def programs() -> Path:
    """The newest of Debian's PostgreSQL program folders, or the one on the path. Raises NoPostgres."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: float(p.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    if on_path is None:
        raise NoPostgres("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    return Path(on_path).resolve().parent


def _as_server(folder: Path, *command: str) -> None:
    """Runs one of PostgreSQL's programs, which refuse to run as root, as the user Debian made for it."""
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, **_who())
    if done.returncode:
        log = folder / "log"
        raise RuntimeError(f"{command[0]}: {done.stdout}{done.stderr}{log.read_text() if log.exists() else ''}")


def _who() -> dict[str, object]:
    if os.geteuid() != 0:
        return {}
    try:
        user = pwd.getpwnam("postgres")
    except KeyError:
        raise NoPostgres("PostgreSQL will not run as root and there is no user postgres") from None
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


class Cluster:
    """A server of its own folder that can be stopped and started again."""

    def __init__(self, folder: Path, options: tuple[str, ...]) -> None:
        self.folder, self._bin = folder, programs()
        self.url = f"postgresql://postgres@/postgres?host={folder}"
        self._options = " ".join(f"-c {o}" for o in (*options, f"unix_socket_directories={folder}"))
        if who := _who():
            os.chown(folder, who["user"], who["group"])  # type: ignore[arg-type]
        self._do("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")

    def start(self) -> None:
        self._do("pg_ctl", "-l", "log", "-w", "-o", self._options, "start")

    def stop(self) -> None:
        """At once, as when the machine goes: nothing is put in order, nobody is told."""
        self._do("pg_ctl", "-m", "immediate", "-w", "stop")

    def _do(self, program: str, *arguments: str) -> None:
        _as_server(self.folder, str(self._bin / program), "-D", "data", *arguments)


@contextmanager
def own(*options: str) -> Iterator[Cluster]:
    """A server of the caller's own, started, stopped on leaving. options: over those of FAST."""
    folder = Path(tempfile.mkdtemp(prefix="rounds-pg-"))
    try:
        made = Cluster(folder, (*FAST, *options))
        made.start()
        try:
            yield made
        finally:
            made.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def running(*options: str) -> Iterator[str]:
    """The URL of a server's maintenance database, as its superuser; the server is stopped on leaving. options: over
    those of FAST.

    TEST_PG_URL names a server to use instead: a throw-away one, whose user there is its superuser.
    """
    if os.environ.get("TEST_PG_URL"):
        yield os.environ["TEST_PG_URL"]
        return
    with own(*options) as made:
        yield made.url


class Server:
    """Makes and drops databases beside each other on one PostgreSQL server."""

    def __init__(self, url: str) -> None:
        self.url = sa.make_url(url).set(drivername="postgresql+psycopg")
        self._engine = sa.create_engine(self.url, isolation_level="AUTOCOMMIT", poolclass=sa.pool.NullPool)
        self._made: list[str] = []

    def make(self, tablespace: str = "pg_default") -> str:
        """A new database with nothing in it; its URL, password included."""
        name = f"rounds_test_{os.getpid()}_{len(self._made)}"
        self._made.append(name)
        self.do(f"CREATE DATABASE {name} TABLESPACE {tablespace}")
        return self.url.set(database=name).render_as_string(hide_password=False)

    def do(self, statement: str) -> None:
        """Something that only the server's superuser may, in no transaction."""
        with self._engine.connect() as connection:
            connection.exec_driver_sql(statement)

    def drop(self, url: str) -> None:
        self.do(f"DROP DATABASE IF EXISTS {sa.make_url(url).database} WITH (FORCE)")
        self._made[self._made.index(str(sa.make_url(url).database))] = ""

    def drop_all(self) -> None:
        for name in filter(None, self._made):
            self.do(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


#: Links are not looked at while every table is emptied; ids begin at 1 again.
_EMPTY = """
SET LOCAL session_replication_role = replica;
DO $$ DECLARE t record; BEGIN
  FOR t IN SELECT c.oid::regclass AS name FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
           WHERE n.nspname = 'public' AND c.relkind = 'r' AND c.relname <> 'alembic_version'
  LOOP EXECUTE 'DELETE FROM ' || t.name; END LOOP;
  PERFORM setval(c.oid, 1, false) FROM pg_class c WHERE c.relkind = 'S';
END $$;
"""


def empty(engine: sa.Engine) -> None:
    """Every row gone, the tables left: a hundredth of the time that a fresh copy or TRUNCATE takes."""
    with engine.begin() as connection:
        connection.exec_driver_sql(_EMPTY)
