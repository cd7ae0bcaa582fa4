"""The two databases behind one door: sessions to read and to write, and bringing the schema up to date.

SQLite is one file, one process, one writer: WAL, synchronous FULL (an acknowledged entry survives a power cut),
writers begin IMMEDIATE and queue on a lock of this process instead of sleeping on the file's. PostgreSQL is for
several workers or machines.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session, sessionmaker

from app.store.asked import ASKED
from app.store.plain import BEGUN, Plain, PlainSession
from app.store.prepared import Glance
from app.store.together import IN_PARTS, Together

#: Any number will do as long as every worker asks for the same one.
MIGRATION_LOCK = 7_201_406


#: A connection to PostgreSQL that was used within so many seconds is taken to stand.
RESTED_S = 1.0


class DatabaseTooNew(RuntimeError):
    """The database was written by a newer version of this program."""


#: How long a statement waits for the file while another program writes, in milliseconds.
WAIT_MS = 8000
#: The same while another program brings the schema up to date.
MIGRATION_WAIT_MS = 60_000
#: How long until SQLite is asked again for what it refuses without waiting.
AGAIN_S = 0.02


def _open(connection: Any, wait_ms: int, foreign_keys: str) -> None:
    """How this program holds a file of SQLite's. Where another program writes into a file that is not WAL yet, SQLite
    refuses to make it one at once, however long it may wait for other locks: it is asked again until then."""
    connection.isolation_level = None  # the driver must not begin transactions of its own
    connection.execute(f"PRAGMA busy_timeout={wait_ms}")
    until = time.monotonic() + wait_ms / 1000
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            break
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        time.sleep(AGAIN_S)
    for pragma in ("synchronous=FULL", f"foreign_keys={foreign_keys}"):
        connection.execute("PRAGMA " + pragma)


def _sqlite_rules(engine: sa.Engine) -> None:
    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _record: object) -> None:
        _open(connection, WAIT_MS, foreign_keys="ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        options = connection.get_execution_options()
        if options.get(BEGUN):
            return
        if options.get(IN_PARTS):
            # What a part undoes is noted for each page of it: ten writes to a file a save, of which none is read again.
            connection.exec_driver_sql("PRAGMA temp_store=MEMORY")
            connection.info[IN_PARTS] = True
        if not options.get("sqlite_at_once"):
            connection.exec_driver_sql(f"BEGIN {options.get('sqlite_begin', 'DEFERRED')}")
            return
        connection.exec_driver_sql("PRAGMA busy_timeout=0")
        try:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        finally:
            connection.exec_driver_sql(f"PRAGMA busy_timeout={WAIT_MS}")

    @event.listens_for(engine, "checkin")
    def _as_before(connection: Any, record: Any) -> None:
        """A large table is sorted by files again."""
        if record.info.pop(IN_PARTS, None) and connection is not None:
            connection.execute("PRAGMA temp_store=DEFAULT")


def _postgres_rules(engine: sa.Engine) -> None:
    """A connection that has rested is asked whether it still stands, so that the first to come after the server was
    away does not pay for it. One used a moment ago is not asked: every statement would wait for two answers."""

    @event.listens_for(engine, "checkin")
    def _rest(_connection: Any, record: Any) -> None:
        record.info["rests_since"] = time.monotonic()

    @event.listens_for(engine, "checkout")
    def _still_there(connection: Any, record: Any, _held: Any) -> None:
        rests_since = record.info.get("rests_since")
        if rests_since is None or time.monotonic() - rests_since < RESTED_S:
            return
        try:
            engine.dialect.do_ping(connection)
        except engine.dialect.loaded_dbapi.Error as error:
            raise sa.exc.InvalidatePoolError from error  # the others were made before it too


def normal_url(url: str) -> str:
    """postgres:// and postgresql:// both mean psycopg 3."""
    for start in ("postgres://", "postgresql://"):
        if url.startswith(start):
            return "postgresql+psycopg://" + url[len(start):]
    return url


class _Reading(PlainSession):
    """Begins plainly; where the server is not to be reached, as any session, which says so in the engine's words."""

    def plain(self) -> Plain | None:
        try:
            return super().plain()
        except self.get_bind().dialect.loaded_dbapi.Error:
            return None


class _OfThread(threading.local):
    together: Together | None = None


class Database:
    """One engine, two ways in: `reading()` for pages, `writing()` for what changes something."""

    def __init__(self, url: str) -> None:
        self.url = sa.make_url(normal_url(url))
        self.is_sqlite = self.url.get_backend_name() == "sqlite"
        # hide_parameters: what people typed stays out of logs, also when a statement fails
        options: dict[str, Any] = {"hide_parameters": True} if self.is_sqlite else {
            "hide_parameters": True, "pool_size": 10,
            "connect_args": {"application_name": "round-sheet"}}
        self.engine = sa.create_engine(self.url, **options)
        (_sqlite_rules if self.is_sqlite else _postgres_rules)(self.engine)
        writer = self.engine.execution_options(sqlite_begin="IMMEDIATE") if self.is_sqlite else self.engine
        self._read = sessionmaker(self.engine, class_=_Reading, expire_on_commit=False, autoflush=False)
        self._write = sessionmaker(writer, class_=PlainSession, expire_on_commit=False)
        self._write_at_once = sessionmaker(self.engine.execution_options(sqlite_at_once=True), expire_on_commit=False)
        self._one_writer = threading.Lock()
        self._of_thread = _OfThread()

    @contextlib.contextmanager
    def reading(self) -> Iterator[Session]:
        self._own_first()
        with self._read() as session:
            session.info[ASKED] = {}
            yield session
            self._end_reading(session)

    def _end_reading(self, session: PlainSession) -> None:
        """Nothing was written, so a commit ends it as a rollback would. After a rollback PostgreSQL's driver makes the
        server forget every statement that it has prepared for this connection."""
        if self.is_sqlite or not session.is_active:
            return
        held = session.connection() if session.in_transaction() else session.begun_plainly
        if held is not None:
            driver: Any = held.connection.driver_connection
            driver.commit()

    def glance(self) -> Glance:
        """For a single prepared statement, which needs no session."""
        self._own_first()
        together = self._of_thread.together
        return Glance(self.engine, self.reading, together.at_hand if together else None)

    @contextlib.contextmanager
    def writing(self) -> Iterator[Session]:
        """A session that may write. The caller commits; leaving without a commit undoes everything."""
        together = self._of_thread.together
        turn = together.writing() if together else self._one_writer if self.is_sqlite else contextlib.nullcontext()
        with turn, self._write() as session:
            session.together = together
            yield session

    @contextlib.contextmanager
    def together(self) -> Iterator[Together]:
        """What this thread stores meanwhile is stored by one commit, on SQLite: on the disk with `settle`."""
        self._of_thread.together = together = Together(self._one_writer)
        try:
            yield together
        finally:
            self._of_thread.together = None
            together.end()

    def _own_first(self) -> None:
        if self._of_thread.together is not None:
            self._of_thread.together.own_first()

    def noting(self, work: Callable[[Session], object]) -> bool:
        """Does and commits what may as well be left out: nobody waits for another writer, and a fault of the database
        stops nothing. Whether it was done."""
        if self._of_thread.together is not None and self._of_thread.together.waits:
            return False
        if self.is_sqlite and not self._one_writer.acquire(blocking=False):
            return False
        try:
            with self._write_at_once() as session:
                work(session)
                session.commit()
            return True
        except DBAPIError:
            return False
        finally:
            if self.is_sqlite:
                self._one_writer.release()

    def close(self) -> None:
        self.engine.dispose()

    # bringing the schema up to date ------------------------------------------------------------------------

    def upgrade(self) -> bool:
        """Bring the schema up to date, once, however many workers ask. True when something was done.

        Raises DatabaseTooNew for a database that a newer version wrote; nothing is altered then.
        """
        config = migration_config()
        head = ScriptDirectory.from_config(config).get_current_head()
        if self._revision() == head:
            return False
        with self.for_copying() as connection:
            known = {s.revision for s in ScriptDirectory.from_config(config).walk_revisions()}
            now_at = MigrationContext.configure(connection).get_current_revision()
            if now_at is not None and now_at not in known:
                raise DatabaseTooNew(
                    f"The database {self.shown} is at version {now_at}, which this program (up to {head}) does not "
                    "know. Start the newer program, or restore a backup made with this one. Nothing was changed.")
            if now_at == head:
                return False
            if self.is_sqlite and now_at is not None:
                self._copy_before_upgrade()  # under the lock, or a slow worker would copy what another has upgraded
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
            if self.is_sqlite:
                broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
                if broken:
                    raise RuntimeError(f"the migration would leave {len(broken)} broken links; nothing was changed")
        return True

    def versions(self) -> tuple[str | None, str | None]:
        """The schema's version in this database, and the one that this program works with."""
        return self._revision(), ScriptDirectory.from_config(migration_config()).get_current_head()

    @property
    def shown(self) -> str:
        return self.url.render_as_string(hide_password=True)

    def _revision(self) -> str | None:
        with self.engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()

    @contextlib.contextmanager
    def for_copying(self) -> Iterator[sa.Connection]:
        """One transaction under a lock, for what changes the schema or every row; SQLite with foreign keys off, or a
        rebuilt table would lose its children."""
        if not self.is_sqlite:
            with self.engine.begin() as connection:
                connection.execute(sa.text("SELECT pg_advisory_xact_lock(:k)"), {"k": MIGRATION_LOCK})
                yield connection
            return
        engine = sa.create_engine(self.url, poolclass=sa.pool.NullPool)

        @event.listens_for(engine, "connect")
        def _connect(connection: Any, _record: object) -> None:
            _open(connection, MIGRATION_WAIT_MS, foreign_keys="OFF")

        @event.listens_for(engine, "begin")
        def _begin(connection: sa.Connection) -> None:
            connection.exec_driver_sql("BEGIN IMMEDIATE")

        with engine.begin() as connection:
            yield connection
        engine.dispose()

    def _copy_before_upgrade(self) -> None:
        path = Path(self.url.database or "")
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
        copy = path.with_name(f"{path.name}.before-{stamp}")
        with contextlib.closing(sqlite3.connect(path)) as old, contextlib.closing(sqlite3.connect(copy)) as new:
            old.backup(new)


def migration_config() -> Config:
    """Alembic's settings, in code: the migrations travel with the package."""
    config = Config()
    config.set_main_option("script_location", "migrations:")
    config.set_main_option("path_separator", "os")
    return config
